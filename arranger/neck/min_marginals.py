"""For each value of a variable, the least sum that has it: elimination, and back again.

On the way out each cluster of tables leaves a message to a later one. On the way back every
cluster is told what all the others cost at least, for each setting of the variables that it
shares with them (two passes over a tree of clusters: Shafer and Shenoy 1990, with min and sum).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import prod

import numpy as np

from arranger.neck.eliminate import AT_ONCE, Cluster, Elimination, Scope, aligned
from arranger.neck.grips import IntArray
from arranger.neck.moves import FORBIDDEN


def min_marginals(way: Elimination, prices: Mapping[int, IntArray]) -> list[IntArray]:
    """By variable, the least sum of the graph for each of its values.

    ``prices`` are those of the priced variables. Where a variable had to be split, what is
    found is a lower bound on that sum.
    """
    clusters = way.clusters(prices)
    total = sum(int(one.message) for one in clusters if not one.rest)
    least: list[IntArray] = [np.full(size, total, dtype=np.int32) for size in way.sizes]
    # What all others cost, over the rest of a cluster. Beside one that has no rest stand the
    # graphs that hang together with it in nothing.
    others = {
        number: np.array(total - int(one.message), dtype=np.int32)
        for number, one in enumerate(clusters)
        if not one.rest
    }
    for number in range(len(clusters) - 1, -1, -1):
        one = clusters[number]
        asked = [(one.variable,), *(clusters[other].rest for other in one.told_by)]
        mine, *through = _least_over(way.sizes, one, others.pop(number), asked)
        np.maximum(least[one.variable], mine, out=least[one.variable])
        for other, found in zip(one.told_by, through, strict=True):
            told = found - clusters[other].message
            others[other] = np.where(found < FORBIDDEN, told, FORBIDDEN).astype(np.int32)
    return least


def _least_over(
    sizes: Sequence[int], one: Cluster, others: IntArray, asked: Sequence[Scope]
) -> list[IntArray]:
    """The least sum of a cluster and all others, for each setting of the scopes ``asked``."""
    axes = (*one.rest, one.variable)
    scoped = [*one.tables, (one.rest, others)]
    tables = [aligned(axes, scope, table) for scope, table in scoped]
    found: list[IntArray] = [
        np.full([sizes[other] for other in scope], FORBIDDEN, dtype=np.int32) for scope in asked
    ]
    shape = [sizes[axis] for axis in axes]
    together = max(1, AT_ONCE // prod(shape[1:]))
    for start in range(0, shape[0], together):
        rows = slice(start, start + together)
        block: IntArray = np.zeros((1,) * len(axes), dtype=np.int32)
        for table in tables:
            block = block + (table[rows] if table.shape[0] > 1 else table)
        for scope, known in zip(asked, found, strict=True):
            at = tuple(rows if other == axes[0] else slice(None) for other in scope)
            np.minimum(known[at], _projected(block, axes, scope), out=known[at])
    return found


def _projected(block: IntArray, axes: Scope, scope: Scope) -> IntArray:
    """The least of a block over all axes but those of ``scope``, in the order of that."""
    for axis in range(len(axes) - 1, -1, -1):
        if axes[axis] not in scope:
            block = block.min(axis=axis)
    kept = [axis for axis in axes if axis in scope]
    return np.transpose(block, [kept.index(other) for other in scope])
