"""Fifty readers at once, while polls and solves run: how long they wait, and whether the ledger has all.

python3 tests/page_load.py PROGRAM [SECONDS]: needs the program as built and nothing else.

The market is that of tests/idle.py: 5,000 parts and 25,000 offers of five shops. Each shop is due every five
seconds, one after the other, and has twenty prices that nobody has seen before, so that each poll is stored and
solved for. Another asks for builds under other budgets, two a second. Fifty readers over kept connections
ask for the first page and for a ladder, each a tenth of a second after the last answer. At the end every
price that was polled has to be in the ledger, in its order.

How long readers may wait is held by runs of more than ten seconds: a short one is for machines that do
other work, and says how long they waited.
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
SHOPS, MOVED = 5, 20
TIMED_FROM = 10


def prepare(program, folder):
    subprocess.run([program, "init", folder], check=True, stdout=subprocess.DEVNULL)
    idle = pathlib.Path(__file__).with_name("idle.py")
    subprocess.run([sys.executable, idle, folder], check=True)
    settings = folder / "rigtide.toml"
    settings.write_text(settings.read_text() + '\n[web]\nlisten = "127.0.0.1:0"\n')
    for shop in range(SHOPS):
        retailer = folder / f"retailers/shop{shop}.toml"
        schedule = f'schedule = "{shop}-59/{SHOPS} * * * * *"'
        lines = retailer.read_text().splitlines()
        lines = [schedule if line.startswith("schedule") else line for line in lines]
        assert schedule in lines
        retailer.write_text("\n".join(lines) + "\n")


class Prices:
    """Puts other prices of some offers into one shop's feed after the other, whole or not at all."""

    def __init__(self, folder):
        self.paths = [folder / f"retailers/shop{shop}.csv" for shop in range(SHOPS)]
        self.rows = [list(csv.reader(path.open(newline=""))) for path in self.paths]
        self.price = self.rows[0][0].index("price")
        # By shop and SKU, in their order.
        self.written = {}
        for shop, rows in enumerate(self.rows):
            for row in rows[1 : MOVED + 1]:
                self.written[f"shop{shop}", row[0]] = [round(float(row[self.price]) * 100)]
        self.moves = 0

    def move(self):
        shop = self.moves % SHOPS
        self.moves += 1
        rows = self.rows[shop]
        for row in rows[1 : MOVED + 1]:
            known = self.written[f"shop{shop}", row[0]]
            # Another each time, and near the first.
            known.append(known[0] + len(known) % 200 + 1)
            row[self.price] = f"{known[-1] // 100}.{known[-1] % 100:02}"
        beside = self.paths[shop].with_suffix(".new")
        with beside.open("w", newline="") as file:
            csv.writer(file, lineterminator="\n").writerows(rows)
        beside.rename(self.paths[shop])


class Connection(asyncio.BufferedProtocol):
    """Asks and counts what comes; only the beginning is kept, so that fifty readers cost little themselves."""

    BUFFER = memoryview(bytearray(1 << 18))

    def __init__(self, host, port):
        self.host, self.port = host, port
        self.transport = self.answered = None

    def connection_made(self, transport):
        self.transport = transport

    def get_buffer(self, _):
        return self.BUFFER

    def buffer_updated(self, length):
        if self.missing is None:
            self.kept += self.BUFFER[:length]
            head, found, body = self.kept.partition(b"\r\n\r\n")
            if not found:
                return
            lines = head.decode().lower().split("\r\n")
            lengths = [int(line.split(":")[1]) for line in lines if line.startswith("content-length:")]
            self.missing = lengths[0] - len(body)
        else:
            self.missing -= length
        if self.missing <= 0 and not self.answered.done():
            self.answered.set_result(None)

    def connection_lost(self, error):
        if not self.answered.done():
            self.answered.set_exception(error or ConnectionError("closed"))

    async def get(self, path):
        loop = asyncio.get_running_loop()
        self.kept, self.missing, self.answered = b"", None, loop.create_future()
        if self.transport is None:
            await loop.create_connection(lambda: self, self.host, self.port)
        self.transport.write(f"GET {path} HTTP/1.1\r\nHost: {self.host}:{self.port}\r\n\r\n".encode())
        await self.answered
        assert self.missing == 0, (path, self.missing)
        return int(self.kept.split(b" ", 2)[1]), self.kept.partition(b"\r\n\r\n")[2]


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
        assert status == 200, (status, body[:200])
        counts[status] = counts.get(status, 0) + 1
        await asyncio.sleep(0.5)


