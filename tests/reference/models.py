"""Writes optima.json: what HiGHS, CP-SAT and SCIP find for seeded markets, proven.

    python3 tests/reference/models.py

Needs python3 with its venv module, and cargo; makes target/solvers-venv with the versions pinned
below (pip asks whatever index it is configured for) and runs itself there. The Rust side makes the
markets (tests/support/generated.rs) and writes them as JSON; the table holds seeds and sizes only.

The model, in integers: one choice of each group; costs within the budget; every balance; of two
groups, choices that do not stand together are not both taken; of each bottleneck, the value t is at
most the chosen value of every group that limits it. First the sum of weight times t is made as
large as possible, then the cost as small as possible at that sum.

Pairs are stated in the tight form: choices of the left group that refuse the same of the right
group are one class, and of a class and all that it refuses at most one is taken.

HiGHS and SCIP reckon in floating point. What they choose is reckoned again in integers here, and
the score that the second step must keep is that one. CP-SAT reckons in integers throughout. They
must agree in score and in cost to the last unit, or nothing is written; where only the floating
point differs (a solver stopped within its tolerance of the best score, a few millionths of a
log-rate), CP-SAT's answer is taken and the difference is said.
"""

import itertools
import json
import os
import subprocess
import sys
import time
import venv
from pathlib import Path

PINNED = ["highspy==1.16.0", "ortools==9.15.6755", "pyscipopt==6.3.0"]
HERE = Path(__file__).resolve().parent
ROOT = HERE.parent.parent
VENV = ROOT / "target" / "solvers-venv"
INSTANCES = ROOT / "target" / "optima"

# parts: how many instances
SIZES = {500: 150, 1000: 40, 2000: 12, 5000: 6}
# HiGHS and CP-SAT solve every instance, SCIP every fifth.
SCIP_EVERY = 5
# HiGHS and SCIP count values in thousands of millionths, so that coefficients stay small.
MICRO_PER_UNIT = 1000


def in_venv():
    """Runs this very script inside the pinned environment."""
    python = VENV / "bin" / "python3"
    if Path(sys.prefix).resolve() == VENV.resolve():
        return
    if not python.exists():
        venv.create(VENV, with_pip=True)
    subprocess.run([python, "-m", "pip", "install", "--quiet", *PINNED], check=True)
    os.execv(python, [str(python), *sys.argv])


