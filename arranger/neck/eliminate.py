"""The least sum of factors over few-valued variables, by eliminating one after another.

A factor is a table of costs over one to three variables. A variable is eliminated by
adding the tables that hold it and keeping, for each setting of its neighbours, the least
sum (non-serial dynamic programming: Bertelè and Brioschi 1972). A piece of music whose
equal bars share their decisions is a chain with a few loops, so the tables stay small.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from heapq import heappop, heappush
from itertools import groupby
from math import prod

import numpy as np

from arranger.neck.grips import IntArray
from arranger.neck.moves import FORBIDDEN

Scope = tuple[int, ...]
LARGEST_TABLE = 40_000_000
"""Entries of an intermediate table, at most: what a machine has memory and time for."""
IN_A_CHAIN = 3
"""Variables of the tables of one that has no more than two neighbours."""
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
    return Elimination(graph, largest_table=largest_table).least({})


@dataclass(frozen=True, slots=True)
class Step:
    """A variable with the tables (``scopes``) that leave with it.

    ``groups`` are places in ``scopes``: tables that are joined. A group leaves a table over
    ``rests``, which is a number where that is empty.
    """

    variable: int
    scopes: tuple[Scope, ...]
    groups: tuple[tuple[int, ...], ...]
    rests: tuple[Scope, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Cluster:
    """A group of tables that left together with ``variable``, and the ``message`` over
    ``rest`` that it left. ``told_by`` are the places of the clusters whose messages are in
    its tables.
    """

    variable: int
    rest: Scope
    tables: tuple[tuple[Scope, IntArray], ...]
    message: IntArray
    told_by: tuple[int, ...]


class Elimination:
    """The way to eliminate all variables of a graph, found once for whatever some costs are.

    ``priced`` are the variables whose values have a price that changes from time to time. They
    leave late, so that what is done before them is done once.
    """

    def __init__(
        self,
        graph: FactorGraph,
        priced: frozenset[int] = frozenset(),
        largest_table: int = LARGEST_TABLE,
    ) -> None:
        self.sizes = graph.sizes
        free = {(v,): np.zeros(graph.sizes[v], dtype=np.int32) for v in sorted(priced)}
        left = _Left(graph.sizes, free | graph.tables, priced)
        steps: list[Step] = []
        while (variable := left.cheapest()) is not None:
            steps.append(_step(variable, left, graph.sizes, largest_table))
        self.exact = all(len(step.groups) <= 1 for step in steps)
        once, self._again = _parted(steps, priced)
        self._done = _Run(graph.sizes, free | graph.tables, {}, [])
        self._done.take(once)

    def clusters(self, prices: Mapping[int, IntArray]) -> list[Cluster]:
        """What leaves together, in order, where the values of priced variables cost ``prices``
        more.
        """
        done = self._done
        run = _Run(self.sizes, dict(done.left), dict(done.told), list(done.clusters))
        for variable, price in prices.items():
            run.left[variable,] = run.left[variable,] + price
        run.take(self._again)
        return run.clusters

    def least(self, prices: Mapping[int, IntArray]) -> Optimum:
        """The optimum where the values of priced variables cost ``prices`` more.

        Raises
        ------
        KeyError : a variable with a price was not said to have one.
        """
        clusters = self.clusters(prices)
        cost = sum(int(one.message) for one in clusters if not one.rest)
        return Optimum(cost, _values(clusters, len(self.sizes)), self.exact)


@dataclass(slots=True)
class _Run:
    """An elimination on its way: tables that are left, which clusters told something to
    them, and the clusters so far.
    """

    sizes: Sequence[int]
    left: dict[Scope, IntArray]
    told: dict[Scope, tuple[int, ...]]
    clusters: list[Cluster]

    def take(self, steps: Iterable[Step]) -> None:
        """Eliminate the variables of ``steps``."""
        for step in steps:
            mine = [(scope, self.left.pop(scope)) for scope in step.scopes]
            told = [self.told.pop(scope, ()) for scope in step.scopes]
            for group, rest in zip(step.groups, step.rests, strict=True):
                tables = tuple(mine[place] for place in group)
                message = _joined(step.variable, rest, tables, self.sizes)
                by = tuple(other for place in group for other in told[place])
                self.clusters.append(Cluster(step.variable, rest, tables, message, by))
                if rest:
                    self._tell(rest, message)

    def _tell(self, scope: Scope, message: IntArray) -> None:
        """Add a message to what its variables have already."""
        self.told[scope] = (*self.told.get(scope, ()), len(self.clusters) - 1)
        known = self.left.get(scope)
        if known is not None:
            message = np.minimum(known + message, FORBIDDEN)
        self.left[scope] = message


def _parted(steps: Sequence[Step], priced: frozenset[int]) -> tuple[list[Step], list[Step]]:
    """The steps that no price can change, and the others."""
    touched: set[Scope] = {(variable,) for variable in priced}
    once: list[Step] = []
    again: list[Step] = []
    for step in steps:
        if touched.isdisjoint(step.scopes):
            once.append(step)
        else:
            again.append(step)
            touched.update(step.rests)
    return once, again


def _step(variable: int, left: _Left, sizes: Sequence[int], largest: int) -> Step:
    """The next step, whose tables are taken from ``left`` and what they leave is put there."""
    scopes = left.take(variable)
    groups = _groups(variable, scopes, sizes, largest)
    rests = []
    for group in groups:
        around = {other for place in group for other in scopes[place]} - {variable}
        rests.append(tuple(sorted(around)))
        if around:
            left.put(rests[-1])
    return Step(variable, tuple(scopes), tuple(groups), tuple(rests))


class _Left:
    """The variables not yet eliminated, the scopes of their tables, what each would cost.

    The ``late`` ones leave after all others that stand in a chain, whose elimination makes no
    later one dearer.
    """

    def __init__(
        self, sizes: Sequence[int], scopes: Iterable[Scope], late: frozenset[int]
    ) -> None:
        self._sizes = sizes
        self._late = late
        self._of: dict[int, set[Scope]] = {v: set() for v in range(len(sizes))}
        for scope in scopes:
            for variable in scope:
                self._of[variable].add(scope)
        self._work: dict[int, tuple[bool, int]] = {
            variable: self._work_of(variable) for variable in self._of
        }
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

    def _work_of(self, variable: int) -> tuple[bool, int]:
        around = {other for scope in self._of[variable] for other in scope}
        work = _work(variable, around - {variable}, self._sizes)
        return variable in self._late or len(around) > IN_A_CHAIN, work


def _work(variable: int, around: set[int], sizes: Sequence[int]) -> int:
    """Entries of the table that eliminating ``variable`` has to look at."""
    return prod(sizes[other] for other in around) * sizes[variable]


def _groups(
    variable: int, scopes: list[Scope], sizes: Sequence[int], largest: int
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
    variable: int, rest: Scope, group: Sequence[tuple[Scope, IntArray]], sizes: Sequence[int]
) -> IntArray:
    """The least sum of a group's tables over ``variable``, for each setting of the rest."""
    if len(rest) == 2:
        return _min_plus(variable, rest, group, sizes)
    total: IntArray = np.zeros((1,) * (len(rest) + 1), dtype=np.int32)
    for scope, table in group:
        total = total + aligned((*rest, variable), scope, table)
    least_sum: IntArray = np.minimum(total.min(axis=-1), FORBIDDEN)
    return least_sum


