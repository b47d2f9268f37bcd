"""The peers of the ladder benchmark: one best build by HiGHS and one by CP-SAT, on one core.

    python3 solvers.py MODEL.json

Prints, for each, the processor seconds that its search for the best score took (the model's making
and the search for the least cost at that score are left out, in its favour) and the score and cost
that it proved. `tests/reference/models.py` states the models and pins the solvers.
"""

import json
import sys
from pathlib import Path

sys.dont_write_bytecode = True
sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests" / "reference"))
import models  # noqa: E402 (the path comes first)

N_RUNS = 3


def main():
    models.in_venv()
    model = models.Model(json.loads(Path(sys.argv[1]).read_text()))
    report = {}
    for backend in [models.Highs, models.CpSat]:
        runs = [models.solve(backend, model) for _ in range(N_RUNS)]
        optimum = runs[0][0]
        report[backend.name] = {"seconds": min(seconds for _, seconds in runs),
                                "score": optimum[0], "cost": optimum[1]}
    report["versions"] = models.PINNED[:2]
    print(json.dumps(report))


if __name__ == "__main__":
    main()
