"""Writes optima.json and coupled.json: what HiGHS, CP-SAT and SCIP find for seeded markets, proven.

    python3 tests/reference/models.py [optima] [coupled]

Needs python3 with its venv module, and cargo; makes target/solvers-venv with the versions pinned
below (pip asks whatever index it is configured for) and runs itself there. The Rust side makes the
markets (tests/support/generated.rs) and writes them as JSON; the table holds seeds and sizes only.

The model, in integers: one choice of each group; costs within the budget; every balance; of two
groups, choices that do not stand together are not both taken; of each bottleneck, the value t is at
most the chosen value of every group that limits it. First the sum of weight times t is made as
large as possible, then the cost as small as possible at that sum.

In coupled.json's markets each part is offered by up to three retailers with terms for whole orders:
delivery that is free above a threshold, coupons, bundles, and at most so many retailers. The Rust
side (tests/support/coupled.rs) writes offers and terms as they are; the rows for them are stated
here, and what an order costs is reckoned once more from its lines, over every coupon and set of
bundles, when a solver has chosen.

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
COUPLED_SIZES = {100: 30, 200: 20, 500: 10}
SIZES = {500: 150, 1000: 40, 2000: 12, 5000: 6}
# HiGHS and CP-SAT solve every instance, SCIP every fifth, and all with terms up to this size.
SCIP_COUPLED_PARTS_MAX = 200
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
        # The most of each whole-number column: the choices first, then what a coupled model adds.
        self.uppers = [1] * self.n_choices
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

    def rows(self):
        """Further sums, each with the least and the most that it may come to."""
        return []

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

    def selection(self, value_of):
        """What is chosen in each group, checked in integers."""
        selection = self.chosen(value_of)
        assert self.admits(selection), "the solver's choice breaks a limit"
        return selection

    def chosen(self, value_of):
        selection = Bought()
        for group, costs in enumerate(self.groups):
            chosen = [choice for choice in range(len(costs)) if value_of(self.at(group, choice)) > 0.5]
            assert len(chosen) == 1, f"not one choice in group {group}: {chosen}"
            selection += chosen
        return selection


class Bought(list):
    """What is chosen in each group, and in a coupled model from which retailer."""

    retailers = ()


def off_line(coupon, price):
    """What a coupon of so many hundredths of a percent takes off a line, rounded half up."""
    return (2 * price * coupon["percent_hundredths"] + 10_000) // 20_000


def fixed_off(coupon):
    return min(coupon["amount"], coupon["at_most"] or coupon["amount"])


class Coupled(Model):
    """A model whose parts are bought in orders. Columns are added behind the choices: each offer; for
    each retailer whether it is ordered from, whether delivery is free, what is paid for delivery,
    which coupon is used and what it takes off by percentages, which bundles are taken."""

    def __init__(self, instance):
        super().__init__(instance)
        self.costs = [0] * self.n_choices
        self.extra = []
        offers = instance["offers"]
        self.offer_columns = [self.add(1, price) for *_, price in offers]
        self.offers = offers
        for group, costs in enumerate(self.groups):
            for choice in range(len(costs)):
                of = {column: 1 for column, offer in zip(self.offer_columns, offers)
                      if offer[:2] == [group, choice]}
                self.extra.append((of | {self.at(group, choice): -1}, 0, 0))
        ordered = [self.add_retailer(number, terms)
                   for number, terms in enumerate(instance["retailers"])]
        if instance["most_retailers"] is not None:
            self.extra.append((dict.fromkeys(ordered, 1), None, instance["most_retailers"]))

    def add(self, upper, cost):
        self.uppers.append(upper)
        self.costs.append(cost)
        return len(self.uppers) - 1

    def add_retailer(self, number, terms):
        """The columns and rows of a retailer's terms; returns whether it is ordered from."""
        own = [(column, offer) for column, offer in zip(self.offer_columns, self.offers)
               if offer[2] == number]
        goods = {column: price for column, (*_, price) in own}
        ordered = self.add(1, 0)
        for group in range(len(self.groups)):
            lines = {column: 1 for column, offer in own if offer[0] == group}
            self.extra.append((lines | {ordered: -1}, None, 0))
        # What is left of the goods, which delivery is free from some value of.
        left = dict(goods)
        self.add_coupons(terms, own, goods, ordered, left)
        self.add_bundles(terms, own, left)
        most = terms["flat"] + terms["per_item"] * len(self.groups)
        paid = self.add(most, 1)
        row = {paid: 1, ordered: -terms["flat"]}
        row |= {column: -terms["per_item"] for column, _ in own if terms["per_item"]}
        if terms["free_from"] is not None:
            free = self.add(1, 0)
            row[free] = most
            slack = sum(bundle["saves"] for bundle in terms["bundles"])
            self.extra.append((left | {free: -terms["free_from"] - slack}, -slack, None))
        self.extra.append((row, 0, None))
        return ordered

    def add_coupons(self, terms, own, goods, ordered, left):
        used = []
        for coupon in terms["coupons"]:
            use = self.add(1, 0)
            used.append(use)
            if coupon["minimum_spend"] is not None:
                self.extra.append((goods | {use: -coupon["minimum_spend"]}, 0, None))
            covered = [(column, price) for column, (group, _, _, price) in own
                       if group in coupon["groups"]]
            if coupon["amount"] is not None:
                off = fixed_off(coupon)
                self.costs[use] = -off
                left[use] = -off
                self.extra.append((dict(covered) | {use: -off}, 0, None))
            else:
                self.add_share(coupon, covered, use, left)
        self.extra.append((dict.fromkeys(used, 1) | {ordered: -1}, None, 0))

    def add_share(self, coupon, covered, use, left):
        """What percentages take off: all of the lines' shares or the most, and nothing unless used."""
        shares = {column: off_line(coupon, price) for column, price in covered}
        everything = sum(sorted(shares.values())[-len(self.groups):])
        most = coupon["at_most"] if coupon["at_most"] is not None else everything
        off = self.add(most, -1)
        left[off] = -1
        is_capped = self.add(1 if coupon["at_most"] is not None else 0, 0)
        self.extra.append(({off: 1, use: -most}, None, 0))
        minus = {column: -share for column, share in shares.items()}
        self.extra.append((minus | {off: 1}, None, 0))
        self.extra.append((minus | {off: 1, use: -everything, is_capped: everything}, -everything, None))
        self.extra.append(({off: 1, use: -most, is_capped: -most}, -most, None))

    def add_bundles(self, terms, own, left):
        column_of = {tuple(offer[:2]): column for column, offer in own}
        taken = {}
        for bundle in terms["bundles"]:
            parts = [column_of.get(tuple(part)) for part in bundle["parts"]]
            if None in parts:
                continue
            take = self.add(1, -bundle["saves"])
            left[take] = -bundle["saves"]
            for column in parts:
                taken.setdefault(column, []).append(take)
        # No piece is in two bundles, and a bundle needs a piece of each of its parts.
        for column, takes in taken.items():
            self.extra.append((dict.fromkeys(takes, 1) | {column: -1}, None, 0))

    def rows(self):
        return self.extra

    def chosen(self, value_of):
        selection = super().chosen(value_of)
        retailers = {}
        for column, (group, _, retailer, _) in zip(self.offer_columns, self.offers):
            if value_of(column) > 0.5:
                assert group not in retailers, f"group {group} is bought twice"
                retailers[group] = retailer
        selection.retailers = [retailers[group] for group in range(len(self.groups))]
        selection.claimed = sum(cost * round(value_of(at)) for at, cost in enumerate(self.costs) if cost)
        return selection

    def cost(self, selection):
        prices = {tuple(offer[:3]): offer[3] for offer in self.offers}
        orders = {}
        for group, (choice, retailer) in enumerate(zip(selection, selection.retailers)):
            orders.setdefault(retailer, []).append((group, choice, prices[group, choice, retailer]))
        most = self.instance["most_retailers"]
        assert most is None or len(orders) <= most, "too many retailers"
        return sum(least_bill(self.instance["retailers"][retailer], lines)
                   for retailer, lines in orders.items())


