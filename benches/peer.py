"""The obvious script: takes a feed of offers into SQLite with Python's standard library.

It does what a poll does, as one would write it for oneself: reads the price as it is written,
checks the GTIN, tells what is in stock, finds the part, and keeps every price that changed.

    python3 peer.py csv|json|xml FEED PARTS DATABASE NTH_POLL

Prints what it measured as JSON. Standard library only, so that it runs wherever Python does.
"""

import csv
import html
import json
import re
import resource
import sqlite3
import sys
import time
import xml.etree.ElementTree as ElementTree
from decimal import Decimal

STOCK = {
    "auf lager": "in_stock",
    "in stock": "in_stock",
    "nicht lieferbar": "out_of_stock",
}
SPACE = re.compile(r"\s+")
GERMAN_PRICE = re.compile(r"^(\d{1,3}(?:\.\d{3})*|\d+),(\d{2}) ?€$")
NOT_ALNUM = re.compile(r"[^0-9A-Z]")


def read_csv(path):
    with open(path, newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file, delimiter=";"):
            match = GERMAN_PRICE.match(row["Preis"].strip())
            if not match:
                continue
            price = int(match[1].replace(".", "")) * 100 + int(match[2])
            yield (row["Artikelnr"], row["Bezeichnung"], row["Marke"], row["EAN"],
                   row["Herstellernr"], price, "EUR", row["Bestand"], row["Link"])


def read_json(path):
    with open(path, encoding="utf-8") as file:
        offers = json.load(file, parse_float=Decimal)["offers"]
    for offer in offers:
        price = offer["price"]
        yield (offer["id"], offer["title"], offer["brand"], offer["ean"], offer["mpn"],
               int(price["amount"] * 100), price["currency"], offer["stock"], offer["url"])


def read_xml(path):
    name = "{https://feeds.example/offers}"
    for _, offer in ElementTree.iterparse(path):
        if offer.tag != name + "offer":
            continue
        amount, currency = offer.findtext(name + "price").split()
        yield (offer.get("id"), offer.findtext(name + "title"), offer.findtext(name + "brand"),
               offer.findtext(name + "ean") or "", offer.findtext(name + "mpn"),
               int(Decimal(amount) * 100), currency, offer.findtext(name + "stock"),
               offer.findtext(name + "link"))
        offer.clear()


READERS = {"csv": read_csv, "json": read_json, "xml": read_xml}


def clean(text):
    return SPACE.sub(" ", html.unescape(text)).strip()


def check_gtin(text):
    digits = text.strip()
    if not digits.isdigit() or len(digits) not in (8, 12, 13, 14):
        return None
    padded = digits.zfill(14)
    total = sum(int(d) * (3 if i % 2 == 0 else 1) for i, d in enumerate(padded[:13]))
    return padded if (10 - total % 10) % 10 == int(padded[13]) else None


def fold_mpn(text):
    return NOT_ALNUM.sub("", text.upper())


def availability(text):
    text = text.strip().lower()
    if text.isdigit():
        return "in_stock" if int(text) > 0 else "out_of_stock"
    return STOCK.get(text, "unknown")


def read_parts(path):
    by_gtin, by_mpn = {}, {}
    with open(path, newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            by_gtin[check_gtin(row["gtin"])] = row["part"]
            by_mpn[fold_mpn(row["mpn"])] = row["part"]
    return by_gtin, by_mpn


SCHEMA = """
CREATE TABLE IF NOT EXISTS offer (
    sku TEXT PRIMARY KEY, title TEXT, brand TEXT, gtin TEXT, mpn TEXT, link TEXT, part TEXT,
    first_seen INTEGER, last_seen INTEGER);
CREATE INDEX IF NOT EXISTS offer_part ON offer (part);
CREATE TABLE IF NOT EXISTS observation (
    sku TEXT, seen INTEGER, price INTEGER, currency TEXT, availability TEXT,
    PRIMARY KEY (sku, seen));
"""
UPSERT = """
INSERT INTO offer VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)
ON CONFLICT (sku) DO UPDATE SET title = excluded.title, brand = excluded.brand,
    gtin = excluded.gtin, mpn = excluded.mpn, link = excluded.link, part = excluded.part,
    last_seen = excluded.last_seen
"""
LATEST = """
SELECT sku, price, currency, availability, max(seen) FROM observation GROUP BY sku
"""


def poll(feed_format, feed, parts, database, now):
    by_gtin, by_mpn = parts
    before = {row[0]: row[1:4] for row in database.execute(LATEST)}
    offers, observations, matched = [], [], 0
    for sku, title, brand, gtin, mpn, price, currency, stock, link in READERS[feed_format](feed):
        gtin = check_gtin(gtin)
        part = by_gtin.get(gtin) or by_mpn.get(fold_mpn(mpn))
        matched += part is not None
        terms = (price, currency, availability(stock))
        offers.append((sku.strip(), clean(title), clean(brand), gtin, mpn.strip(), link.strip(),
                       part, now, now))
        if before.get(sku) != terms:
            observations.append((sku, now, *terms))
    with database:
        database.executemany(UPSERT, offers)
        database.executemany("INSERT INTO observation VALUES (?, ?, ?, ?, ?)", observations)
    return len(offers), matched


def main():
    feed_format, feed, parts, path, nth = sys.argv[1:]
    database = sqlite3.connect(path)
    database.execute("PRAGMA journal_mode = wal")
    database.executescript(SCHEMA)
    parts = read_parts(parts)
    start = time.perf_counter()
    offers, matched = poll(feed_format, feed, parts, database, int(nth))
    seconds = time.perf_counter() - start
    peak_kib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(json.dumps({"seconds": seconds, "peak_kib": peak_kib, "offers": offers, "matched": matched}))


main()
