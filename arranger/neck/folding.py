"""The piece with equal bars played alike, as a graph of cost tables."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

import numpy as np

from arranger.neck.dynamic import Lattice, Path
from arranger.neck.eliminate import LARGEST_TABLE, Elimination, FactorGraph, Optimum
from arranger.neck.grips import IntArray
from arranger.neck.moves import FORBIDDEN

Rows = dict[tuple[int, int], IntArray]
"""Rows of grips that are kept, by (class, slot)."""
Paths = dict[int, Path]
"""A row for each slot, by class."""

MOST_PRICES = 4
"""How many prices of a grip's place are remembered: parts are priced in turn."""


class Folded:
    """The folded piece over ``rows``: its tables made once, solved for any prices."""

    def __init__(self, net: Lattice, rows: Rows) -> None:
        self.net = net
        self.rows = rows
        self._times = Counter(net.piece.order)
        self._node: dict[tuple[int, int], int] = {}
        self._graph = FactorGraph()
        for kind in range(len(net.grips)):
            self._bar(kind)
        self._joints()
        self._way = Elimination(self._graph.sizes, self._graph.tables, LARGEST_TABLE)
        self._priced: dict[int, list[tuple[IntArray, IntArray]]] = {}

    def _bar(self, kind: int) -> None:
        """The grips of a class and the moves inside it, as often as it is played."""
        times = self._times[kind]
        for slot, grips in enumerate(self.net.grips[kind]):
            keep = self.rows[kind, slot]
            here = self._node[kind, slot] = self._graph.variable(len(keep))
            self._graph.add((here,), (grips.cost[keep] * times).astype(np.int32))
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

    def optimum(self, prices: Mapping[tuple[int, int], IntArray]) -> tuple[Optimum, Paths]:
        """The cheapest folded solution; ``prices`` (by place, for all its grips) are added
        once a class.
        """
        tables = dict(self._graph.tables)
        for place, node in self._node.items():
            if place in prices:
                tables[(node,)] = self._with(node, prices[place][self.rows[place]])
        found = self._way.least(tables)
        paths = {
            kind: tuple(
                int(self.rows[kind, slot][found.values[self._node[kind, slot]]])
                for slot in range(len(bar))
            )
            for kind, bar in enumerate(self.net.grips)
        }
        return found, paths

    def _with(self, node: int, price: IntArray) -> IntArray:
        """The costs of a node with a price on each: for a price of the last times the same
        object as then, so that what was eliminated with it is known.
        """
        known = self._priced.setdefault(node, [])
        for before, table in known:
            if np.array_equal(before, price):
                return table
        known.insert(0, (price, self._graph.tables[(node,)] + price))
        del known[MOST_PRICES:]
        return known[0][1]


def folded_optimum(
    net: Lattice, rows: Rows, prices: Mapping[tuple[int, int], IntArray]
) -> tuple[Optimum, Paths]:
    """The cheapest folded solution over ``rows``, see ``Folded``."""
    return Folded(net, rows).optimum(prices)


def _often(matrix: IntArray, count: int) -> IntArray:
    """``count`` times the costs; what is forbidden stays so and never outgrows its number."""
    return np.minimum(matrix.astype(np.int64) * count, FORBIDDEN).astype(np.int32)
