"""Reads every form of a guide with a library outside the project, and compares what they say.

HTML: html5lib in strict mode, which stops at every parse error of the HTML standard. JSON-LD: pyld
expands it, and Product, Offer and ItemList have what schema.org asks for. Markdown: commonmark.
CSV: Python's csv, after RFC 4180.
"""

import csv
import json
import sys
from pathlib import Path

import commonmark
import html5lib
from pyld import jsonld

folder = Path(sys.argv[1])
view = json.loads((folder / "guide.json").read_text())
links = [pick["link"] for pick in view["picks"] if pick["link"]]
names = [pick["name"] for pick in view["picks"]]
assert links and names and view["disclosures"]

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
assert [row["link"] for row in rows[: len(links)]] == links
landed = sum(round(float(row["landed"]) * 100) for row in rows if row["landed"])
assert landed == view["total_minor"], (landed, view["total_minor"])

# --- Text
text = (folder / "guide.txt").read_text()
assert all(part in text for part in names + links + view["disclosures"])
print("every form of the guide is read as it was meant")
