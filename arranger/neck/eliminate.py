"""The least sum of factors over few-valued variables, by eliminating one after another.

A factor is a table of costs over one to three variables. A variable is eliminated by
adding the tables that hold it and keeping, for each setting of its neighbours, the least
sum (non-serial dynamic programming: Bertelè and Brioschi 1972). A piece of music whose
equal bars share their decisions is a chain with a few loops, so the tables stay small.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from heapq import heappop, heappush
from math import prod

import numpy as np

from arranger.neck.grips import IntArray
from arranger.neck.moves import FORBIDDEN

Scope = tuple[int, ...]
AT_ONCE = 250_000
"""Entries of a table that are added up at once: few enough to stay near the processor."""


@dataclass(slots=True)
class FactorGraph:
    """Variables with their number of values, and cost tables over sorted scopes."""

    sizes: list[int] = field(default_factory=list)
    tables: dict[Scope, IntArray] = field(default_factory=dict)

    def variable(self, size: int) -> int:
        """A new variable with ``size`` values."""
        self.sizes.append(size)
        return len(self.sizes) - 1

    def add(self, scope: Scope, table: IntArray) -> None:
        """Add ``table``, whose axes follow ``scope``."""
        order = tuple(sorted(range(len(scope)), key=lambda axis: scope[axis]))
        key = tuple(scope[axis] for axis in order)
        turned = np.transpose(table, order)
        known = self.tables.get(key)
        self.tables[key] = turned if known is None else known + turned


@dataclass(frozen=True, slots=True)
class Optimum:
    """The least sum and a setting that has it. ``exact`` is False when a table would have
    grown too large and a variable was split in two: ``cost`` is then a lower bound only,
    and the setting need not be its witness.
    """

    cost: int
    values: tuple[int, ...]
    exact: bool


def least(graph: FactorGraph, largest_table: int = 40_000_000) -> Optimum:
    """The optimum of ``graph``. ``largest_table`` limits entries of an intermediate table."""
    left = _Left(graph)
    constant, exact = 0, True
    trail: list[tuple[int, list[tuple[Scope, IntArray]]]] = []
    while (variable := left.cheapest()) is not None:
        mine = left.take(variable)
        trail.append((variable, mine))
        groups = _groups(variable, mine, graph.sizes, largest_table)
        exact = exact and len(groups) <= 1
        for group in groups:
            scope, table = _joined(variable, group, graph.sizes)
            if scope:
                left.put(scope, table)
            else:
                constant += int(table)
    return Optimum(constant, _values(trail, len(graph.sizes)), exact)


class _Left:
    """The variables not yet eliminated, with their tables and what each would cost."""

    def __init__(self, graph: FactorGraph) -> None:
        self._sizes = graph.sizes
        self._tables = dict(graph.tables)
        self._of: dict[int, set[Scope]] = {v: set() for v in range(len(graph.sizes))}
        for scope in self._tables:
            for variable in scope:
                self._of[variable].add(scope)
        self._work = {variable: self._work_of(variable) for variable in self._of}
        self._queue = sorted((work, variable) for variable, work in self._work.items())

    def cheapest(self) -> int | None:
        """The variable whose elimination looks at the fewest entries (ties: the first)."""
        while self._queue:
            work, variable = heappop(self._queue)
            if self._work.get(variable) == work:
                return variable
        return None

    def take(self, variable: int) -> list[tuple[Scope, IntArray]]:
        """The tables of a variable, which leave together with it."""
        del self._work[variable]
        scopes = sorted(self._of.pop(variable))
        mine = [(scope, self._tables.pop(scope)) for scope in scopes]
        for other in {other for scope in scopes for other in scope} - {variable}:
            self._of[other] -= set(scopes)
            self._weigh(other)
        return mine

    def put(self, scope: Scope, table: IntArray) -> None:
        """A new table over variables that are left."""
        known = self._tables.get(scope)
        self._tables[scope] = table if known is None else np.minimum(known + table, FORBIDDEN)
        for variable in scope:
            self._of[variable].add(scope)
            self._weigh(variable)

    def _weigh(self, variable: int) -> None:
        work = self._work_of(variable)
        if self._work[variable] != work:
            self._work[variable] = work
            heappush(self._queue, (work, variable))

    def _work_of(self, variable: int) -> int:
        around = {other for scope in self._of[variable] for other in scope}
        return _work(variable, around - {variable}, self._sizes)


def _work(variable: int, around: set[int], sizes: list[int]) -> int:
    """Entries of the table that eliminating ``variable`` has to look at."""
    return prod(sizes[other] for other in around) * sizes[variable]


def _groups(
    variable: int, mine: list[tuple[Scope, IntArray]], sizes: list[int], largest: int
) -> list[list[tuple[Scope, IntArray]]]:
    """All tables of a variable in one group, or split where their join grows too large."""
    groups: list[list[tuple[Scope, IntArray]]] = []
    spans: list[set[int]] = []
    for scope, table in sorted(mine, key=lambda item: (-item[1].size, item[0])):
        for place, span in enumerate(spans):
            joined = span | set(scope)
            if _work(variable, joined - {variable}, sizes) <= largest:
                groups[place].append((scope, table))
                spans[place] = joined
                break
        else:
            groups.append([(scope, table)])
            spans.append(set(scope))
    return groups


def _joined(
    variable: int, group: list[tuple[Scope, IntArray]], sizes: list[int]
) -> tuple[Scope, IntArray]:
    """The least sum of a group's tables over ``variable``, for each setting of the rest."""
    rest = tuple(sorted({other for scope, _ in group for other in scope} - {variable}))
    if len(rest) == 2:
        pair = _min_plus(variable, rest, group, sizes)
        return rest, pair
    total: IntArray = np.zeros((1,) * (len(rest) + 1), dtype=np.int32)
    for scope, table in group:
        total = total + _aligned((*rest, variable), scope, table)
    return rest, np.minimum(total.min(axis=-1), FORBIDDEN)