def change(prices, until):
    while time.monotonic() < until:
        prices.move()
        time.sleep(1)


async def load(host, port, seconds, prices):
    waits, counts = {FIRST: [], LADDER: []}, {}
    until = time.monotonic() + seconds
    readers = [read(host, port, until, waits) for _ in range(READERS)]
    changing = asyncio.to_thread(change, prices, until)
    await asyncio.gather(*readers, wonder(host, port, until, counts), changing)
    return waits, counts


def watched(program, folder, log, seconds, prices):
    with log.open("w") as stderr:
        command = [program, "-C", folder, "--log", "json", "watch"]
        daemon = subprocess.Popen(command, stderr=stderr)
    try:
        ask = [program, "-C", folder, "open", "--json"]
        for _ in range(300):
            said = subprocess.run(ask, capture_output=True)
            if said.returncode == 0 and "bulletin" in log.read_text():
                break
            time.sleep(0.1)
        address = json.loads(said.stdout)["address"]
        host, port = address.removeprefix("http://").rstrip("/").split(":")
        return asyncio.run(load(host, int(port), seconds, prices))
    finally:
        daemon.terminate()
        assert daemon.wait(20) == 0


def stored(program, folder):
    """What the ledger has of the offers that moved: their prices in their order."""
    found = {}
    parts = (folder / "catalogue/parts.toml").read_text().split('\nid = "')[1 : MOVED + 1]
    for part in parts:
        asked = [program, "-C", folder, "history", part.split('"')[0], "--json"]
        said = json.loads(subprocess.run(asked, capture_output=True, check=True).stdout)
        for point in said["points"]:
            found.setdefault((point["retailer"], point["sku"]), []).append((point["from"], point["price_minor"]))
    return {offer: [price for _, price in sorted(points)] for offer, points in found.items()}


def waited(path, waits):
    """Says how long; whether it was too long."""
    waits = sorted(waits)
    at = lambda share: waits[min(int(len(waits) * share), len(waits) - 1)] * 1000
    print(f"{path}: {len(waits)} answers, p50 {at(0.5):.1f} ms, p99 {at(0.99):.1f} ms, longest {at(1):.1f} ms")
    return at(0.99) > LIMITS[path] * 1000


def main():
    program, seconds = str(pathlib.Path(sys.argv[1]).resolve()), float((sys.argv[2:] or ["60"])[0])
    with tempfile.TemporaryDirectory() as room:
        folder, log = pathlib.Path(room) / "guides", pathlib.Path(room) / "log"
        prepare(program, folder)
        prices = Prices(folder)
        waits, counts = watched(program, folder, log, seconds, prices)
        lines = [json.loads(line) for line in log.read_text().splitlines()]
        found = stored(program, folder)
        subprocess.run([program, "-C", folder, "verify"], check=True, stdout=subprocess.DEVNULL)
    polls = [line for line in lines if line.get("message") == "polled"]
    faults = [line for line in lines if line["level"] in ("WARN", "ERROR")]
    for fault in faults[:5]:
        print(fault)
    changed = [line for line in polls if line.get("changed")]
    changes = {}
    for line in changed:
        shop = line["feed.id"].split("/")[0]
        changes[shop] = changes.get(shop, 0) + 1
    n_prices = sum(len(kept) for kept in found.values())
    print(f"{len(polls)} polls, {len(changed)} with a change; {n_prices} prices in the ledger; other budgets: {counts}")
    too_long = [path for path in LIMITS if waited(path, waits[path])]
    assert len(found) == SHOPS * MOVED, len(found)
    for (shop, sku), kept in found.items():
        # A poll may have missed one, and none is there that was not written.
        written = iter(prices.written[shop, sku])
        lost = [price for price in kept if price not in written]
        assert not lost and len(kept) == changes[shop], (shop, sku, lost, len(kept), changes)
    assert len(changed) - SHOPS >= seconds / 5, "polls did not go on"
    assert not faults, "the daemon complained"
    assert seconds <= TIMED_FROM or not too_long, "the readers waited too long"


main()
