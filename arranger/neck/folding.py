"""The piece with equal bars played alike, as a graph of cost tables."""

from __future__ import annotations

from collections import Counter

import numpy as np

from arranger.neck.dynamic import Lattice, Path
from arranger.neck.eliminate import FactorGraph, Optimum, least
from arranger.neck.grips import IntArray
from arranger.neck.moves import FORBIDDEN

Rows = dict[tuple[int, int], IntArray]
"""Rows of grips that are kept, by (class, slot)."""


def folded_optimum(
    net: Lattice, rows: Rows, prices: dict[tuple[int, int], IntArray]
) -> tuple[Optimum, dict[int, Path]]:
    """The cheapest folded solution over ``rows``; ``prices`` are added once a class."""
    piece = net.piece
    graph = FactorGraph()
    node: dict[tuple[int, int], int] = {}
    times = Counter(piece.order)
    for kind, bar in enumerate(net.grips):
        for slot, grips in enumerate(bar):
            keep = rows[kind, slot]
            node[kind, slot] = graph.variable(len(keep))
            unary = grips.cost[keep] * times[kind]
            price = prices.get((kind, slot))
            if price is not None:
                unary = unary + price[keep]
            graph.add((node[kind, slot],), unary.astype(np.int32))
            if slot:
                matrix = net.inside[kind][slot - 1].dense(rows[kind, slot - 1], keep)
                often = _often(matrix, times[kind])
                graph.add((node[kind, slot - 1], node[kind, slot]), often)
    first = piece.order[0]
    graph.add((node[first, 0],), net.entry[rows[first, 0]])
    for number, count in sorted(Counter(piece.joints).items()):
        joint = piece.kinds[number]
        last = len(net.grips[joint.before]) - 1
        here, there = rows[joint.before, last], rows[joint.after, 0]
        matrix = _often(net.joints[number].dense(here, there), count)
        a, b = node[joint.before, last], node[joint.after, 0]
        if a == b:
            graph.add((a,), np.ascontiguousarray(np.diagonal(matrix)))
        else:
            graph.add((a, b), matrix)
    optimum = least(graph)
    paths = {
        kind: tuple(
            int(rows[kind, slot][optimum.values[node[kind, slot]]]) for slot in range(len(bar))
        )
        for kind, bar in enumerate(net.grips)
    }
    return optimum, paths


def _often(matrix: IntArray, count: int) -> IntArray:
    """``count`` times the costs; what is forbidden stays so and never outgrows its number."""
    return np.minimum(matrix.astype(np.int64) * count, FORBIDDEN).astype(np.int32)
