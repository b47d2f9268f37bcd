#!/usr/bin/env python3
"""Makes a small ledger of each schema version before the newest: v1.sqlite, v2.sqlite, ...

Runs the migrations of src/ledger/migrations up to that version and puts rows in, as a program of
that version would have left them. A test opens each file with the program as it is now. A file that
is there already stays: it is what was once written. Needs python3 with SQLite 3.37 or later.
"""

import hashlib
import sqlite3
from pathlib import Path

HERE = Path(__file__).resolve().parent
MIGRATIONS = sorted((HERE.parent.parent / "src/ledger/migrations").glob("*.sql"))
# As src/ledger/migrate.rs names them.
NAMES = ["first", "decisions", "properties", "marks and older copies", "matched with", "past",
         "lead time", "reading", "deciding", "dropped", "editions", "marks apart", "refusals",
         "ended", "standing"]
TERMS = "price_minor, currency, availability, tax_included, minimum_quantity"


def digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def packed_ended() -> str:
    """Offer 1 at 200.00 from 100 until 100, ended at 200, as ledger/ended.rs packs it."""
    beside = b'["EUR","in_stock",null,null,null,null,true,1,null,null]'
    fields = bytes([2, 100, 100, 0, 0xC0, 0xB8, 0x02, 0, len(beside)])
    return (fields + beside).hex()


ROWS = {
    1: f"""
INSERT INTO feed VALUES (1, 'northlight/all', 'northlight', 300, 200, 200, 1, 'etag', '{{}}');
INSERT INTO poll (feed_id, at_ms, status, is_complete, records, offers, matched, refused, held,
    changed, duration_ms, error, notes) VALUES
    (1, 100, 'fresh', 1, 3, 3, 2, 0, 0, 3, 5, NULL, '[]'),
    (1, 200, 'fresh', 1, 2, 2, 2, 0, 1, 1, 5, NULL, '["one row too short"]'),
    (1, 300, 'failed', NULL, 0, 0, 0, 0, 0, 0, 5, 'the server answered 500', '[]');
INSERT INTO offer (id, feed_id, sku, seller, condition, title, brand, gtins, mpn, link, notes, part,
    matched_by, confidence_percent, first_seen_ms, last_seen_ms, present, missing_polls,
    gone_since_ms) VALUES
    (1, 1, 'q-1', '', 'new', 'Quillon K7', 'Quillon', '', 'QK7', 'https://shop.example/1', '[]',
     'cpu-a', 'mpn', 95, 100, 100, 1, 0, NULL),
    (2, 1, 'q-2', 'Basement Bits', 'used', 'Quillon K9', NULL, '', NULL, NULL, '[]',
     'cpu-b', 'title', 90, 100, 100, 0, 0, NULL),
    (3, 1, 'q-3', '', 'new', 'Something else', NULL, '', NULL, NULL, '[]',
     NULL, NULL, NULL, 100, 100, 0, 1, 200);
INSERT INTO matching VALUES (1, 100, 'cpu-a', 'mpn', 95), (2, 100, 'cpu-b', 'title', 90);
INSERT INTO observation (offer_id, from_ms, until_ms, gone_ms, {TERMS}) VALUES
    (1, 100, 100, NULL, 20000, 'EUR', 'in_stock', 1, 1),
    (1, 200, NULL, NULL, 19000, 'EUR', 'in_stock', 1, 1),
    (2, 100, NULL, NULL, 30000, 'EUR', 'out_of_stock', 1, 1),
    (3, 100, 100, 200, 500, 'EUR', 'unknown', 1, 1);
INSERT INTO held (id, offer_id, first_seen_ms, last_seen_ms, times, reason, {TERMS}) VALUES
    (1, 2, 200, 200, 1, 'it is doubted', 3, 'EUR', 'in_stock', 1, 1);
INSERT INTO answer VALUES (1, 'media-room', 100, 200, 'cpu=cpu-a', '{{"picks":[]}}');
INSERT INTO journal VALUES
    (1, 100, 'first_build', 'northlight/all', 'media-room', 'cpu-a', 'the first build', '{{}}');
INSERT INTO bulletin VALUES ('b-1', 'media-room', 100, 'the first build', 'in: K7', '{{}}');
INSERT INTO outbox VALUES (1, 'b-1', 'phone', 'waiting', 0, 100, 100, NULL),
    (2, 'b-1', 'desk', 'sent', 0, 100, 100, NULL);
INSERT INTO disabled_channel VALUES ('fax', 'hash', 100, 'no more');
""",
    2: "INSERT INTO offer_decision VALUES ('northlight', 'q-3', 'lacking', '[]', 'x', 200, NULL);",
    3: """UPDATE offer SET properties = '[["Länge","30",null]]' WHERE id = 2;""",
    4: """UPDATE offer SET mark = x'000102030405060708090a0b0c0d0e0f' WHERE id = 1;""",
    5: "INSERT INTO matched_with VALUES (1, x'000102030405060708090a0b0c0d0e0f');",
    6: """INSERT INTO listing VALUES (1, 150, 'Quillon K7 tray', NULL);
INSERT INTO gap VALUES (1, 100, 150);""",
    7: "UPDATE observation SET lead_days = 3, available_from_ms = 900 WHERE offer_id = 2;",
    11: f"""INSERT INTO edition VALUES (1, 'media-room', 1, 100, '{digest("{}")}', '{{}}');
INSERT INTO edition_form VALUES (1, 1, 'markdown', '{digest("the guide")}', 'the guide');""",
    14: f"INSERT INTO ended VALUES (1, 200, x'{packed_ended()}');",
}


def make(version: int) -> None:
    path = HERE / f"v{version}.sqlite"
    if path.exists():
        return
    ledger = sqlite3.connect(path, isolation_level=None)
    # Most tables have a row or two.
    ledger.execute("PRAGMA page_size = 512")
    ledger.execute("PRAGMA application_id = %d" % int.from_bytes(b"RGTD", "big"))
    ledger.execute(
        "CREATE TABLE schema_version (version INTEGER PRIMARY KEY, name TEXT NOT NULL) STRICT"
    )
    for number, (name, migration) in enumerate(zip(NAMES, MIGRATIONS), start=1):
        if number <= version:
            ledger.executescript(migration.read_text(encoding="utf-8"))
            ledger.execute("INSERT INTO schema_version VALUES (?, ?)", (number, name))
            ledger.executescript(ROWS.get(number, ""))
    ledger.execute("VACUUM")
    ledger.close()


if __name__ == "__main__":
    assert len(NAMES) == len(MIGRATIONS), "name the new migration here too"
    for version in range(1, len(MIGRATIONS)):
        make(version)
