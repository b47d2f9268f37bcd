"""Writes a world of 5,000 parts and 25,000 offers: the starter's parts in many variants, five shops.

Usage: idle.py DIRECTORY, where `rigtide init` has put the starter. The same world every time.
"""

import pathlib
import re
import sys

N_PARTS, N_SHOPS = 5000, 5

directory = pathlib.Path(sys.argv[1])
catalogue = directory / "catalogue/parts.toml"
# A block begins with its [[part]]; what the comments before the next one say is lost.
blocks = ["[[part]]" + block for block in catalogue.read_text().split("[[part]]")[1:]]
prices = {
    row.split(",")[3]: float(row.split(",")[5])
    for row in (directory / "retailers/example-offers.csv").read_text().splitlines()[1:]
    if row.split(",")[3]
}


def gtin(number):
    body = f"9529{number:08}"
    weighted = sum(int(digit) * (1 if at % 2 == 0 else 3) for at, digit in enumerate(body))
    return body + str(-weighted % 10)


def text(block, key):
    found = re.search(rf'^{key} = "([^"]*)"', block, re.M)
    return found.group(1) if found else ""


parts, offers = [], [[] for _ in range(N_SHOPS)]
for number in range(N_PARTS):
    block = blocks[number % len(blocks)]
    variant = number // len(blocks)
    new = {
        "id": f"{text(block, 'id')}-v{variant}",
        "name": f"{text(block, 'name')} Series {variant}",
        "mpn": f"V{number:05}-X",
        "gtin": gtin(number),
    }
    price = prices.get(text(block, "gtin"), 100.0) * (1 + variant % 97 / 100)
    for key, value in new.items():
        block = re.sub(rf"^{key} = .*$", f'{key} = "{value}"', block, count=1, flags=re.M)
    # Better variants cost more, so that many are worth a thought.
    better = lambda rate: f'rate = "{float(rate.group(1)) * (1 + variant % 89 / 200):.3f}"'
    parts.append(re.sub(r'^rate = "([0-9.]+)"', better, block, flags=re.M))
    for shop in range(N_SHOPS):
        cost = price * (1 + (number * 7 + shop * 13) % 11 / 100)
        row = [f"S{number}", new["name"], text(block, "brand"), new["gtin"], new["mpn"], f"{cost:.2f}", "in stock"]
        offers[shop].append(",".join(row))

catalogue.write_text("\n".join(parts))
shop_toml = (directory / "retailers/example.toml").read_text()
heading = "number,title,maker,ean,maker_number,price,stock"
for shop in range(N_SHOPS):
    (directory / f"retailers/shop{shop}.csv").write_text("\n".join([heading, *offers[shop]]) + "\n")
    toml = shop_toml.replace("example-offers.csv", f"shop{shop}.csv").replace("Example Parts", f"Shop {shop}")
    (directory / f"retailers/shop{shop}.toml").write_text(toml)
(directory / "retailers/example.toml").unlink()
(directory / "retailers/example-offers.csv").unlink()
