"""The piece with equal bars played alike, as a graph of cost tables."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np

from arranger.neck.dynamic import Lattice, Path, Place
from arranger.neck.eliminate import LARGEST_TABLE, Elimination, FactorGraph, Optimum
from arranger.neck.grips import IntArray
from arranger.neck.min_marginals import min_marginals
from arranger.neck.moves import FORBIDDEN

Rows = dict[Place, IntArray]
"""Rows of grips that are kept, by (class, slot)."""
Paths = dict[int, Path]
"""A row for each slot, by class."""


class Folded:
    """The folded piece over ``rows``: its tables made once, solved for any prices.

    ``priced`` are the places at which prices differ from row to row.
    """

    def __init__(self, net: Lattice, rows: Rows, priced: Iterable[Place]) -> None:
        self.net = net
        self.rows = rows
        self._times = Counter(net.piece.order)
        self._node: dict[Place, int] = {}
        self._graph = FactorGraph()
        for kind in range(len(net.grips)):
            self._bar(kind)
        self._joints()
        self._late = frozenset(priced)
        late = frozenset(self._node[place] for place in self._late)
        self._way = Elimination(self._graph, late, LARGEST_TABLE)

    def _bar(self, kind: int) -> None:
        """The grips of a class and the moves inside it, as often as it is played."""
        times = self._times[kind]
        for slot, grips in enumerate(self.net.grips[kind]):
            keep = self.rows[kind, slot]
            here = self._node[kind, slot] = self._graph.variable(len(keep))
            self._graph.add((here,), grips.cost.take(keep) * np.int32(times))
            if slot:
                before = self.rows[kind, slot - 1]
                matrix = self.net.inside[kind][slot - 1].dense(before, keep)
                self._graph.add((here - 1, here), _often(matrix, times))

    def _joints(self) -> None:
        """The first grip of the piece, and the moves from class to class."""
        net, rows = self.net, self.rows
        first = net.piece.order[0]
        self._graph.add((self._node[first, 0],), net.entry[rows[first, 0]])
        for number, count in sorted(Counter(net.piece.joints).items()):
            joint = net.piece.kinds[number]
            last = len(net.grips[joint.before]) - 1
            here, there = rows[joint.before, last], rows[joint.after, 0]
            matrix = _often(net.joints[number].dense(here, there), count)
            a, b = self._node[joint.before, last], self._node[joint.after, 0]
            if a == b:
                self._graph.add((a,), np.ascontiguousarray(np.diagonal(matrix)))
            else:
                self._graph.add((a, b), matrix)

    @property
    def exact(self) -> bool:
        """Whether no variable had to be split."""
        return self._way.exact

    def optimum(self, prices: Mapping[Place, IntArray]) -> tuple[Optimum, Paths]:
        """The cheapest folded solution; ``prices`` (by place, for all its grips) are added
        once a class.
        """
        more, mine = self._mine(prices)
        found = self._way.least(mine)
        paths = {
            kind: tuple(
                int(self.rows[kind, slot][found.values[self._node[kind, slot]]])
                for slot in range(len(bar))
            )
            for kind, bar in enumerate(self.net.grips)
        }
        return replace(found, cost=found.cost + more), paths

    def marginals(self, prices: Mapping[Place, IntArray]) -> Rows:
        """What a folded solution through each row costs at least (tenths), ``prices`` added as
        in ``optimum``.
        """
        more, mine = self._mine(prices)
        found = min_marginals(self._way, mine)
        return {place: found[node] + more for place, node in self._node.items()}

    def _mine(self, prices: Mapping[Place, IntArray]) -> tuple[int, dict[int, IntArray]]:
        """The prices of places at which each row has the same, added up, and by node those of
        the others.
        """
        same = 0
        mine: dict[int, IntArray] = {}
        for place, price in prices.items():
            rows = self.rows[place]
            if place in self._late:
                mine[self._node[place]] = price.take(rows)
            else:
                same += int(price[rows[0]])
        return same, mine


def _often(matrix: IntArray, count: int) -> IntArray:
    """``count`` times the costs; what is forbidden stays so and never outgrows its number."""
    return np.minimum(matrix.astype(np.int64) * count, FORBIDDEN).astype(np.int32)