def _min_plus(
    variable: int, rest: Scope, group: list[tuple[Scope, IntArray]], sizes: list[int]
) -> IntArray:
    """``_joined`` for two neighbours, without building the whole three-dimensional table."""
    first, second = rest
    left: IntArray = np.zeros((sizes[first], sizes[variable]), dtype=np.int32)
    right: IntArray = np.zeros((sizes[second], sizes[variable]), dtype=np.int32)
    cube: list[tuple[Scope, IntArray]] = []
    for scope, table in group:
        if len(scope) == 3:
            cube.append((scope, table))
        elif second in scope:
            right = right + _aligned((second, variable), scope, table)
        else:
            left = left + _aligned((first, variable), scope, table)
    tables = [_aligned((first, second, variable), scope, table) for scope, table in cube]
    best: IntArray = np.empty((sizes[first], sizes[second]), dtype=np.int32)
    together = max(1, AT_ONCE // (sizes[second] * sizes[variable]))
    for start in range(0, sizes[first], together):
        rows = slice(start, start + together)
        block = left[rows, None, :] + right[None, :, :]
        for table in tables:
            block += table[rows]
        block.min(axis=-1, out=best[rows])
    return np.minimum(best, FORBIDDEN)


def _aligned(axes: Scope, scope: Scope, table: IntArray) -> IntArray:
    """``table`` with one axis for each of ``axes``, of length one where it has none."""
    order = sorted(range(len(scope)), key=lambda axis: axes.index(scope[axis]))
    turned = np.transpose(table, order)
    shape = [1] * len(axes)
    for axis in order:
        shape[axes.index(scope[axis])] = table.shape[axis]
    return turned.reshape(shape)


def _values(
    trail: list[tuple[int, list[tuple[Scope, IntArray]]]], count: int
) -> tuple[int, ...]:
    """Settings in reverse order of elimination: each variable's best, given its neighbours."""
    values = [-1] * count
    for variable, mine in reversed(trail):
        total: IntArray | None = None
        for scope, table in mine:
            index = tuple(slice(None) if v == variable else values[v] for v in scope)
            row = table[index]
            total = row if total is None else total + row
        values[variable] = 0 if total is None else int(np.argmin(total))
    return tuple(values)