def least_bill(terms, lines):
    """The least that an order of these lines costs, over every coupon and set of bundles."""
    had = {(group, choice) for group, choice, _ in lines}
    goods = sum(price for *_, price in lines)
    sets = [()]
    for number in range(1, len(terms["bundles"]) + 1):
        for some in itertools.combinations(terms["bundles"], number):
            parts = [tuple(part) for bundle in some for part in bundle["parts"]]
            if len(set(parts)) == len(parts) and had.issuperset(parts):
                sets.append(some)
    bills = []
    for coupon in [None, *terms["coupons"]]:
        off = 0
        if coupon is not None:
            covered = [price for group, _, price in lines if group in coupon["groups"]]
            if goods < (coupon["minimum_spend"] or 0) or not covered:
                continue
            if coupon["amount"] is not None:
                off = fixed_off(coupon)
                if sum(covered) < off:
                    continue
            else:
                off = sum(off_line(coupon, price) for price in covered)
                off = off if coupon["at_most"] is None else min(off, coupon["at_most"])
        for some in sets:
            left = goods - off - sum(bundle["saves"] for bundle in some)
            is_free = terms["free_from"] is not None and left >= terms["free_from"]
            fee = 0 if is_free else terms["flat"] + terms["per_item"] * len(lines)
            bills.append(left + fee)
    return min(bills)


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
        self.n_whole = len(model.uppers)
        self.n = self.n_whole + n_bottlenecks
        tops = [(top - base) / MICRO_PER_UNIT for top, base in zip(model.tops, model.bases)]
        upper = np.array([float(upper) for upper in model.uppers] + tops)
        self.highs.addVars(self.n, np.zeros(self.n), upper)
        whole = np.arange(self.n_whole, dtype=np.int32)
        self.highs.changeColsIntegrality(
            self.n_whole, whole, np.full(self.n_whole, highspy.HighsVarType.kInteger))
        rows = [({at: 1 for at in range(model.starts[group], model.starts[group + 1])}, 1, 1)
                for group in range(len(model.groups))]
        rows += [({at: 1 for at in clique}, -self.infinity, 1) for clique in model.cliques()]
        rows += [({at: 1 for at in of}, -self.infinity, most) for of, most in model.refusals()]
        rows += [(row, -self.infinity, most) for row, most in model.limits()]
        rows += [(row, -self.infinity if least is None else least,
                  self.infinity if most is None else most) for row, least, most in model.rows()]
        for number, above in model.values():
            row = {at: -value / MICRO_PER_UNIT for at, value in above.items()}
            row[self.n_whole + number] = 1
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
        return self.model.selection(lambda at: values[at])

    def best_score(self):
        weights = [one["weight"] for one in self.model.bottlenecks]
        return self.run([0] * self.n_whole + weights, True)

    def least_cost(self, score):
        model = self.model
        weights = {self.n_whole + number: one["weight"]
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
        self.chosen = [self.cp.new_int_var(0, upper, "") for upper in model.uppers]
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
        for row, least, most in model.rows():
            if most is not None:
                self.cp.add(self.sum(row) <= most)
            if least is not None:
                self.cp.add(self.sum(row) >= least)
        for number, above in model.values():
            self.cp.add(self.lowest[number] <= self.sum(above))
        self.score = sum(one["weight"] * lowest
                         for one, lowest in zip(model.bottlenecks, self.lowest))
        self.solver = cp_model.CpSolver()
        self.solver.parameters.num_workers = 1
        self.solver.parameters.relative_gap_limit = 0.0
        if isinstance(model, Coupled):
            # Terms are sums of large amounts, which only the linear relaxation sees through.
            self.solver.parameters.linearization_level = 2
        self.optimal = cp_model.OPTIMAL

    def sum(self, row):
        from ortools.sat.python import cp_model

        return cp_model.LinearExpr.weighted_sum([self.chosen[at] for at in row], list(row.values()))

    def run(self):
        if self.solver.solve(self.cp) != self.optimal:
            return None
        return self.model.selection(lambda at: self.solver.value(self.chosen[at]))

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
        self.chosen = [self.scip.addVar(vtype="I", lb=0, ub=upper) for upper in model.uppers]
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
        for row, least, most in model.rows():
            if most is not None:
                self.scip.addCons(self.weighed(row) <= most)
            if least is not None:
                self.scip.addCons(self.weighed(row) >= least)
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
        return self.model.selection(lambda at: self.scip.getVal(self.chosen[at]))

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
    cost = model.cost(cheapest)
    # The rows must say of the orders what their lines say.
    assert getattr(cheapest, "claimed", cost) == cost, f"{backend.name} and the bills differ"
    return (score, cost), seconds


def wanted(sizes):
    """Seeds, sizes and budgets from very little money to more than any build needs."""
    seed = 0
    for n_parts, number in sizes.items():
        for _ in range(number):
            seed += 1
            yield seed, n_parts, 35_000 + seed * 7919 % 30 * 8_000


def write_instances(rows, tool):
    INSTANCES.mkdir(parents=True, exist_ok=True)
    lines = [" ".join(str(number) for number in row) for row in rows]
    (INSTANCES / "wanted.txt").write_text("\n".join(lines) + "\n")
    command = ["cargo", "test", "--locked", "--test", "suite", f"optima::{tool}", "--", "--ignored"]
    environment = os.environ | {"RIGTIDE_OPTIMA": str(INSTANCES)}
    subprocess.run(command, check=True, cwd=ROOT, env=environment, stdout=subprocess.DEVNULL)


def optimum_of(row, kind, is_for_scip):
    seed = row[0]
    model = kind(json.loads((INSTANCES / f"{seed}.json").read_text()))
    backends = [Highs, CpSat] + ([Scip] if is_for_scip else [])
    found = {backend.name: solve(backend, model)[0] for backend in backends}
    exact = found[CpSat.name]
    for name, optimum in found.items():
        if optimum != exact:
            print(f"seed {seed}: {name} says {optimum}, taken is {exact}", file=sys.stderr)
            within = None not in (optimum, exact) and 0 < exact[0] - optimum[0] <= 10
            assert within, "the solvers disagree"
    return exact, sorted(found)


def make(file, sizes, kind, tool):
    rows = list(wanted(sizes))
    write_instances(rows, tool)
    counts, lines = {}, []
    for row in rows:
        seed, n_parts, _ = row
        is_small = kind is Coupled and n_parts <= SCIP_COUPLED_PARTS_MAX
        optimum, names = optimum_of(row, kind, is_small or seed % SCIP_EVERY == 0)
        for name in names:
            counts[name] = counts.get(name, 0) + 1
        score, cost = optimum or (None, None)
        lines.append(json.dumps([*row, score, cost]))
        print(f"{row}: {optimum}", file=sys.stderr)
    head = {"made by": "tests/reference/models.py", "solvers": PINNED, "instances each": counts,
            "columns": ["seed", "parts", "budget", "score", "cost"]}
    text = json.dumps(head, indent=1)[:-2]
    table = text + ',\n "instances": [\n  ' + ",\n  ".join(lines) + "\n ]\n}\n"
    (HERE / file).write_text(table)


def main():
    in_venv()
    wants = sys.argv[1:] or ["optima", "coupled"]
    if "optima" in wants:
        make("optima.json", SIZES, Model, "write_instances")
    if "coupled" in wants:
        make("coupled.json", COUPLED_SIZES, Coupled, "write_coupled_instances")


if __name__ == "__main__":
    main()
