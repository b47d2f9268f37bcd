"""Writes schedules.json: when croniter says that cron expressions come due.

    python3 tests/reference/schedules.py

Needs python3 with its venv module; makes target/reference-schedules-venv with the versions pinned
below (pip asks whatever index it is configured for), runs itself there, and writes schedules.json
beside itself. The tests read that file only; this script is how it was made and how to make it again.

Every expression is asked in every zone from every start: on the days before clocks are put forward
and back, before leap days that are and are not, and at the turn of a year. A row is
[expression, zone, start, next ...], instants in seconds since 1970, the first five; where croniter
refuses the expression there is the name of its error instead.
"""

import json
import os
import subprocess
import sys
import venv
from datetime import datetime
from pathlib import Path

PINNED = ["croniter==7.0.0", "tzdata==2026.6"]
HERE = Path(__file__).resolve().parent
VENV = HERE.parent.parent / "target" / "reference-schedules-venv"

EVERYWHERE = """
* * * * *
*/30 * * * *
7 * * * *
*/20 0-23 * * *
0 */2 * * *
15 1-4 * * *
30 2 * * *
0,30 2 * * *
*/15 2 * * *
0 0 * * *
59 23 * * *
30 1,2,3 * * 0
30 2 29,8,25 3,10,11 *
0 0 29 2 *
0 0 31 * *
30 4 1,15 * 5
0 0 */2 * 1
0 12 * * */2
0 6 * * 1-5
0 6 * * mon-fri
0 0 * * 7
0 0 * * sat-sun
5/20 * * * *
10-20/5,40 3 * * *
0 9 1 jan,jul *
0 9 * mar-oct sun
@hourly
@daily
@weekly
@monthly
@yearly
0 */15 2 * * *
30 0,30 * * * *
0 30 2 * * * 2026-2028
0 0 0 29 2 * *
""".strip().splitlines()

# Each zone with starts of its own on the days before its clocks change.
ZONES = {
    "UTC": [],
    "Europe/Berlin": ["2026-03-28T23:40", "2026-10-24T23:40"],
    "America/New_York": ["2026-03-07T23:40", "2026-10-31T23:40"],
    "Australia/Lord_Howe": ["2026-04-04T23:40", "2026-10-03T23:40"],
    "Africa/Cairo": ["2026-04-23T22:40", "2026-10-29T22:40"],
    "Asia/Kathmandu": [],
}
STARTS = ["2027-12-31T23:59", "2028-02-28T12:00", "2096-03-01T00:00"]

# Asked once: croniter's word on what is no expression.
REFUSED = """
* * * *
60 * * * *
* 24 * * *
* * 0 * *
* * 32 * *
* * * 13 *
* * * * 8
*/0 * * * *
1,,2 * * * *
a * * * *
0 0 30 2 *
-1 * * * *
5- * * * *
* * * * * * * *
@reboot
@sometimes
5-1 * * * *
0 0 L * *
0 0 * * 5#3
0 0 * * ?
0 0 1W * *
*/90 * * * *
+5 * * * *
""".strip().splitlines()


def in_the_venv():
    """Goes on in the venv of the pinned versions, made first where it is missing."""
    python = VENV / "bin" / "python"
    done = VENV / "pinned"
    if not done.exists() or done.read_text() != " ".join(PINNED):
        venv.create(VENV, clear=True, with_pip=True)
        pip = [python, "-m", "pip", "--quiet", "--disable-pip-version-check", "install"]
        subprocess.run(pip + PINNED, check=True)
        done.write_text(" ".join(PINNED))
    if Path(sys.prefix) != VENV:
        # The zones of the pinned package, not those of the machine.
        os.execve(python, [python, __file__], os.environ | {"PYTHONTZPATH": ""})


def ask(croniter, error, expression, start):
    n_fields = len(expression.split())
    try:
        times = croniter(expression, start, second_at_beginning=n_fields > 5)
        return [round(times.get_next(datetime).timestamp()) for _ in range(5)]
    except error as refused:
        return [type(refused).__name__]
    except Exception as stopped:  # its years are over
        return [type(stopped).__name__]


def main():
    in_the_venv()
    from zoneinfo import ZoneInfo

    from croniter import croniter
    from croniter.croniter import CroniterError

    rows = []
    for zone, own in ZONES.items():
        for start in own + STARTS:
            begins = datetime.fromisoformat(start).replace(tzinfo=ZoneInfo(zone))
            for expression in EVERYWHERE:
                found = ask(croniter, CroniterError, expression, begins)
                rows.append([expression, zone, round(begins.timestamp()), *found])
    begins = datetime.fromisoformat("2026-01-01T00:00").replace(tzinfo=ZoneInfo("UTC"))
    refused = [[expression, "UTC", round(begins.timestamp()),
                *ask(croniter, CroniterError, expression, begins)] for expression in REFUSED]
    lines = lambda rows: ",\n".join(json.dumps(row) for row in rows)
    (HERE / "schedules.json").write_text(
        f'{{"versions": {json.dumps(PINNED)},\n"due": [\n{lines(rows)}\n],\n'
        f'"odd": [\n{lines(refused)}\n]}}\n')
    print(f"{len(rows)} rows, {len(refused)} odd ones")


main()
