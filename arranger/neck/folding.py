"""The piece with equal bars played alike, as a graph of cost tables."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

import numpy as np

from arranger.neck.dynamic import Lattice, Path
from arranger.neck.eliminate import FactorGraph, Optimum, Scope, least
from arranger.neck.grips import IntArray
from arranger.neck.moves import FORBIDDEN

Rows = dict[tuple[int, int], IntArray]
"""Rows of grips that are kept, by (class, slot)."""
Paths = dict[int, Path]
"""A row for each slot, by class."""


class Folded:
    """The folded piece over ``rows``: its tables made once, solved for any prices."""

    def __init__(self, net: Lattice, rows: Rows) -> None:
        self.net = net
        self.rows = rows
        self._times = Counter(net.piece.order)
        self._node: dict[tuple[int, int], int] = {}
        self._sizes: list[int] = []
        self._tables: list[tuple[Scope, IntArray]] = []
        for kind in range(len(net.grips)):
            self._bar(kind)
        self._joints()

    def _bar(self, kind: int) -> None:
        """The grips of a class and the moves inside it, as often as it is played."""
        times = self._times[kind]
        for slot, grips in enumerate(self.net.grips[kind]):
            keep = self.rows[kind, slot]
            here = self._node[kind, slot] = len(self._sizes)
            self._sizes.append(len(keep))
            self._tables.append(((here,), (grips.cost[keep] * times).astype(np.int32)))
            if slot:
                before = self.rows[kind, slot - 1]
                matrix = self.net.inside[kind][slot - 1].dense(before, keep)
                self._tables.append(((here - 1, here), _often(matrix, times)))

    def _joints(self) -> None:
        """The first grip of the piece, and the moves from class to class."""
        net, rows = self.net, self.rows
        first = net.piece.order[0]
        self._tables.append(((self._node[first, 0],), net.entry[rows[first, 0]]))
        for number, count in sorted(Counter(net.piece.joints).items()):
            joint = net.piece.kinds[number]
            last = len(net.grips[joint.before]) - 1
            here, there = rows[joint.before, last], rows[joint.after, 0]
            matrix = _often(net.joints[number].dense(here, there), count)
            a, b = self._node[joint.before, last], self._node[joint.after, 0]
            if a == b:
                self._tables.append(((a,), np.ascontiguousarray(np.diagonal(matrix))))
            else:
                self._tables.append(((a, b), matrix))

    def optimum(self, prices: Mapping[tuple[int, int], IntArray]) -> tuple[Optimum, Paths]:
        """The cheapest folded solution; ``prices`` (by place, for all its grips) are added
        once a class.
        """
        graph = FactorGraph(sizes=list(self._sizes))
        for scope, table in self._tables:
            graph.add(scope, table)
        for place, node in self._node.items():
            price = prices.get(place)
            if price is not None:
                graph.add((node,), price[self.rows[place]])
        found = least(graph)
        paths = {
            kind: tuple(
                int(self.rows[kind, slot][found.values[self._node[kind, slot]]])
                for slot in range(len(bar))
            )
            for kind, bar in enumerate(self.net.grips)
        }
        return found, paths


def folded_optimum(
    net: Lattice, rows: Rows, prices: Mapping[tuple[int, int], IntArray]
) -> tuple[Optimum, Paths]:
    """The cheapest folded solution over ``rows``, see ``Folded``."""
    return Folded(net, rows).optimum(prices)


def _often(matrix: IntArray, count: int) -> IntArray:
    """``count`` times the costs; what is forbidden stays so and never outgrows its number."""
    return np.minimum(matrix.astype(np.int64) * count, FORBIDDEN).astype(np.int32)
