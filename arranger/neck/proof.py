"""From a lattice to the best arrangement of it that was found, and a bound on any better.

1. The dynamic program over the piece as played gives min-marginals.
2. Elimination over the rows that look useful gives the best folded solution, again and
   again with prices on shapes: a first solution within the shape budget.
3. Elimination with prices over every row that could still belong to something better
   gives the lower bound. (A row whose min-marginal exceeds the solution cannot.) The
   solutions are parted by the shapes they take up until none is better, or as often as the
   effort allows. Where the tables of elimination would grow too large, equal bars are
   brought to agree first: fewer rows are left.
4. Where a gap is left, CP-SAT decides over the useful rows, with the best solution so far
   as its hint.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np

from arranger.music.errors import InternalFault
from arranger.neck.agreement import Agreement, agreement
from arranger.neck.dynamic import Lattice, Path, least_marginals, prices
from arranger.neck.folding import Folded, folded_optimum
from arranger.neck.grips import IntArray
from arranger.neck.moves import FORBIDDEN
from arranger.neck.shape_branches import ShapeBranches
from arranger.neck.shape_budget import (
    Place,
    ShapeBudget,
    ShapePrices,
    allowed_rows,
    shape_numbers,
    shapes_used,
)

LOOKS = 2
"""A better solution found in the first look leaves fewer rows to the second."""


@dataclass(frozen=True, slots=True)
class Effort:
    """How hard to try: ``rounds`` of pricing shapes, ``turns`` of bringing equal bars to
    agree, ``looks`` at solutions parted by a shape. Widths are tenths of a point beyond the
    best path; ``work`` is in the solver's deterministic seconds.
    """

    rounds: int
    turns: int
    looks: int
    width: int
    model_width: int
    model_moves: int
    work: float
    seconds: float


@dataclass(frozen=True, slots=True)
class Proven:
    """A folded solution with its cost and a lower bound, in tenths."""

    paths: dict[int, Path]
    objective: int
    bound: int
    work: float


@dataclass(slots=True, eq=False)
class _Best:
    """The best feasible solution so far."""

    net: Lattice
    budget: ShapeBudget
    numbers: IntArray
    paths: dict[int, Path] | None = None
    objective: int = FORBIDDEN * 4

    def offer(self, paths: dict[int, Path]) -> int:
        """Keep ``paths`` if they are within the budget and cheaper than what is known;
        answers with the cost of the best.
        """
        shapes = self.budget.cost(len(shapes_used(self.net, self.numbers, paths)))
        if shapes is not None:
            cost = self.net.cost([paths[kind] for kind in self.net.piece.order]) + shapes
            if cost < self.objective:
                self.paths, self.objective = paths, cost
        return self.objective


def prove(net: Lattice, budget: ShapeBudget, effort: Effort) -> Proven:
    """The best arrangement found of this lattice, and a bound on every other.

    Raises
    ------
    InternalFault : the shape budget leaves nothing to play.
    """
    numbers, _ = shape_numbers(net)
    best = _Best(net, budget, numbers)
    priced = _shape_prices(net, budget, effort, best)
    if best.paths is None:
        raise InternalFault("no arrangement was found within the shape budget")
    extra = _by_occurrence(net, priced.by_row())
    found = prices(net, extra=extra)
    known = Agreement(found.best, least_marginals(net, found))
    bound, exact = _bound(best, priced, known.marginals, effort.looks)
    if not exact:
        known, agreed = _agreed(net, budget, priced, best, effort)
        bound = max(bound, agreed)
    if bound >= best.objective:
        return Proven(best.paths, best.objective, best.objective, 0.0)
    rows = _with(_model_rows(net, known, effort), best.paths)
    # OR-tools takes most of a second to load, and most pieces are proven without.
    from arranger.neck.model import ModelData, solve  # noqa: PLC0415

    data = ModelData(net, rows, budget, best.paths)
    solved = solve(data, most_work=effort.work, seconds=effort.seconds)
    if solved is not None:
        best.offer(solved.paths)
    work = 0.0 if solved is None else solved.work
    return Proven(best.paths, best.objective, min(bound, best.objective), work)


def _agreed(
    net: Lattice, budget: ShapeBudget, priced: ShapePrices, best: _Best, effort: Effort
) -> tuple[Agreement, int]:
    """Equal bars brought to agree, and the bound from the rows that are left then."""
    slack = budget.slack(priced.weight, priced.count)
    extra = _by_occurrence(net, priced.by_row())
    known = agreement(net, extra, goal=best.objective - slack, turns=effort.turns)
    bound = known.bound + slack
    for _ in range(LOOKS):
        found, exact = _bound(best, priced, known.marginals, effort.looks)
        bound = max(bound, found)
        if exact:
            break
    return known, bound


def _shape_prices(
    net: Lattice, budget: ShapeBudget, effort: Effort, best: _Best
) -> ShapePrices:
    """Prices on shapes that follow their use, and solutions within the budget on the way."""
    found = prices(net)
    rows = _rows(least_marginals(net, found), found.best, effort.width)
    priced = ShapePrices(net, budget.new)
    highest, kept = -FORBIDDEN, priced.state()
    folded = Folded(net, rows)
    for turn in range(effort.rounds):
        optimum, paths = folded.optimum(priced.by_row())
        reached = optimum.cost + budget.slack(priced.weight, priced.count)
        if reached > highest:
            highest, kept = reached, priced.state()
        best.offer(paths)
        if turn + 1 == effort.rounds:
            _offer_within(net, budget, rows, paths, best)
        used = len(shapes_used(net, best.numbers, paths))
        priced.weight = budget.weighed(used, priced.weight)
        priced.follow(paths, 1.0 / (turn + 1.5))
    if best.paths is None:  # the useful rows need more shapes than allowed: try them all
        rows = _rows(least_marginals(net, found), found.best, FORBIDDEN)
        _, paths = folded_optimum(net, rows, priced.by_row())
        _offer_within(net, budget, rows, paths, best)
    priced.restore(kept)
    return priced


def _offer_within(
    net: Lattice,
    budget: ShapeBudget,
    rows: dict[Place, IntArray],
    paths: dict[int, Path],
    best: _Best,
) -> None:
    """Offer the best solution that uses only the most useful of the shapes in ``paths``."""
    numbers = best.numbers
    use: Counter[int] = Counter()
    times = Counter(net.piece.order)
    for kind, path in paths.items():
        held = {int(numbers[net.grips[kind][slot].hand[row]]) for slot, row in enumerate(path)}
        for number in held - {-1}:
            use[number] += times[kind]
    ranked = sorted(use, key=lambda number: (-use[number], number))
    most = len(ranked) if budget.most is None else min(budget.most, len(ranked))
    for count in {most, min(most, budget.wanted)}:
        narrowed = allowed_rows(net, numbers, ranked[:count], rows)
        if all(len(keep) for keep in narrowed.values()):
            optimum, within = folded_optimum(net, narrowed, {})
            if optimum.cost < FORBIDDEN:
                best.offer(within)


def _rows(marginals: dict[Place, IntArray], best: int, width: int) -> dict[Place, IntArray]:
    """Rows within ``width`` of the best path, or of the best row at their place."""
    return {
        place: np.flatnonzero(
            costs <= min(max(best + width, int(costs.min()) + width // 2), FORBIDDEN - 1)
        ).astype(np.int32)
        for place, costs in marginals.items()
    }


def _model_rows(net: Lattice, known: Agreement, effort: Effort) -> dict[Place, IntArray]:
    """The useful rows, fewer where the piece is long: the model stays within its size."""
    width = effort.model_width
    rows = _rows(known.marginals, known.bound, width)
    while width > 1 and _moves_between(net, rows) > effort.model_moves:
        width = width * 3 // 4
        rows = _rows(known.marginals, known.bound, width)
    return rows


def _moves_between(net: Lattice, rows: dict[Place, IntArray]) -> int:
    """How many moves lead between kept rows, at most."""
    inside = sum(
        len(rows[kind, slot]) * len(rows[kind, slot + 1])
        for kind, bar in enumerate(net.inside)
        for slot in range(len(bar))
    )
    joints = sum(
        len(rows[joint.before, len(net.grips[joint.before]) - 1]) * len(rows[joint.after, 0])
        for joint in net.piece.kinds
    )
    return inside + joints


def _with(rows: dict[Place, IntArray], paths: dict[int, Path]) -> dict[Place, IntArray]:
    return {
        (kind, slot): np.union1d(keep, [paths[kind][slot]]).astype(np.int32)
        for (kind, slot), keep in rows.items()
    }


def _by_occurrence(net: Lattice, per_class: dict[Place, IntArray]) -> dict[Place, IntArray]:
    """Prices paid once a class, shared over its bars and rounded down."""
    times = Counter(net.piece.order)
    return {place: price // times[place[0]] for place, price in per_class.items()}


def _bound(
    best: _Best, priced: ShapePrices, marginals: dict[Place, IntArray], looks: int
) -> tuple[int, bool]:
    """A lower bound on every folded solution within the budget, and whether elimination was
    exact on the way.

    The rows that could belong to something better are parted by the shapes they take up.
    """
    net, budget = best.net, best.budget
    slack = budget.slack(priced.weight, priced.count)
    rows = _below(marginals, best.objective - slack)
    objective = best.objective
    if not all(len(keep) for keep in rows.values()):
        return objective, True
    folded = Folded(net, rows)
    best.offer(folded.optimum(priced.by_row())[1])
    if best.objective < objective:  # fewer rows could belong to anything better still
        objective = best.objective
        folded = Folded(net, _below(marginals, objective - slack))
    branches = ShapeBranches(folded, budget, priced)
    found, exact = branches.bound(objective, best.offer, looks)
    return min(objective, found), exact


def _below(marginals: dict[Place, IntArray], most: int) -> dict[Place, IntArray]:
    """The rows through which a path of at most so many tenths leads."""
    return {
        place: np.flatnonzero(costs <= min(most, FORBIDDEN - 1)).astype(np.int32)
        for place, costs in marginals.items()
    }
