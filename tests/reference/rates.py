"""Writes additive.json: what numpy and statsmodels make of seeded tables of results.

    python3 tests/reference/rates.py

Needs python3 with its venv module; makes target/reference-venv with the versions pinned below
(pip asks whatever index it is configured for), runs itself there, and writes additive.json beside
itself. The tests read that file only; this script is how it was made and how to make it again.

The model: log(value) = effect of the part + effect of the test + noise, over the results that
there are. Design: one dummy a part, one a test, the first test's dropped. A part's contrast is its
effect plus the mean of all tests' effects: its predicted mean log rate, had it run every test once.
Its standard error is sqrt(c' C c), with C the covariance of the coefficients and c the contrast.

- ols: numpy's lstsq for the contrasts, statsmodels' OLS for the covariance; `sigma` is the
  residual standard deviation over the degrees of freedom left.
- huber: statsmodels' RLM with HuberT (k = 1.345), scale = median |residual| / 0.6744897501960817
  anew in each round, rounds until no coefficient moves by more than 1e-12, covariance H1.

In the file, `results` are [part, test, value] with the value as text; `weights` are in their order.
"""

import json
import os
import subprocess
import sys
import venv
from pathlib import Path

PINNED = ["numpy==2.4.6", "scipy==1.17.1", "statsmodels==0.15.0"]
HERE = Path(__file__).resolve().parent
VENV = HERE.parent.parent / "target" / "reference-venv"