class Model:
    """An instance with its rows: variables are the choices, group after group, then the t."""

    def __init__(self, instance):
        self.instance = instance
        self.groups = instance["groups"]
        self.budget = instance["budget"]
        self.starts = [0]
        for costs in self.groups:
            self.starts.append(self.starts[-1] + len(costs))
        self.n_choices = self.starts[-1]
        self.costs = [cost for costs in self.groups for cost in costs]
        self.bottlenecks = instance["bottlenecks"]
        # t counts from the least value, so that its coefficients are small.
        self.bases, self.tops = [], []
        for bottleneck in self.bottlenecks:
            columns = [values for _, values in bottleneck["limits"]]
            self.bases.append(min(min(column) for column in columns))
            self.tops.append(min(max(column) for column in columns))
        self.pairings = list(instance["pairings"])
        self.tables = []
        for joint in instance["joints"]:
            self.add_table(joint)

    def add_table(self, joint):
        """A table over several groups; those whose choices are all alike to it play no part."""
        sides = [side for side in zip(joint["groups"], joint["classes"], joint["sizes"])
                 if side[2] > 1]
        groups, classes, sizes = zip(*sides)
        width = sizes[-1]
        rows = [joint["fits"][start:start + width] for start in range(0, len(joint["fits"]), width)]
        if len(groups) == 2:
            self.pairings.append({"left": groups[0], "right": groups[1], "classes": classes,
                                  "fits": rows})
        else:
            leading = itertools.product(*(range(size) for size in sizes[:-1]))
            self.tables.append((groups, classes, dict(zip(leading, rows))))

    def at(self, group, choice):
        return self.starts[group] + choice

    def cliques(self):
        """Sets of which at most one is taken."""
        for pairing in self.pairings:
            left, right = pairing["classes"]
            for number, row in enumerate(pairing["fits"]):
                members = [self.at(pairing["left"], choice)
                           for choice, of in enumerate(left) if of == number]
                refused = [self.at(pairing["right"], choice)
                           for choice, of in enumerate(right) if row[of] == "0"]
                if members and refused:
                    yield members + refused

    def refusals(self):
        """Sets with how many of each may be taken at most: of a table over several groups, one
        class of each group but the last, and all that they together refuse of the last."""
        for groups, classes, rows in self.tables:
            last = list(enumerate(classes[-1]))
            for leading, row in rows.items():
                sets = [[self.at(group, choice) for choice, of in enumerate(column) if of == wanted]
                        for group, column, wanted in zip(groups, classes, leading)]
                sets.append([self.at(groups[-1], choice) for choice, of in last if row[of] == "0"])
                if all(sets):
                    yield [at for one in sets for at in one], len(sets) - 1

    def limits(self):
        """Sums of coefficient times choice that stay at or below a number."""
        yield dict(enumerate(self.costs)), self.budget
        for balance in self.instance["balances"]:
            row = {}
            for group, shares in balance["shares"]:
                row.update({self.at(group, choice): share for choice, share in enumerate(shares)})
            yield row, balance["at_most"]

    def values(self):
        """For each bottleneck and group that limits it: the choices' values above the base."""
        for number, bottleneck in enumerate(self.bottlenecks):
            for group, values in bottleneck["limits"]:
                above = {self.at(group, choice): value - self.bases[number]
                         for choice, value in enumerate(values)}
                yield number, above

    def weighed_bases(self):
        return sum(one["weight"] * base for one, base in zip(self.bottlenecks, self.bases))

    def score(self, selection):
        return sum(one["weight"] * min(values[selection[group]] for group, values in one["limits"])
                   for one in self.bottlenecks)

    def cost(self, selection):
        return sum(costs[choice] for costs, choice in zip(self.groups, selection))

    def admits(self, selection):
        if self.cost(selection) > self.budget:
            return False
        for balance in self.instance["balances"]:
            if sum(shares[selection[group]] for group, shares in balance["shares"]) > balance["at_most"]:
                return False
        def stands(pairing):
            left, right = pairing["classes"]
            row = pairing["fits"][left[selection[pairing["left"]]]]
            return row[right[selection[pairing["right"]]]] == "1"

        def is_in(table):
            groups, classes, rows = table
            chosen = [column[selection[group]] for group, column in zip(groups, classes)]
            return rows[tuple(chosen[:-1])][chosen[-1]] == "1"

        return all(map(stands, self.pairings)) and all(map(is_in, self.tables))

    def selection(self, is_chosen):
        """What is chosen in each group, checked in integers."""
        selection = []
        for group, costs in enumerate(self.groups):
            chosen = [choice for choice in range(len(costs)) if is_chosen(self.at(group, choice))]
            assert len(chosen) == 1, f"not one choice in group {group}: {chosen}"
            selection += chosen
        assert self.admits(selection), "the solver's choice breaks a limit"
        return selection


