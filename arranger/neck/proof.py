"""From a lattice to the best arrangement of it that was found, and a bound on any better.

1. The dynamic program over the piece as played gives min-marginals.
2. Elimination over the rows that look useful gives the best folded solution, again and
   again with prices on shapes: a first solution within the shape budget.
3. Elimination over every row that could still belong to something better leaves fewer and
   fewer rows, and gives the lower bound. Solutions are parted by the shapes they take up
   until none is better, or as often as the effort allows. Where the tables of elimination
   would grow too large, equal bars are brought to agree first.
4. Where a gap is left, CP-SAT decides over the useful rows, with the best solution so far
   as its hint.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from arranger.music.errors import InternalFault
from arranger.neck.agreement import Agreement, agreement
from arranger.neck.best_known import BestKnown, useful
from arranger.neck.dynamic import Lattice, Path, least_marginals, prices
from arranger.neck.folding import Folded, Rows
from arranger.neck.moves import FORBIDDEN
from arranger.neck.narrowing import Narrowing, lower_bound
from arranger.neck.shape_budget import ShapeBudget, ShapePrices, rate

DEARER = 12
"""Times that the price of a shape is doubled: it then costs more than any bar."""
LOOKS = 2
"""A better solution found in the first look leaves fewer rows to the second."""


@dataclass(frozen=True, slots=True)
class Effort:
    """How hard to try: ``rounds`` of pricing shapes over the useful rows, ``turns`` of bringing
    equal bars to agree; ``step`` tenths is how far the price of a shape moves at first.
    Widths are tenths of a point beyond the best path; ``work`` is in the solver's
    deterministic seconds.
    """

    rounds: int
    turns: int
    step: float
    width: int
    model_width: int
    model_moves: int
    work: float
    seconds: float
    narrowing: Narrowing


@dataclass(frozen=True, slots=True)
class Proven:
    """A folded solution with its cost and a lower bound, in tenths."""

    paths: dict[int, Path]
    objective: int
    bound: int
    work: float


def prove(net: Lattice, budget: ShapeBudget, effort: Effort) -> Proven:
    """The best arrangement found of this lattice, and a bound on every other.

    Raises
    ------
    InternalFault : the shape budget leaves nothing to play.
    """
    priced = ShapePrices(net, budget, effort.step)
    best = BestKnown(net, budget, priced)
    _first_solutions(best, effort)
    if best.paths is None:
        raise InternalFault("no arrangement was found within the shape budget")
    found = prices(net, priced.by_row())
    known = Agreement(found.best, least_marginals(net, found))
    rows = _below(known.marginals, best.objective - priced.slack())
    bound, exact = lower_bound(best, rows, effort.narrowing)
    if not exact:
        known, agreed = _agreed(best, effort)
        bound = max(bound, agreed)
    if bound >= best.objective:
        return Proven(best.paths, best.objective, best.objective, 0.0)
    wide = _with(_model_rows(net, known, effort), best.paths)
    # OR-tools takes most of a second to load, and most pieces are proven without.
    from arranger.neck.model import ModelData, solve  # noqa: PLC0415

    data = ModelData(net, wide, budget, best.paths)
    solved = solve(data, most_work=effort.work, seconds=effort.seconds)
    if solved is not None:
        best.offer(solved.paths)
    work = 0.0 if solved is None else solved.work
    return Proven(best.paths, best.objective, min(bound, best.objective), work)


def _agreed(best: BestKnown, effort: Effort) -> tuple[Agreement, int]:
    """Equal bars brought to agree, and the bound from the rows that are left then."""
    slack = best.priced.slack()
    goal = best.objective - slack
    known = agreement(best.net, best.priced.by_row(), goal=goal, turns=effort.turns)
    bound = known.bound + slack
    for _ in range(LOOKS):
        rows = _below(known.marginals, best.objective - slack)
        found, exact = lower_bound(best, rows, effort.narrowing)
        bound = max(bound, found)
        if exact:
            break
    return known, bound


def _below(marginals: Rows, most: int) -> Rows:
    """The rows through which a solution of at most so many tenths may lead."""
    return {
        place: np.flatnonzero(costs <= min(most, FORBIDDEN - 1)).astype(np.int32)
        for place, costs in marginals.items()
    }


def _first_solutions(best: BestKnown, effort: Effort) -> None:
    """Prices on shapes that follow their use, and solutions within the budget on the way."""
    net, priced = best.net, best.priced
    found = prices(net)
    marginals = least_marginals(net, found)
    rows = useful(marginals, found.best, effort.width)
    folded = Folded(net, rows, priced.priced_in(rows))
    _, kept = best.price_shapes(folded, range(effort.rounds))
    if best.paths is None:
        _within_the_budget(best, useful(marginals, found.best, FORBIDDEN))
    priced.restore(kept)


def _within_the_budget(best: BestKnown, rows: Rows) -> None:
    """A solution for a piece whose useful rows need more shapes than are allowed: every row is
    tried, and a shape costs more and more.
    """
    folded = Folded(best.net, rows, best.priced.priced_in(rows))
    for turn in range(DEARER):
        paths = folded.optimum(best.priced.by_row())[1]
        best.offer(paths)
        best.offer_within(folded, paths)
        if best.paths is not None:
            break
        best.priced.learn(paths, rate(turn))
        best.priced.weight *= 2


def _model_rows(net: Lattice, known: Agreement, effort: Effort) -> Rows:
    """The useful rows, fewer where the piece is long: the model stays within its size."""
    width = effort.model_width
    rows = useful(known.marginals, known.bound, width)
    while width > 1 and _moves_between(net, rows) > effort.model_moves:
        width = width * 3 // 4
        rows = useful(known.marginals, known.bound, width)
    return rows


def _moves_between(net: Lattice, rows: Rows) -> int:
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


def _with(rows: Rows, paths: dict[int, Path]) -> Rows:
    return {
        (kind, slot): np.union1d(keep, [paths[kind][slot]]).astype(np.int32)
        for (kind, slot), keep in rows.items()
    }
