"""Fifty readers at once, while polls and solves run: how long they wait, and whether the ledger has all.

python3 tests/page_load.py PROGRAM [SECONDS]: needs the program as built and nothing else.

The starter's feed is polled as often as the daemon does, and every poll meets a price that nobody has seen before, so that
each is stored and solved for. Another asks for builds under other budgets, two a second. Fifty readers
over kept connections ask for the first page and for a ladder, each a tenth of a second after the last
answer. At the end every price that was polled has to be in the ledger, in its order.
"""

import asyncio
import csv
import json
import pathlib
import subprocess
import sys
import tempfile
import time

READERS = 50
PAUSE = 0.1
FIRST, LADDER = "/", "/api/v1/briefs/example/ladder"
LIMITS = {FIRST: 0.050, LADDER: 0.200}


def prepare(program, folder):
    subprocess.run([program, "init", folder], check=True, stdout=subprocess.DEVNULL)
    settings = folder / "rigtide.toml"
    settings.write_text(settings.read_text() + '\n[web]\nlisten = "127.0.0.1:0"\n')
    retailer = folder / "retailers/example.toml"
    lines = retailer.read_text().splitlines()
    lines = ['schedule = "* * * * * *"' if line.startswith("schedule") else line for line in lines]
    assert 'schedule = "* * * * * *"' in lines
    retailer.write_text("\n".join(lines) + "\n")


class Prices:
    """Puts another price of one offer into the feed, whole or not at all."""

    def __init__(self, folder):
        self.path = folder / "retailers/example-offers.csv"
        self.rows = list(csv.reader(self.path.open(newline="")))
        self.written = []

    def move(self):
        price = 18990 + len(self.written) * 7 % 1500
        self.rows[1][5] = f"{price // 100}.{price % 100:02}"
        self.written.append(price)
        beside = self.path.with_suffix(".new")
        with beside.open("w", newline="") as file:
            csv.writer(file, lineterminator="\n").writerows(self.rows)
        beside.rename(self.path)


class Connection:
    def __init__(self, host, port):
        self.host, self.port = host, port
        self.streams = None

    async def get(self, path):
        if self.streams is None:
            self.streams = await asyncio.open_connection(self.host, self.port)
        reader, writer = self.streams
        writer.write(f"GET {path} HTTP/1.1\r\nHost: {self.host}:{self.port}\r\n\r\n".encode())
        head = (await reader.readuntil(b"\r\n\r\n")).decode().lower()
        length = [line for line in head.split("\r\n") if line.startswith("content-length:")]
        body = await reader.readexactly(int(length[0].split(":")[1]))
        return int(head.split(" ")[1]), body


async def read(host, port, until, waits):
    connection = Connection(host, port)
    while time.monotonic() < until:
        for path in (FIRST, LADDER):
            begun = time.perf_counter()
            status, body = await connection.get(path)
            waits[path].append(time.perf_counter() - begun)
            assert status == 200 and body, (path, status, body[:200])
            await asyncio.sleep(PAUSE)


async def wonder(host, port, until, counts):
    connection, n = Connection(host, port), 0
    while time.monotonic() < until:
        n += 1
        status, body = await connection.get(f"/api/v1/briefs/example?budget={750 + n % 300}.{n % 100:02}")
        counts[status] = counts.get(status, 0) + 1
        await asyncio.sleep(0.5)


async def change(prices, until):
    while time.monotonic() < until:
        prices.move()
        await asyncio.sleep(1)


async def load(host, port, seconds, prices):
    waits, counts = {FIRST: [], LADDER: []}, {}
    until = time.monotonic() + seconds
    readers = [read(host, port, until, waits) for _ in range(READERS)]
    await asyncio.gather(*readers, wonder(host, port, until, counts), change(prices, until))
    return waits, counts


def polled(log):
    lines = [json.loads(line) for line in log.read_text().splitlines()]
    return [line for line in lines if line.get("message") == "polled"], lines


def main():
    program, seconds = str(pathlib.Path(sys.argv[1]).resolve()), float((sys.argv[2:] or ["60"])[0])
    with tempfile.TemporaryDirectory() as room:
        folder = pathlib.Path(room) / "guides"
        prepare(program, folder)
        log = pathlib.Path(room) / "log"
        prices = Prices(folder)
        with log.open("w") as stderr:
            command = [program, "-C", folder, "--log", "json", "watch"]
            daemon = subprocess.Popen(command, stderr=stderr)
        try:
            ask = [program, "-C", folder, "open", "--json"]
            for _ in range(100):
                said = subprocess.run(ask, capture_output=True)
                if said.returncode == 0 and "bulletin" in log.read_text():
                    break
                time.sleep(0.1)
            address = json.loads(said.stdout)["address"]
            host, port = address.removeprefix("http://").rstrip("/").split(":")
            waits, counts = asyncio.run(load(host, int(port), seconds, prices))
        finally:
            daemon.terminate()
            assert daemon.wait(20) == 0
        polls, lines = polled(log)
        faults = [line for line in lines if line["level"] in ("WARN", "ERROR")]
        asked = json.loads(subprocess.run(
            [program, "-C", folder, "history", "askerune-fjell-26", "--json"],
            capture_output=True, check=True,
        ).stdout)
        subprocess.run([program, "-C", folder, "verify"], check=True, stdout=subprocess.DEVNULL)
    stored = [point["price_minor"] for point in asked["points"]]
    # The feed's prices in their order; a poll may have missed one, and none is there that was not written.
    written = iter([18990, *prices.written])
    lost = [price for price in stored if price not in written]
    changed = sum(1 for line in polls if line.get("changed"))
    print(f"{len(polls)} polls, {changed} with a change; {len(stored)} prices in the ledger; other budgets: {counts}")
    bad = False
    for path, limit in LIMITS.items():
        sorted_waits = sorted(waits[path])
        at = lambda share: sorted_waits[min(int(len(sorted_waits) * share), len(sorted_waits) - 1)] * 1000
        print(f"{path}: {len(sorted_waits)} answers, p50 {at(0.5):.1f} ms, p99 {at(0.99):.1f} ms, longest {at(1):.1f} ms")
        bad |= at(0.99) > limit * 1000
    for fault in faults[:5]:
        print(fault)
    assert not lost and len(stored) == changed, (lost, len(stored), changed)
    assert changed >= seconds / 10, "polls did not go on"
    assert not faults, "the daemon complained"
    assert not bad, "the readers waited too long"


main()
