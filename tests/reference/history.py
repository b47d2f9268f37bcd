"""Writes history.json: what numpy, scipy and pandas make of seeded price series, by the time held.

    python3 tests/reference/history.py

Needs python3 with its venv module; makes target/reference-history-venv with the versions pinned
below (pip asks whatever index it is configured for), runs itself there, and writes history.json
beside itself. The tests read that file only; this script is how it was made and how to make it again.

A series is a list of [from, until, price]: ticks of ten minutes and minor units; what lies between
two of them is a gap. Everything is computed twice, from the durations as weights and from one
sample a tick, and the two are asserted to agree before anything is written:

- quantiles: numpy.quantile with method="inverted_cdf" and the durations as weights.
- mean: numpy.average with the durations as weights; and by pandas, the mean of the series brought to
  one row a tick by resample("10min").ffill(), without the gaps.
- median: by pandas again, of those rows, with interpolation="lower"; it is the quantile at 500.
- spread: the root of numpy.cov with the durations as aweights and ddof=0, over the mean, in percent.
- trend: scipy.stats.linregress through the middle of every tick, in percent of the mean in 30 days.
"""

import json
import os
import subprocess
import sys
import venv
from pathlib import Path

PINNED = ["numpy==2.4.6", "scipy==1.17.1", "pandas==3.0.1"]
HERE = Path(__file__).resolve().parent
VENV = HERE.parent.parent / "target" / "reference-history-venv"
TICKS_A_DAY = 24 * 6
QUANTILES = [0, 50, 100, 250, 333, 500, 667, 750, 900, 1000]

# name, seed, steps, longest step in ticks, share of gaps, lowest and highest price
SERIES = [
    ("one price", 1, 1, 3000, 0.0, 10_000, 10_001),
    ("two prices", 2, 2, 3000, 0.0, 9_000, 11_000),
    ("few steps", 3, 8, 900, 0.0, 20_000, 30_000),
    ("few steps and gaps", 4, 12, 900, 0.4, 20_000, 30_000),
    ("few prices, often", 5, 200, 60, 0.0, 100, 104),
    ("many steps", 6, 400, 90, 0.1, 30_000, 60_000),
    ("long and short", 7, 60, 2000, 0.2, 1, 1_000_000),
    ("many gaps", 8, 120, 300, 0.7, 5_000, 5_500),
    ("dear", 9, 50, 500, 0.1, 10**12, 10**12 + 10**9),
]


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
        os.execv(python, [python, __file__])


def make_steps(np, seed, n_steps, longest, gaps, low, high):
    rng = np.random.default_rng(seed)
    steps, at = [], 0
    while len(steps) < n_steps:
        if steps and rng.random() < gaps:
            at += int(rng.integers(1, longest))
        lasts = int(rng.integers(1, longest))
        steps.append([at, at + lasts, int(rng.integers(low, high))])
        at += lasts
    # Enough for a trend, which is not told of less than 14 days.
    short = 15 * TICKS_A_DAY - sum(until - start for start, until, _ in steps)
    steps[-1][1] += max(short, 0)
    return steps


def by_pandas(pd, steps):
    """The median and the mean by the time held, from the steps alone: pandas fills the ticks."""
    at = pd.to_timedelta([edge for step in steps for edge in step[:2]], unit="min") * 10
    # Where a step ends nothing is known, unless another begins there.
    price = pd.Series([value for step in steps for value in (step[2], float("nan"))], index=at)
    price = price[~price.index.duplicated(keep="last")]
    known = price.notna()
    ticks = price.resample("10min").first().index
    held = known.reindex(ticks, method="ffill")
    each = price.ffill().reindex(ticks, method="ffill")[held]
    return int(each.quantile(0.5, interpolation="lower")), float(each.mean())


def facts(np, stats, pd, steps):
    start, until, price = (np.array(column) for column in zip(*steps))
    held = until - start
    ticks = np.concatenate([np.arange(*step[:2]) for step in steps])
    each = np.repeat(price, held)

    shares = [thousandths / 1000 for thousandths in QUANTILES]
    quantiles = np.quantile(price, shares, method="inverted_cdf", weights=held)
    assert (np.quantile(each, shares, method="inverted_cdf") == quantiles).all()

    mean = float(np.average(price, weights=held))
    median_by_pandas, mean_by_pandas = by_pandas(pd, steps)
    assert np.isclose(mean_by_pandas, mean, rtol=1e-12)
    assert median_by_pandas == quantiles[QUANTILES.index(500)]
    assert np.isclose(each.mean(), mean, rtol=1e-12)
    if len(steps) == 1:
        variance = 0.0
    else:
        variance = float(np.cov(price, aweights=held, ddof=0))
    assert np.isclose(each.var(), variance, rtol=1e-9)

    days = (ticks + 0.5) / TICKS_A_DAY
    slope = stats.linregress(days, each).slope
    assert np.isclose(np.polyfit(days - days.mean(), each - mean, 1)[0], slope, rtol=1e-6, atol=1e-9)
    # The squares of the time are summed over ticks there and integrated here.
    exact = 1.0 - 1.0 / (TICKS_A_DAY**2 * 12 * days.var() + 1.0)
    return {
        "quantiles": [int(value) for value in quantiles],
        "mean": mean,
        "pandas": {"median": median_by_pandas, "mean": mean_by_pandas},
        "spread_percent": 100.0 * variance**0.5 / mean,
        "trend_percent": 3000.0 * float(slope) * exact / mean,
        "at_or_below_median": int((each <= quantiles[QUANTILES.index(500)]).sum()),
    }


def main():
    in_the_venv()
    import numpy as np
    import pandas as pd
    import scipy
    from scipy import stats

    made_with = {
        "python": sys.version.split()[0],
        "numpy": np.__version__,
        "scipy": scipy.__version__,
        "pandas": pd.__version__,
    }
    series = []
    for name, seed, *draw in SERIES:
        steps = make_steps(np, seed, *draw)
        series.append({"name": name, "seed": seed, "steps": steps} | facts(np, stats, pd, steps))
    lines = [json.dumps(one, separators=(",", ":")) for one in series]
    head = {"made_with": made_with, "quantiles_at": QUANTILES}
    text = json.dumps(head)[:-1] + ',\n"series":[\n' + ",\n".join(lines) + "\n]}\n"
    assert json.loads(text)["series"] == series
    (HERE / "history.json").write_text(text)


if __name__ == "__main__":
    main()