class Highs:
    name = "highspy"

    def __init__(self, model):
        import highspy
        import numpy as np

        self.model = model
        self.highs = highspy.Highs()
        for option, value in [("output_flag", False), ("threads", 1), ("parallel", "off"), ("mip_rel_gap", 0.0),
                              ("mip_abs_gap", 0.0), ("mip_feasibility_tolerance", 1e-9),
                              ("primal_feasibility_tolerance", 1e-9)]:
            self.highs.setOptionValue(option, value)
        self.infinity = highspy.kHighsInf
        self.optimal = highspy.HighsModelStatus.kOptimal
        n_bottlenecks = len(model.bottlenecks)
        self.n = model.n_choices + n_bottlenecks
        tops = [(top - base) / MICRO_PER_UNIT for top, base in zip(model.tops, model.bases)]
        upper = np.array([1.0] * model.n_choices + tops)
        self.highs.addVars(self.n, np.zeros(self.n), upper)
        whole = np.arange(model.n_choices, dtype=np.int32)
        self.highs.changeColsIntegrality(
            model.n_choices, whole, np.full(model.n_choices, highspy.HighsVarType.kInteger))
        rows = [({at: 1 for at in range(model.starts[group], model.starts[group + 1])}, 1, 1)
                for group in range(len(model.groups))]
        rows += [({at: 1 for at in clique}, -self.infinity, 1) for clique in model.cliques()]
        rows += [({at: 1 for at in of}, -self.infinity, most) for of, most in model.refusals()]
        rows += [(row, -self.infinity, most) for row, most in model.limits()]
        for number, above in model.values():
            row = {at: -value / MICRO_PER_UNIT for at, value in above.items()}
            row[model.n_choices + number] = 1
            rows.append((row, -self.infinity, 0))
        for row, least, most in rows:
            self.add(row, least, most)

    def add(self, row, least, most):
        import numpy as np

        indices = np.array(list(row), dtype=np.int32)
        self.highs.addRow(least, most, len(row), indices, np.array(list(row.values()), dtype=float))

    def run(self, objective, is_maximised):
        import highspy
        import numpy as np

        indices = np.arange(self.n, dtype=np.int32)
        self.highs.changeColsCost(self.n, indices, np.array(objective, dtype=float))
        sense = highspy.ObjSense.kMaximize if is_maximised else highspy.ObjSense.kMinimize
        self.highs.changeObjectiveSense(sense)
        self.highs.run()
        if self.highs.getModelStatus() != self.optimal:
            return None
        values = self.highs.getSolution().col_value
        return self.model.selection(lambda at: values[at] > 0.5)

    def best_score(self):
        weights = [one["weight"] for one in self.model.bottlenecks]
        return self.run([0] * self.model.n_choices + weights, True)

    def least_cost(self, score):
        model = self.model
        weights = {model.n_choices + number: one["weight"]
                   for number, one in enumerate(model.bottlenecks)}
        # A quarter of a millionth below, so that rounding refuses nothing that scores as much.
        least = (score - model.weighed_bases() - 0.25) / MICRO_PER_UNIT
        self.add(weights, least, self.infinity)
        return self.run(model.costs + [0] * len(model.bottlenecks), False)


class CpSat:
    name = "ortools"

    def __init__(self, model):
        from ortools.sat.python import cp_model

        self.model = model
        self.cp = cp_model.CpModel()
        self.chosen = [self.cp.new_bool_var("") for _ in range(model.n_choices)]
        self.lowest = [self.cp.new_int_var(0, top - base, "")
                       for top, base in zip(model.tops, model.bases)]
        for group in range(len(model.groups)):
            self.cp.add_exactly_one(self.chosen[model.starts[group]:model.starts[group + 1]])
        for clique in model.cliques():
            self.cp.add_at_most_one([self.chosen[at] for at in clique])
        for of, most in model.refusals():
            self.cp.add(self.sum(dict.fromkeys(of, 1)) <= most)
        for row, most in model.limits():
            self.cp.add(self.sum(row) <= most)
        for number, above in model.values():
            self.cp.add(self.lowest[number] <= self.sum(above))
        self.score = sum(one["weight"] * lowest
                         for one, lowest in zip(model.bottlenecks, self.lowest))
        self.solver = cp_model.CpSolver()
        self.solver.parameters.num_workers = 1
        self.solver.parameters.relative_gap_limit = 0.0
        self.optimal = cp_model.OPTIMAL

    def sum(self, row):
        from ortools.sat.python import cp_model

        return cp_model.LinearExpr.weighted_sum([self.chosen[at] for at in row], list(row.values()))

    def run(self):
        if self.solver.solve(self.cp) != self.optimal:
            return None
        return self.model.selection(lambda at: self.solver.boolean_value(self.chosen[at]))

    def best_score(self):
        self.cp.maximize(self.score)
        return self.run()

    def least_cost(self, score):
        self.cp.add(self.score >= score - self.model.weighed_bases())
        self.cp.clear_objective()
        self.cp.minimize(self.sum(dict(enumerate(self.model.costs))))
        return self.run()


