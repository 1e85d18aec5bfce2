"""The least sum of factors over few-valued variables, by eliminating one after another.

A factor is a table of costs over one to three variables. A variable is eliminated by
adding the tables that hold it and keeping, for each setting of its neighbours, the least
sum (non-serial dynamic programming: Bertelè and Brioschi 1972). A piece of music whose
equal bars share their decisions is a chain with a few loops, so the tables stay small.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from heapq import heappop, heappush
from math import prod

import numpy as np

from arranger.neck.grips import IntArray
from arranger.neck.moves import FORBIDDEN

Scope = tuple[int, ...]
LARGEST_TABLE = 40_000_000
"""Entries of an intermediate table, at most: what a machine has memory and time for."""
LARGEST_KEPT = 1_000_000
"""Entries of a table that is kept for another time, at most."""
TIMES_KEPT = 2
"""Of how many times tables are kept: what is solved in turn differs little from the last but
one."""
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


def least(graph: FactorGraph, largest_table: int = LARGEST_TABLE) -> Optimum:
    """The optimum of ``graph``. ``largest_table`` limits entries of an intermediate table."""
    return Elimination(graph.sizes, graph.tables, largest_table).least(graph.tables)


@dataclass(frozen=True, slots=True)
class _Step:
    """A variable with the tables that leave with it.

    ``groups`` are places in ``scopes``: tables that are joined. A group leaves a table over
    ``rests``, which is a number where that is empty.
    """

    variable: int
    scopes: tuple[Scope, ...]
    groups: tuple[tuple[int, ...], ...]
    rests: tuple[Scope, ...]


class Elimination:
    """The way to eliminate all variables of a graph, found once for whatever its costs are.

    A step whose tables are the very objects of an earlier time leaves what it left then: of
    a graph in which few costs are new, little is eliminated anew.
    """

    def __init__(
        self, sizes: list[int], scopes: Iterable[Scope], largest_table: int = LARGEST_TABLE
    ) -> None:
        self._sizes = sizes
        self._steps: list[_Step] = []
        left = _Left(sizes, scopes)
        while (variable := left.cheapest()) is not None:
            self._steps.append(_step(variable, left, sizes, largest_table))
        self._exact = all(len(step.groups) <= 1 for step in self._steps)
        self._kept = _Kept()

    def least(self, tables: Mapping[Scope, IntArray]) -> Optimum:
        """The optimum where the costs are ``tables``, which have the scopes of the graph."""
        left = dict(tables)
        constant = 0
        trail: list[tuple[_Step, list[IntArray]]] = []
        for number, step in enumerate(self._steps):
            mine = [left.pop(scope) for scope in step.scopes]
            trail.append((step, mine))
            for group, rest in zip(step.groups, step.rests, strict=True):
                table = self._joined(number, step, group, rest, mine)
                if rest:
                    left[rest] = self._sum(number, rest, left.get(rest), table)
                else:
                    constant += int(table)
        return Optimum(constant, _values(trail, len(self._sizes)), self._exact)

    def _joined(
        self,
        number: int,
        step: _Step,
        group: tuple[int, ...],
        rest: Scope,
        mine: list[IntArray],
    ) -> IntArray:
        """The table that a group leaves, from an earlier time where that had the same."""
        tables = [mine[place] for place in group]
        known = self._kept.get((number, group), tables)
        if known is None:
            scoped = [(step.scopes[place], mine[place]) for place in group]
            known = _joined(step.variable, rest, scoped, self._sizes)
            self._kept.keep((number, group), tables, known)
        return known

    def _sum(
        self, number: int, scope: Scope, table: IntArray | None, more: IntArray
    ) -> IntArray:
        """A new table added to what its variables have already."""
        if table is None:
            return more
        known = self._kept.get((number, scope), [table, more])
        if known is None:
            known = np.minimum(table + more, FORBIDDEN)
            self._kept.keep((number, scope), [table, more], known)
        return known


class _Kept:
    """What was made of some tables the last times, while the very same tables are given."""

    def __init__(self) -> None:
        self._made: dict[object, list[tuple[list[IntArray], IntArray]]] = {}

    def get(self, place: object, tables: list[IntArray]) -> IntArray | None:
        """What was made of ``tables`` at ``place``; None where that is not known."""
        for known, made in self._made.get(place, ()):
            if all(one is other for one, other in zip(known, tables, strict=True)):
                return made
        return None

    def keep(self, place: object, tables: list[IntArray], made: IntArray) -> None:
        """Keep what was made, unless it would fill the memory."""
        if made.size > LARGEST_KEPT:
            return
        known = self._made.setdefault(place, [])
        known.insert(0, (tables, made))
        del known[TIMES_KEPT:]


def _step(variable: int, left: _Left, sizes: list[int], largest: int) -> _Step:
    """The next step, whose tables are taken from ``left`` and what they leave is put there."""
    scopes = left.take(variable)
    groups = _groups(variable, scopes, sizes, largest)
    rests = []
    for group in groups:
        around = {other for place in group for other in scopes[place]} - {variable}
        rests.append(tuple(sorted(around)))
        if around:
            left.put(rests[-1])
    return _Step(variable, tuple(scopes), tuple(groups), tuple(rests))


class _Left:
    """The variables not yet eliminated, the scopes of their tables, what each would cost."""

    def __init__(self, sizes: list[int], scopes: Iterable[Scope]) -> None:
        self._sizes = sizes
        self._of: dict[int, set[Scope]] = {v: set() for v in range(len(sizes))}
        for scope in scopes:
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

    def take(self, variable: int) -> list[Scope]:
        """The scopes of a variable, which leave together with it."""
        del self._work[variable]
        scopes = sorted(self._of.pop(variable))
        for other in {other for scope in scopes for other in scope} - {variable}:
            self._of[other] -= set(scopes)
            self._weigh(other)
        return scopes

    def put(self, scope: Scope) -> None:
        """A new table over variables that are left."""
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
    variable: int, scopes: list[Scope], sizes: list[int], largest: int
) -> list[tuple[int, ...]]:
    """All tables of a variable (places in ``scopes``) in one group, or split where their join
    grows too large.
    """
    groups: list[tuple[int, ...]] = []
    spans: list[set[int]] = []
    size = [prod(sizes[other] for other in scope) for scope in scopes]
    for place in sorted(range(len(scopes)), key=lambda at: (-size[at], scopes[at])):
        for at, span in enumerate(spans):
            joined = span | set(scopes[place])
            if _work(variable, joined - {variable}, sizes) <= largest:
                groups[at] = (*groups[at], place)
                spans[at] = joined
                break
        else:
            groups.append((place,))
            spans.append(set(scopes[place]))
    return groups


def _joined(
    variable: int, rest: Scope, group: list[tuple[Scope, IntArray]], sizes: list[int]
) -> IntArray:
    """The least sum of a group's tables over ``variable``, for each setting of the rest."""
    if len(rest) == 2:
        return _min_plus(variable, rest, group, sizes)
    total: IntArray = np.zeros((1,) * (len(rest) + 1), dtype=np.int32)
    for scope, table in group:
        total = total + _aligned((*rest, variable), scope, table)
    least_sum: IntArray = np.minimum(total.min(axis=-1), FORBIDDEN)
    return least_sum


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


def _values(trail: list[tuple[_Step, list[IntArray]]], count: int) -> tuple[int, ...]:
    """Settings in reverse order of elimination: each variable's best, given its neighbours."""
    values = [-1] * count
    for step, tables in reversed(trail):
        total: IntArray | None = None
        for scope, table in zip(step.scopes, tables, strict=True):
            index = tuple(slice(None) if v == step.variable else values[v] for v in scope)
            row = table[index]
            total = row if total is None else total + row
        values[step.variable] = 0 if total is None else int(np.argmin(total))
    return tuple(values)
