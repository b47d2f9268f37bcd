"""Reads every form of a guide with a library outside the project, and compares what they say.

HTML: html5lib in strict mode, which stops at every parse error of the HTML standard. JSON-LD: pyld
expands it, and Product, Offer and ItemList have what schema.org asks for. Markdown: commonmark.
CSV: Python's csv, after RFC 4180; DuckDB, which finds out by itself how a file is written, as a
spreadsheet does; and openpyxl, which tells which cells a spreadsheet would take for formulas.
"""

import csv
import json
import sys
from pathlib import Path

import commonmark
import duckdb
import html5lib
import openpyxl
from pyld import jsonld

folder = Path(sys.argv[1])
view = json.loads((folder / "guide.json").read_text())
places = [view, *view["countries"]]
every = [pick for place in places for pick in place["picks"]]
links = [pick["link"] for pick in every if pick["link"]]
names = [pick["name"] for pick in view["picks"]]
assert links and names and len(places) > 1
assert all(place["disclosures"] for place in places)

# --- HTML
text = (folder / "guide.html").read_text()
parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
document = parser.parse(text)
assert not parser.errors
found = [link.get("href") for link in document.iter("a")]
assert found == links, (found, links)
ids = [element.get("id") for element in document.iter() if element.get("id")]
assert len(ids) == len(set(ids)), "an id occurs twice"
for element in document.iter():
    for name in ("aria-labelledby",):
        for reference in (element.get(name) or "").split():
            assert reference in ids, reference
whole = "".join(document.itertext())
assert all(text in whole for text in names + view["disclosures"])
measured = [one["measured"] for one in view["workloads"] if one["measured"]]
assert measured and all(f"{one['temperature_c']} °C" in whole for one in measured)

# --- JSON-LD, without fetching schema.org's context: its terms all lie in one vocabulary.
scripts = [element for element in document.iter("script")]
assert [element.get("type") for element in scripts] == ["application/ld+json"]
data = json.loads(scripts[0].text)
assert data["@context"] == "https://schema.org"
data["@context"] = {"@vocab": "https://schema.org/"}
(items,) = jsonld.expand(data)
S = "https://schema.org/"
assert items["@type"] == [S + "ItemList"]
elements = items[S + "itemListElement"]
assert [element[S + "position"][0]["@value"] for element in elements] == list(range(1, len(names) + 1))
for element, pick in zip(elements, view["picks"], strict=True):
    (product,) = element[S + "item"]
    assert product["@type"] == [S + "Product"]
    assert product[S + "name"][0]["@value"] == pick["name"]
    if pick["price_minor"] is None:
        assert S + "offers" not in product
        continue
    (offer,) = product[S + "offers"]
    assert offer["@type"] == [S + "Offer"]
    assert offer[S + "priceCurrency"][0]["@value"] == pick["price_currency"]
    assert round(float(offer[S + "price"][0]["@value"]) * 100) == pick["price_minor"]
    assert offer[S + "url"][0]["@value"] == pick["link"]
    # ItemAvailability, schema.org 29: the members that a guide can have.
    if pick["availability"]:
        state = offer[S + "availability"][0]["@value"]
        assert state.startswith(S) and state.removeprefix(S) in {
            "InStock", "LimitedAvailability", "OnlineOnly", "BackOrder", "PreOrder", "PreSale",
            "MadeToOrder", "InStoreOnly", "OutOfStock", "SoldOut", "Discontinued", "Reserved",
        }, state

# --- Markdown
tree = commonmark.Parser().parse((folder / "guide.md").read_text())
found, raw, text = [], [], []
for node, entering in tree.walker():
    if node.t == "link" and entering:
        found.append(node.destination)
    if node.t in ("html_inline", "html_block", "code", "code_block", "image"):
        raw.append(node.literal)
    if node.t == "text":
        text.append(node.literal)
assert found == links, (found, links)
assert not raw, raw
assert all(name in "".join(text) for name in names)

# --- CSV
with open(folder / "guide.csv", newline="") as file:
    rows = list(csv.DictReader(file, strict=True))
assert [row["name"] for row in rows[: len(names)]] == names
assert [row["link"] for row in rows if row["link"]] == links
for place in places:
    landed = [row["landed"] for row in rows if row["landed"] and row["country"] == place["country"]]
    landed = sum(round(float(amount) * 100) for amount in landed)
    assert landed == place["total_minor"], (landed, place["total_minor"])

# Nobody tells DuckDB the separator, the quotes or the types.
table = duckdb.read_csv(str(folder / "guide.csv"))
assert table.columns == list(rows[0]), table.columns
types = dict(zip(table.columns, map(str, table.types)))
assert types["price"] == types["landed"] == "DOUBLE" and types["quantity"] == "BIGINT", types
assert types["seen_at"].startswith("TIMESTAMP"), types
assert len(table.fetchall()) == len(rows)

# What acts as a formula is none: the shop in Austria is called =1+1.
sheet = openpyxl.Workbook().active
for row in csv.reader(open(folder / "guide.csv", newline="")):
    sheet.append(row)
cells = [cell for row in sheet.iter_rows() for cell in row]
assert not [cell.value for cell in cells if cell.data_type == "f"]
assert "'=1+1" in [cell.value for cell in cells], "the formula is not there to be seen"
sheet["A1"] = "=1+1"
assert sheet["A1"].data_type == "f", "openpyxl takes nothing for a formula"

# --- Text
text = (folder / "guide.txt").read_text()
assert all(part in text for part in names + links + view["disclosures"])
assert "Checked: " in text and text.count("Checked: ") == 1
print("every form of the guide is read as it was meant")
