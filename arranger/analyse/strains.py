"""Where strains begin: the shortest way to tell a piece.

A piece is told section by section, as a player would tell it to another. Each section has a
price, and so has what is said in it: a bar that is new costs one, less where it is like a bar
shortly before; "that section again" costs only the bars that differ, the more the less they
are alike, but little in its ending. A repeat at once is the cheapest to say. Only whole
sections are repeated, so a strain of two halves that are alike is one section: as two it would
have to be told twice as often.

The search goes uphill. It begins with no cut at all, and tries to make a section of every
stretch that comes again, to say a whole section again where a stretch of it comes again, to
move a cut, to put one in, to leave one out, each also at the same place of all sections that
repeat one another; of what shortens the telling the best comes first. Prices:
``tables/form.toml``.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import chain, islice, pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from arranger.analyse.timeline import Floats
from arranger.tables import Table, load

Alike = NDArray[np.float32]
"""Bars x bars, 0..1; single precision, for a piece of an hour has thousands of bars."""
Span = tuple[int, int]
"""First bar of a section and the bar after its last."""
Cuts = frozenset[int]
"""Bars at which a section begins, the first bar left out."""
_LITTLE = 1e-9


class FormTable(Table):
    """``tables/form.toml``: see the comments there."""

    section: float
    again: float
    familiar: float
    familiar_bars: int
    difference: float
    ending_difference: float
    ending_share: int
    ending_most: int
    alike_opening: float
    added: float
    added_most: int
    left_out: float
    left_out_most: int
    uneven: tuple[float, ...]
    outer: float
    too_short: float
    far_too_short: float
    shortest: int
    shortest_in_short_piece: int
    short_piece: int
    long: float
    long_from: int
    key_change: float
    key_near_edge: int
    key_far_from_edge: int
    stretch_alike: float
    stretch_least: int
    stretch_even: tuple[int, ...]
    stretches_most: int
    shifts: tuple[int, ...]
    work_with_care: int
    work_most: int
    pairs_most: int
    right_hand: float
    intro_most: int
    intro_share: float


def form_table() -> FormTable:
    return load("form", FormTable)


def shortest_telling(alike: Alike, changes: set[int]) -> tuple[list[Span], list[int]]:
    """The sections of a piece, and for each the number of the section that it repeats first.

    ``alike``: how alike any two bars are; ``changes``: bars at which the key changes. A section
    that repeats nothing has its own number.
    """
    prices = Prices(alike, changes)
    search = _Search(prices, changes)
    told = search.uphill(prices.untold())
    return told.spans, told.models()


@dataclass(frozen=True, slots=True)
class Said:
    """How a section is told: its price, and the section it repeats (None: it is new)."""

    price: float
    source: Span | None


@dataclass(frozen=True, slots=True)
class Told:
    """A telling of the whole piece; ``prices``: of all before each section, and of all."""

    spans: list[Span]
    said: Mapping[Span, Said]
    prices: list[float]

    @property
    def price(self) -> float:
        return self.prices[-1]

    @property
    def cuts(self) -> Cuts:
        return frozenset(first for first, _ in self.spans[1:])

    def models(self) -> list[int]:
        """For each section the number of the first that it repeats, or its own."""
        numbers: dict[Span, int] = {}
        for number, span in enumerate(self.spans):
            source = self.said[span].source
            numbers[span] = number if source is None else numbers[source]
        return list(numbers.values())


class Prices:
    """What it costs to tell a section of a piece."""

    def __init__(self, alike: Alike, changes: set[int]) -> None:
        self.table = table = form_table()
        self.count = count = len(alike)
        self.alike = alike
        self.may_repeat = (alike >= table.alike_opening).T.tolist()
        different = 1.0 - alike.astype(np.float64)
        self.body = _along_diagonals(table.difference * different**2)
        self.ending = _along_diagonals(table.ending_difference * different)
        self.new = np.concatenate([[0.0], np.cumsum(_novelty(different, table))])
        short = count < table.short_piece
        self.least = table.shortest_in_short_piece if short else table.shortest
        self.changed = np.array(
            [sum(change <= bar for change in changes) for bar in range(count + 1)]
        )
        self.shape, self.floor = cache(self._shape), cache(self._floor)
        self.weighed = 0
        self.by_source: dict[Span, dict[Span, float]] = {}

    def untold(self) -> Told:
        """The piece as one section."""
        whole = (0, self.count)
        said = Said(self.alone(whole), None)
        return Told([whole], {whole: said}, [0.0, said.price])

    def tell(self, cuts: Cuts, before: Told, most: float) -> Told | None:
        """The cheapest telling with these cuts; sections as ``before`` are not told anew.

        None where it does not cost less than ``most``, and when as many pairs of sections were
        weighed as may be. The rest of a telling is not weighed when even the least that its
        sections can cost is too much.
        """
        spans = list(pairwise([0, *sorted(cuts), self.count]))
        known = before.said
        same = _alike_until(spans, before.spans)
        said = dict(islice(known.items(), same))
        prices = before.prices[: same + 1]
        fresh: list[Span] = []
        least = sum(map(self.floor, spans[same:]))
        for number, span in enumerate(spans[same:], same):
            if prices[-1] + least > most + _LITTLE or self.weighed > self.table.pairs_most:
                return None
            best = known.get(span)
            sources = fresh
            if best is None or (best.source is not None and best.source not in said):
                best = Said(self.alone(span), None)
                sources = spans[:number]
            if sources:
                best = self._cheapest(span, sources, best)
            said[span] = best
            if span not in known:
                fresh.append(span)
            prices.append(prices[-1] + best.price)
            least -= self.floor(span)
        return Told(spans, said, prices) if prices[-1] < most else None

    def _floor(self, span: Span) -> float:
        """What a section costs at least: "the last one again"."""
        return self.table.section * self.table.again + self.shape(span)

    def _cheapest(self, span: Span, sources: Sequence[Span], best: Said) -> Said:
        """The cheaper of ``best`` and a repeat of one of ``sources``, which stand in order.

        A repeat costs what a section costs at least; less only where it follows at once.
        """
        first = span[0]
        self.weighed += len(sources)
        least = self.table.section + self.shape(span)
        may_repeat, known = self.may_repeat[first], self.by_source.setdefault(span, {})
        for source in sources:
            if source[1] != first and best.price - _LITTLE <= least:
                continue
            if not may_repeat[source[0]]:
                continue
            price = known.get(source)
            if price is None:
                price = known[source] = self.repeated(source, span)
            if price < best.price - _LITTLE:
                best = Said(price, source)
        return best

    def alone(self, span: Span) -> float:
        """The price of a section that is new."""
        said = float(self.new[span[1]] - self.new[span[0]])
        return self.table.section + self.shape(span) + said

    def _shape(self, span: Span) -> float:
        """What a section costs by its length and its keys, whatever is said in it."""
        table, (first, last) = self.table, span
        length = last - first
        inner = first > 0 and last < self.count
        price = table.uneven[length % 8] * (1.0 if inner else table.outer)
        price += table.long * max(0, length - table.long_from)
        if length == 1 or (inner and length < table.shortest_in_short_piece):
            price += table.far_too_short
        elif inner and length < self.least:
            price += table.too_short
        return price + table.key_change * self._changes_inside(first, last)

    def _changes_inside(self, first: int, last: int) -> float:
        """Key changes inside a section; near an edge a part of one.

        Where a key is heard to change is not sure to the bar: a change counts the more, the
        further it lies from both edges.
        """
        margins = range(self.table.key_near_edge, self.table.key_far_from_edge)
        if self.changed[first] == self.changed[last - 1]:
            return 0.0
        inside = 0
        for margin in margins:
            after = self.changed[min(first + margin, last - 1)]
            inside += max(0, int(self.changed[max(last - 1 - margin, first)] - after))
        return inside / len(margins)

    def repeated(self, source: Span, span: Span) -> float:
        """The price of a section told as ``source`` again, whose first bars are alike."""
        table = self.table
        (one, other), longer = (source[0], span[0]), span[1] - span[0] - source[1] + source[0]
        both = min(span[1] - span[0], source[1] - source[0])
        most = max(table.left_out_most, (source[1] - source[0]) // 2)
        if not -most <= longer <= table.added_most:
            return float("inf")
        body = both - min(table.ending_most, both // table.ending_share)
        said, ending = self.body.item, self.ending.item
        price: float = said(one + body, other + body) - said(one, other)
        price += ending(one + both, other + both) - ending(one + body, other + body)
        price += table.added * longer if longer > 0 else -table.left_out * longer
        price += table.section * (table.again if source[1] == other else 1.0)
        return price + self.shape(span)


def _alike_until(spans: Sequence[Span], others: Sequence[Span]) -> int:
    """How many sections at the beginning are the same."""
    pairs = enumerate(zip(spans, others, strict=False))
    return next((number for number, (one, other) in pairs if one != other), len(others))


def _along_diagonals(values: Floats) -> Floats:
    """Sums along each diagonal: entry (i + n, j + n) less (i, j) is the sum of n steps."""
    sums = np.zeros((len(values) + 1, len(values) + 1))
    for row, own in enumerate(values):
        sums[row + 1, 1:] = sums[row, :-1] + own
    return sums


def _novelty(different: Floats, table: FormTable) -> Floats:
    """The price of each bar as new music, less where it is like one shortly before."""
    novelty = np.ones(len(different))
    for bar in range(1, len(different)):
        nearest = different[bar, max(0, bar - table.familiar_bars) : bar].min()
        novelty[bar] = min(1.0, table.familiar + (1.0 - table.familiar) * nearest)
    return novelty


# ---- search ---------------------------------------------------------------------------


class _Move(NamedTuple):
    """Cuts to be left out and cuts to be put in."""

    out: Cuts
    into: Cuts

    def done(self, cuts: Cuts) -> Cuts:
        return (cuts - self.out) | self.into


class _Search:
    """Moves from one telling to a shorter one."""

    def __init__(self, prices: Prices, changes: set[int]) -> None:
        self.prices = prices
        self.count = prices.count
        self.inside = frozenset(range(1, prices.count))
        self.table = prices.table
        self.stretches = _stretches(prices.alike, self.table)
        edges = {bar for one, other, bars in self.stretches for bar in (one, other)}
        edges |= {bar + bars for one, other, bars in self.stretches for bar in (one, other)}
        self.edges = sorted(bar for bar in edges | changes if 0 < bar < self.count)

    def uphill(self, told: Told) -> Told:
        """Moves until none makes the telling shorter, or the work is as much as may be.

        The best move alone is made and all are weighed anew; when that has taken too long,
        all that still help are made, the best first.
        """
        work = 0
        while True:
            moves = dict.fromkeys(self._moves(told))
            work += len(moves) * len(told.spans)
            if work > self.table.work_most:
                return told
            helpful = self._helpful(told, moves, best=work <= self.table.work_with_care)
            if not helpful:
                return told
            for move in helpful:
                moved = self.prices.tell(move.done(told.cuts), told, told.price - _LITTLE)
                told = told if moved is None else moved

    def _helpful(self, told: Told, moves: Iterable[_Move], *, best: bool) -> list[_Move]:
        """The moves that make the telling shorter, most helpful first; ``best``: that alone."""
        cuts, most = told.cuts, told.price - _LITTLE
        gains: list[tuple[float, int, _Move]] = []
        for move in moves:
            moved = self.prices.tell(move.done(cuts), told, most)
            if moved is not None:
                gains.append((moved.price - told.price, len(gains), move))
                most = moved.price if best else most
        ordered = [move for _, _, move in sorted(gains)]
        return ordered[:1] if best else ordered

    def _moves(self, told: Told) -> Iterator[_Move]:
        everywhere = _everywhere(told)
        again = self._sections_again(told, everywhere)
        cuts = told.cuts
        for move in chain(self._all_moves(cuts, everywhere), again):
            kept = _Move(move.out, move.into & self.inside)
            if kept.done(cuts) != cuts:
                yield kept

    def _all_moves(self, cuts: Cuts, everywhere: Callable[[int], Cuts]) -> Iterator[_Move]:
        for stretch in self.stretches:
            yield from self._with_stretch(cuts, stretch, everywhere)
        for bar in self.edges:
            if bar not in cuts:
                yield _Move(frozenset(), frozenset((bar,)))
                yield _Move(frozenset(), everywhere(bar))
        for bar in sorted(cuts):
            for group in (frozenset((bar,)), everywhere(bar)):
                yield _Move(group, frozenset())
                for way in self.table.shifts:
                    yield _Move(group, frozenset(cut + way for cut in group))

    def _with_stretch(
        self, cuts: Cuts, stretch: tuple[int, int, int], everywhere: Callable[[int], Cuts]
    ) -> Iterator[_Move]:
        """A stretch that comes again and its return as sections, whole or cut as they are."""
        one, other, bars = stretch
        even = {-(-bars // step) * step for step in self.table.stretch_even}
        if other - one - bars < self.table.stretch_least:
            even.add(other - one)
        for length in sorted({bars, *even}):
            if length > other - one or other + length > self.count:
                continue
            into = frozenset((one, one + length, other, other + length))
            whole = [*range(one + 1, one + length), *range(other + 1, other + length)]
            yield _Move(frozenset(), into)
            yield _Move(frozenset(whole) & cuts, into)
            yield _Move(frozenset(), into.union(*map(everywhere, into - {self.count})))

    def _sections_again(self, told: Told, everywhere: Callable[[int], Cuts]) -> Iterator[_Move]:
        """A whole section where a stretch of it comes again, or came before.

        A trio that returns in full dress is like itself in stretches only; it is as long as
        it was.
        """
        starts = [first for first, _ in told.spans]
        found: set[tuple[Span, int]] = set()
        for one, other, _ in self.stretches:
            for bar, way in ((one, other - one), (other, one - other)):
                found.add((told.spans[bisect_right(starts, bar) - 1], way))
        for (first, last), way in sorted(found):
            edges = (first + way, last + way)
            into = frozenset(bar for bar in edges if 0 < bar < self.count)
            if into:
                yield _Move(frozenset(), into)
                yield _Move(frozenset(), into.union(*map(everywhere, into)))


def _everywhere(told: Told) -> Callable[[int], Cuts]:
    """Leads from a bar to the same place of all sections that repeat the one it lies in."""
    models = told.models()
    families: dict[int, list[Span]] = {}
    for span, model in zip(told.spans, models, strict=True):
        families.setdefault(model, []).append(span)
    starts = [first for first, _ in told.spans]

    def everywhere(bar: int) -> Cuts:
        number = bisect_right(starts, bar) - 1
        way = bar - starts[number]
        family = families[models[number]]
        return frozenset(first + way for first, last in family if first + way < last)

    return everywhere


def _stretches(alike: Alike, table: FormTable) -> list[tuple[int, int, int]]:
    """Stretches that come again: first bar, first bar of the return, bars; the longest."""
    found = []
    heard = alike >= table.stretch_alike
    for way in range(1, len(alike)):
        edges = np.diff(np.diagonal(heard, way).astype(np.int8), prepend=0, append=0)
        starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
        long = ends - starts >= table.stretch_least
        pairs = zip(starts[long].tolist(), ends[long].tolist(), strict=True)
        found += [(start, start + way, end - start) for start, end in pairs]
    found.sort(key=lambda stretch: (-stretch[2], stretch))
    return found[: table.stretches_most]
