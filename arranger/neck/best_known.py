"""The best folded solution that is known, and where better ones are looked for."""

from __future__ import annotations

from collections import Counter

import numpy as np

from arranger.neck.dynamic import Lattice, Path
from arranger.neck.folding import Folded, Rows
from arranger.neck.moves import FORBIDDEN
from arranger.neck.shape_budget import ShapeBudget, ShapePrices, State, rate, shapes_used


class BestKnown:
    """The cheapest solution within the budget that was offered: ``paths`` by class (None before
    there is one), and its ``objective`` in tenths.
    """

    def __init__(self, net: Lattice, budget: ShapeBudget, priced: ShapePrices) -> None:
        self.net = net
        self.budget = budget
        self.priced = priced
        self.paths: dict[int, Path] | None = None
        self.objective = 4 * FORBIDDEN
        self._times = Counter(net.piece.order)
        self._joints = Counter(net.piece.joints)
        self._bars: dict[tuple[int, Path], int] = {}

    def offer(self, paths: dict[int, Path]) -> int:
        """Keep ``paths`` if they are within the budget and cheaper than what is known; answers
        with the cost of the best.
        """
        used = shapes_used(self.net, self.priced.numbers, paths)
        shapes = self.budget.cost(len(used))
        if shapes is not None:
            cost = self._cost(paths) + shapes
            if cost < self.objective:
                self.paths, self.objective = paths, cost
        return self.objective

    def price_shapes(self, folded: Folded, turns: range) -> tuple[int, State]:
        """In ``turns`` the prices of shapes come nearer to their use, and solutions within the
        budget are offered. The highest bound in tenths that was met, and the prices it had.
        """
        highest, kept = -FORBIDDEN, self.priced.state()
        for turn in turns:
            optimum, paths = folded.optimum(self.priced.by_row())
            bound = optimum.cost + self.priced.slack()
            if bound > highest:
                highest, kept = bound, self.priced.state()
            self.offer(paths)
            if turn + 1 == turns.stop:
                self.offer_within(folded, paths)
            self.priced.learn(paths, rate(turn))
        return highest, kept

    def offer_within(self, folded: Folded, paths: dict[int, Path]) -> None:
        """Offer the best solution over the rows of ``folded`` with no more shapes than are
        allowed, or wished for: the most useful of those in ``paths``.
        """
        ranked = self.priced.by_use(paths)
        most = len(ranked) if self.budget.most is None else min(self.budget.most, len(ranked))
        for count in {most, min(most, self.budget.wanted)}:
            held = frozenset(ranked[:count])
            prices = self.priced.by_row(held, self.priced.all - held)
            optimum, within = folded.optimum(prices)
            if optimum.cost < FORBIDDEN:
                self.offer(within)

    def offer_near(self, folded: Folded, marginals: Rows, width: int) -> None:
        """Offer the best solution over the rows that are worth most, by what a solution through
        each costs at least: over so few, equal bars are played alike for certain.
        """
        near = useful(marginals, min(int(costs.min()) for costs in marginals.values()), width)
        rows = {place: folded.rows[place][keep] for place, keep in near.items()}
        smaller = Folded(self.net, rows, self.priced.priced_in(rows))
        paths = smaller.optimum(self.priced.by_row())[1]
        self.offer(paths)
        self.offer_within(smaller, paths)

    def _cost(self, paths: dict[int, Path]) -> int:
        """Tenths of the whole piece without its shapes. Few bars differ from what was offered
        before.
        """
        for kind, path in paths.items():
            if (kind, path) not in self._bars:
                self._bars[kind, path] = self.net.inside_bar(kind, path)
        total = int(self.net.entry[paths[self.net.piece.order[0]][0]])
        total += sum(self._bars[kind, path] * self._times[kind] for kind, path in paths.items())
        for number, count in self._joints.items():
            joint = self.net.piece.kinds[number]
            here, there = paths[joint.before][-1], paths[joint.after][0]
            total += self.net.joints[number].between(here, there) * count
        return total


def useful(marginals: Rows, best: int, width: int) -> Rows:
    """Rows within ``width`` of the best path, or of the best row at their place."""
    return {
        place: np.flatnonzero(
            costs <= min(max(best + width, int(costs.min()) + width // 2), FORBIDDEN - 1)
        ).astype(np.int32)
        for place, costs in marginals.items()
    }
