"""Which shapes a piece takes up, decided one after another until nothing better is left.

Prices alone leave a gap where a shape pays off in many bars by a little in each: whatever
price a bar is given, some bar is told too little. So the solutions are parted into those
that hold such a shape and those that do not. In the first the shape is paid once, beside
all bars; in the second its grips are gone. Each part has a bound of its own, and the part
with the lowest is parted again (branch and bound: Land and Doig 1960).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from heapq import heappop, heappush

from arranger.neck.folding import Folded, Paths
from arranger.neck.moves import FORBIDDEN
from arranger.neck.shape_budget import ShapeBudget, ShapePrices, State

Offer = Callable[[Paths], int]
"""Takes a solution and answers with the cost of the best known so far, in tenths."""


@dataclass(frozen=True, slots=True)
class Parting:
    """How hard to try: at most so many ``looks`` at a part that is parted again; each part is
    priced ``pricings`` times, and prices move at the rate ``follow`` (0..1) in between.
    """

    looks: int
    pricings: int
    follow: float


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """The solutions that hold all shapes of ``held`` and none of ``barred`` (numbers).

    ``bound`` (tenths) lies under all of them; ``paths`` has that cost under the prices of
    ``state``. ``exact`` is False where elimination had to split its variables.
    """

    held: frozenset[int]
    barred: frozenset[int]
    bound: int
    paths: Paths
    state: State
    exact: bool


class ShapeBranches:
    """Parts the solutions of ``folded``, whose rows could be better than the best known."""

    def __init__(
        self, folded: Folded, budget: ShapeBudget, priced: ShapePrices, effort: Parting
    ) -> None:
        self._folded = folded
        self._budget = budget
        self._priced = priced
        self._effort = effort
        self._shapes = priced.shapes_in(folded.rows)

    def bound(self, known: int, offer: Offer) -> tuple[int, bool]:
        """A lower bound (tenths) on every solution over the rows, no more than the best one
        known costs, and whether elimination was exact all along.

        ``known`` is that cost; better solutions are offered on the way.
        """
        first = self._looked(frozenset(), frozenset(), self._priced.state(), known)
        if first is None:
            return known, True
        known, exact = offer(first.paths), first.exact
        waiting = [(first.bound, 0, first)]
        settled: list[int] = []
        for turn in range(1, self._effort.looks + 1):
            if not waiting or waiting[0][0] >= known:
                break
            bound, _, part = heappop(waiting)
            shape = self._doubtful(part)
            if shape is None:
                settled.append(bound)
                continue
            for side, found in enumerate(self._parted(part, shape, known)):
                known, exact = offer(found.paths), exact and found.exact
                heappush(waiting, (max(bound, found.bound), 2 * turn + side, found))
        return min([known, *settled, *(bound for bound, _, _ in waiting)]), exact

    def _parted(self, part: Part, shape: int, known: int) -> list[Part]:
        """The part with the shape and the part without it, as far as there are any."""
        with_it = self._looked(part.held | {shape}, part.barred, part.state, known)
        without = self._looked(part.held, part.barred | {shape}, part.state, known)
        return [found for found in (with_it, without) if found is not None]

    def _looked(
        self, held: frozenset[int], barred: frozenset[int], state: State, known: int
    ) -> Part | None:
        """The part with its bound; None where it has no solution. It is priced anew while
        something better than ``known`` could be in it.
        """
        if self._budget.cost(len(held)) is None:
            return None
        self._priced.restore(state)
        found: Part | None = None
        for _ in range(self._effort.pricings):
            optimum, paths = self._folded.optimum(self._priced.by_row(held, barred))
            if optimum.cost >= FORBIDDEN:
                return None
            left = len(self._shapes - held - barred)
            slack = self._budget.slack(self._priced.weight, left, held=len(held))
            bound = optimum.cost + slack
            if found is None or bound > found.bound:
                state = self._priced.state()
                found = Part(held, barred, bound, paths, state, optimum.exact)
            if found.bound >= known:
                break
            self._priced.learn(paths, self._effort.follow)
        return found

    def _doubtful(self, part: Part) -> int | None:
        """The undecided shape that ``paths`` hold and pay least of; else any undecided one."""
        self._priced.restore(part.state)
        paid = self._priced.paid(part.paths)
        undecided = self._shapes - part.held - part.barred
        held = [shape for shape in sorted(paid) if shape in undecided]
        if held:
            return min(held, key=lambda shape: paid[shape])
        return min(undecided, default=None)
