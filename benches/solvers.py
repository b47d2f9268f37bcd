"""The peers of the ladder benchmark: one best build by HiGHS and one by CP-SAT, on one core.

    python3 solvers.py MODEL.json

Prints, for each, the processor seconds that its search for the best score took (the model's making
is left out, in its favour; of several runs the fastest counts), the score, and the least cost at
that score. The search for the least cost is left out, and no cost printed, where the one for the
score took long already. What is not done in five minutes is ended, and has neither. `tests/reference/models.py` states the models and pins the solvers.
"""

import json
import multiprocessing
import sys
import time
from pathlib import Path

sys.dont_write_bytecode = True
sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests" / "reference"))
import models  # noqa: E402 (the path comes first)

N_RUNS = 3
# A search of more seconds than this is run once, and none for the least cost follows.
LONG = 30
# A search that takes longer than this is ended.
MOST = 300


def search(backend, model, score=None):
    """The best score and the seconds that its search took, or the least cost at a score."""
    solver = backend(model)
    start = time.process_time()
    found = solver.best_score() if score is None else solver.least_cost(score)
    return model.score(found), model.cost(found), time.process_time() - start


def bounded(*asked):
    """The same in a process of its own, as nothing else ends a search; `None` where it was ended."""
    ends, begins = multiprocessing.Pipe(duplex=False)
    worker = multiprocessing.Process(target=lambda: begins.send(search(*asked)))
    worker.start()
    found = ends.recv() if ends.poll(MOST) else None
    worker.kill()
    worker.join()
    return found


def ask(backend, model):
    found = bounded(backend, model)
    if found is None:
        return {"seconds": MOST, "score": None, "cost": None}
    score, _, seconds = found
    cost = None
    if seconds <= LONG:
        # The second step may see a little further than the tolerance of the first.
        cheapest = bounded(backend, model, score)
        if cheapest is not None:
            score, cost = max(score, cheapest[0]), cheapest[1]
        seconds = min([seconds] + [search(backend, model)[2] for _ in range(N_RUNS - 1)])
    return {"seconds": seconds, "score": score, "cost": cost}


def main():
    models.in_venv()
    model = models.Model(json.loads(Path(sys.argv[1]).read_text()))
    report = {backend.name: ask(backend, model) for backend in [models.Highs, models.CpSat]}
    report["versions"] = models.PINNED[:2]
    print(json.dumps(report))


if __name__ == "__main__":
    main()