# name, seed, parts, tests, share of cells filled, log noise, share of gross outliers
TABLES = [
    ("smallest, nearly full", 1, 5, 3, 0.90, 0.02, 0.00),
    ("small and quiet", 2, 6, 4, 0.80, 0.005, 0.00),
    ("small with outliers", 3, 8, 5, 0.90, 0.03, 0.08),
    ("one test short of full", 4, 10, 4, 0.85, 0.03, 0.00),
    ("half filled", 5, 14, 6, 0.50, 0.03, 0.00),
    ("half filled with outliers", 6, 16, 8, 0.50, 0.03, 0.07),
    ("sparse", 7, 20, 10, 0.30, 0.04, 0.00),
    ("sparse with outliers", 8, 24, 12, 0.35, 0.04, 0.05),
    ("wide", 9, 12, 12, 0.60, 0.02, 0.10),
    ("tall", 10, 40, 3, 0.80, 0.05, 0.05),
    ("noisy", 11, 18, 5, 0.70, 0.20, 0.00),
    ("largest", 12, 40, 12, 0.40, 0.03, 0.06),
    ("two fields that share one part", 13, 15, 8, 0.90, 0.03, 0.05),
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


def joined(cells, n_parts, n_tests):
    """Whether a chain of common tests joins all parts, and each test has a result."""
    reached, grew = {("part", 0)}, True
    while grew:
        before = len(reached)
        for part, test in cells:
            ends = {("part", part), ("test", test)}
            if ends & reached:
                reached |= ends
        grew = len(reached) > before
    return len(reached) == n_parts + n_tests


def make_results(np, name, seed, n_parts, n_tests, filled, noise, outliers):
    """Draws a table; again, from the same stream, until it is connected and leaves residuals."""
    rng = np.random.default_rng(seed)
    while True:
        part_effects = rng.normal(4.5, 0.5, n_parts)
        test_effects = rng.normal(0.0, 0.6, n_tests)
        is_filled = rng.random((n_parts, n_tests)) < filled
        if name.startswith("two fields"):
            middle, half = n_parts // 2, n_tests // 2
            is_filled[: middle, half:] = False
            is_filled[middle + 1 :, :half] = False
        cells = [tuple(map(int, cell)) for cell in np.argwhere(is_filled)]
        if joined(cells, n_parts, n_tests) and len(cells) >= n_parts + n_tests + 2:
            break
    n_gross = round(outliers * len(cells))
    gross = set(map(int, rng.choice(len(cells), n_gross, replace=False)))
    results = []
    for row, (part, test) in enumerate(cells):
        log_rate = part_effects[part] + test_effects[test] + rng.normal(0.0, noise)
        if row in gross:
            log_rate += rng.choice([-1.0, 1.0]) * rng.uniform(0.4, 2.3)
        results.append([part, test, f"{np.exp(log_rate):.3f}"])
    order = rng.permutation(len(results))
    return [results[row] for row in order]


def fit(np, api, results, n_parts, n_tests):
    """Both fits of one table, with what makes the check meaningful asserted."""
    n_results, n_terms = len(results), n_parts + n_tests - 1
    design = np.zeros((n_results, n_terms))
    for row, (part, test, _) in enumerate(results):
        design[row, part] = 1.0
        if test > 0:
            design[row, n_parts + test - 1] = 1.0
    assert np.linalg.matrix_rank(design) == n_terms
    contrasts = np.zeros((n_parts, n_terms))
    contrasts[:, :n_parts] = np.eye(n_parts)
    contrasts[:, n_parts:] = 1.0 / n_tests
    log_rates = np.log([float(value) for _, _, value in results])

    def errors(covariance):
        return np.sqrt(np.einsum("ij,jk,ik->i", contrasts, covariance, contrasts))

    by_lstsq = np.linalg.lstsq(design, log_rates, rcond=None)[0]
    ols = api.OLS(log_rates, design).fit()
    assert np.abs(by_lstsq - ols.params).max() < 1e-11

    norm = api.robust.norms.HuberT(t=1.345)
    options = dict(cov="H1", scale_est="mad", conv="coefs", tol=1e-12, maxiter=500)
    huber = api.RLM(log_rates, design, M=norm).fit(**options)
    assert huber.fit_history["iteration"] < 500, "it did not settle"
    # No residual so near the bend that rounding decides on which side of it it lies.
    assert np.abs(np.abs(huber.sresid) - norm.t).min() > 1e-6
    off = h1_by_hand(np, design, huber.resid, huber.scale) - huber.cov_params()
    assert np.abs(off).max() < 1e-10 * np.abs(huber.cov_params()).max()
    assert np.allclose(norm.weights(huber.sresid), huber.weights, rtol=0.0, atol=1e-9)
    return {
        "ols": {
            "contrast": (contrasts @ by_lstsq).tolist(),
            "se": errors(ols.cov_params()).tolist(),
            "sigma": float(np.sqrt(ols.scale)),
        },
        "huber": {
            "contrast": (contrasts @ huber.params).tolist(),
            "se": errors(huber.cov_params()).tolist(),
            "scale": float(huber.scale),
            "rounds": huber.fit_history["iteration"],
            "weights": huber.weights.tolist(),
        },
    }


def h1_by_hand(np, design, residuals, scale, bend=1.345):
    """The covariance H1, written out, so that the formula stands here and not only over there."""
    n_results, n_terms = design.shape
    scaled = residuals / scale
    is_inside = (np.abs(scaled) <= bend).astype(float)
    share_inside = is_inside.mean()
    spread = share_inside * (1.0 - share_inside)
    correction = 1.0 + n_terms / n_results * spread / share_inside**2
    clipped = np.clip(scaled, -bend, bend)
    variance = (clipped**2).sum() * scale**2 / (n_results - n_terms)
    return (correction / share_inside) ** 2 * variance * np.linalg.inv(design.T @ design)


def as_text(reference):
    """JSON with one list a line, so that a change of one table shows as one."""

    def flat(value):
        return json.dumps(value, separators=(",", ":"))

    lines = ['{"made_with":' + flat(reference["made_with"]) + ",", '"tables":[']
    for table in reference["tables"]:
        head = {key: table[key] for key in ("name", "seed", "n_parts", "n_tests")}
        lines.append(flat(head)[:-1] + ",")
        lines.append('"results":' + flat(table["results"]) + ",")
        for fitted in ("ols", "huber"):
            lines.append(f'"{fitted}":{{')
            fields = [f'"{key}":{flat(value)}' for key, value in table[fitted].items()]
            lines.append(",\n".join(fields) + ("}," if fitted == "ols" else "}},"))
    lines[-1] = lines[-1].removesuffix(",")
    return "\n".join(lines) + "\n]}\n"


def main():
    in_the_venv()
    import numpy as np
    import scipy
    import statsmodels
    import statsmodels.api as api

    made_with = {
        "python": sys.version.split()[0],
        "numpy": np.__version__,
        "scipy": scipy.__version__,
        "statsmodels": statsmodels.__version__,
    }
    tables = []
    for name, seed, n_parts, n_tests, *draw in TABLES:
        results = make_results(np, name, seed, n_parts, n_tests, *draw)
        table = {"name": name, "seed": seed, "n_parts": n_parts, "n_tests": n_tests}
        tables.append(table | {"results": results} | fit(np, api, results, n_parts, n_tests))
    text = as_text({"made_with": made_with, "tables": tables})
    assert json.loads(text)["tables"] == tables
    (HERE / "additive.json").write_text(text)


if __name__ == "__main__":
    main()