def _min_plus(
    variable: int, rest: Scope, group: Sequence[tuple[Scope, IntArray]], sizes: Sequence[int]
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
            right = right + aligned((second, variable), scope, table)
        else:
            left = left + aligned((first, variable), scope, table)
    tables = [aligned((first, second, variable), scope, table) for scope, table in cube]
    best: IntArray = np.empty((sizes[first], sizes[second]), dtype=np.int32)
    together = max(1, AT_ONCE // (sizes[second] * sizes[variable]))
    for start in range(0, sizes[first], together):
        rows = slice(start, start + together)
        block = left[rows, None, :] + right[None, :, :]
        for table in tables:
            block += table[rows]
        block.min(axis=-1, out=best[rows])
    return np.minimum(best, FORBIDDEN)


def aligned(axes: Scope, scope: Scope, table: IntArray) -> IntArray:
    """``table`` with one axis for each of ``axes``, of length one where it has none."""
    order, places = _order(axes, scope)
    shape = [1] * len(axes)
    for place, axis in zip(places, order, strict=True):
        shape[place] = table.shape[axis]
    return table.transpose(order).reshape(shape)


@lru_cache(maxsize=1 << 16)
def _order(axes: Scope, scope: Scope) -> tuple[Scope, Scope]:
    """The axes of a table over ``scope`` in the order of ``axes``, and their places there."""
    order = sorted(range(len(scope)), key=lambda axis: axes.index(scope[axis]))
    return tuple(order), tuple(axes.index(scope[axis]) for axis in order)


def _values(clusters: Sequence[Cluster], count: int) -> tuple[int, ...]:
    """Settings in reverse order of elimination: each variable's best, given its neighbours."""
    values = [0] * count
    for variable, mine in groupby(reversed(clusters), key=lambda one: one.variable):
        total: IntArray | None = None
        for scope, table in (pair for one in mine for pair in one.tables):
            at = [slice(None) if v == variable else values[v] for v in scope]
            row = table[tuple(at)]
            total = row if total is None else total + row
        values[variable] = 0 if total is None else int(total.argmin())
    return tuple(values)
