"""How long `rigtide best --at` takes as a whole command, on a ledger of a year.

Usage: best_at.py PROGRAM LEDGER

LEDGER is what `cargo bench --bench ledger -- --keep LEDGER` left. A copy of it gets the parts and the
shops of tests/idle.py, 5,000 in 25,000 offers; each of 21 instants of the year is asked once, after one
that is not counted.
"""

import pathlib
import re
import resource
import shutil
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import datetime, timezone

N_INSTANTS = 21
program, ledger = pathlib.Path(sys.argv[1]).resolve(), pathlib.Path(sys.argv[2])
idle = pathlib.Path(__file__).resolve().parent.parent.parent / "tests/idle.py"


def configure(world):
    subprocess.run([program, "init", world], check=True, stdout=subprocess.DEVNULL)
    subprocess.run([sys.executable, idle, world], check=True)
    catalogue = (world / "catalogue/parts.toml").read_text()
    ids = re.findall(r'^\[\[part\]\]\n(?:.*\n)*?id = "([^"]*)"', catalogue, re.M)
    shutil.copy(ledger, world / "ledger.sqlite")
    connection = sqlite3.connect(world / "ledger.sqlite")
    connection.execute("CREATE TEMP TABLE named (old TEXT PRIMARY KEY, new TEXT)")
    rows = ((f"part-{number}", part) for number, part in enumerate(ids))
    connection.executemany("INSERT INTO named VALUES (?, ?)", rows)
    for table in ("offer", "matching"):
        connection.execute(f"UPDATE {table} SET part = (SELECT new FROM named WHERE old = part)")
    connection.execute("UPDATE feed SET retailer = replace(retailer, '-', ''), name = replace(name, '-', '')")
    connection.commit()
    first, last = connection.execute("SELECT min(at_ms), max(at_ms) FROM poll").fetchone()
    connection.close()
    return first, last


def ask(world, at_ms):
    at = datetime.fromtimestamp(at_ms / 1000, timezone.utc).strftime("%Y-%m-%dT%H:%M:%SZ")
    used = lambda: sum(resource.getrusage(resource.RUSAGE_CHILDREN)[:2])
    before, begun = used(), time.monotonic()
    asked = [program, "-C", world, "best", "--at", at, "--json"]
    answer = subprocess.run(asked, check=True, capture_output=True).stdout
    taken = time.monotonic() - begun
    assert b'"picks":[{' in answer, answer[:500]
    return 1000 * taken, 1000 * (used() - before)


with tempfile.TemporaryDirectory() as place:
    world = pathlib.Path(place) / "guides"
    first, last = configure(world)
    ask(world, first)
    step = (last - first) // (N_INSTANTS + 1)
    taken = [ask(world, first + step * at) for at in range(1, N_INSTANTS + 1)]
for name, times in zip(("by the clock", "of the processor"), zip(*taken)):
    print(f"best --at, ms {name}: median {statistics.median(times):.0f}, slowest {max(times):.0f}")