class Scip:
    name = "pyscipopt"

    def __init__(self, model):
        from pyscipopt import Model as ScipModel
        from pyscipopt import quicksum

        self.model, self.sum = model, quicksum
        self.scip = ScipModel()
        self.scip.hideOutput()
        self.scip.setParam("limits/gap", 0.0)
        self.scip.setParam("numerics/feastol", 1e-9)
        self.chosen = [self.scip.addVar(vtype="B") for _ in range(model.n_choices)]
        self.lowest = [self.scip.addVar(lb=0, ub=(top - base) / MICRO_PER_UNIT)
                       for top, base in zip(model.tops, model.bases)]
        for group in range(len(model.groups)):
            members = self.chosen[model.starts[group]:model.starts[group + 1]]
            self.scip.addCons(quicksum(members) == 1)
        for clique in model.cliques():
            self.scip.addCons(quicksum(self.chosen[at] for at in clique) <= 1)
        for of, most in model.refusals():
            self.scip.addCons(quicksum(self.chosen[at] for at in of) <= most)
        for row, most in model.limits():
            self.scip.addCons(self.weighed(row) <= most)
        for number, above in model.values():
            above = {at: value / MICRO_PER_UNIT for at, value in above.items()}
            self.scip.addCons(self.lowest[number] <= self.weighed(above))
        self.score = quicksum(one["weight"] * lowest
                              for one, lowest in zip(model.bottlenecks, self.lowest))

    def weighed(self, row):
        return self.sum(value * self.chosen[at] for at, value in row.items())

    def run(self):
        self.scip.optimize()
        if self.scip.getStatus() != "optimal":
            return None
        return self.model.selection(lambda at: self.scip.getVal(self.chosen[at]) > 0.5)

    def best_score(self):
        self.scip.setObjective(self.score, "maximize")
        return self.run()

    def least_cost(self, score):
        self.scip.freeTransform()
        least = (score - self.model.weighed_bases() - 0.25) / MICRO_PER_UNIT
        self.scip.addCons(self.score >= least)
        self.scip.setObjective(self.weighed(dict(enumerate(self.model.costs))), "minimize")
        return self.run()


def solve(backend, model):
    """Best score and least cost at it, or `None` where nothing fits; and the seconds of the first
    step alone, the model's making left out."""
    solver = backend(model)
    start = time.process_time()
    best = solver.best_score()
    seconds = time.process_time() - start
    if best is None:
        return None, seconds
    score = model.score(best)
    cheapest = solver.least_cost(score)
    assert cheapest is not None, f"{backend.name} lost the best score"
    # The second step may see a little further than the tolerance of the first.
    score = max(score, model.score(cheapest))
    return (score, model.cost(cheapest)), seconds


def wanted():
    """Seeds, sizes and budgets from very little money to more than any build needs."""
    seed = 0
    for n_parts, number in SIZES.items():
        for _ in range(number):
            seed += 1
            yield seed, n_parts, 35_000 + seed * 7919 % 30 * 8_000


def write_instances(rows):
    INSTANCES.mkdir(parents=True, exist_ok=True)
    lines = [" ".join(str(number) for number in row) for row in rows]
    (INSTANCES / "wanted.txt").write_text("\n".join(lines) + "\n")
    command = ["cargo", "test", "--locked", "--test", "suite", "optima::write_instances", "--", "--ignored"]
    environment = os.environ | {"RIGTIDE_OPTIMA": str(INSTANCES)}
    subprocess.run(command, check=True, cwd=ROOT, env=environment, stdout=subprocess.DEVNULL)


def optimum_of(row):
    seed = row[0]
    model = Model(json.loads((INSTANCES / f"{seed}.json").read_text()))
    backends = [Highs, CpSat] + ([Scip] if seed % SCIP_EVERY == 0 else [])
    found = {backend.name: solve(backend, model)[0] for backend in backends}
    exact = found[CpSat.name]
    for name, optimum in found.items():
        if optimum != exact:
            print(f"seed {seed}: {name} says {optimum}, taken is {exact}", file=sys.stderr)
            within = None not in (optimum, exact) and 0 < exact[0] - optimum[0] <= 10
            assert within, "the solvers disagree"
    return exact, sorted(found)


def main():
    in_venv()
    rows = list(wanted())
    write_instances(rows)
    counts, lines = {}, []
    for row in rows:
        optimum, names = optimum_of(row)
        for name in names:
            counts[name] = counts.get(name, 0) + 1
        score, cost = optimum or (None, None)
        lines.append(json.dumps([*row, score, cost]))
        print(f"{row}: {optimum}", file=sys.stderr)
    head = {"made by": "tests/reference/models.py", "solvers": PINNED, "instances each": counts,
            "columns": ["seed", "parts", "budget", "score", "cost"]}
    text = json.dumps(head, indent=1)[:-2]
    table = text + ',\n "instances": [\n  ' + ",\n  ".join(lines) + "\n ]\n}\n"
    (HERE / "optima.json").write_text(table)


if __name__ == "__main__":
    main()
