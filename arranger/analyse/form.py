"""Form: equal bars, and sections with letters.

*Conventions* Two bars are alike by the share of their notes (pitch and place) that they
have in common (Dice index, 0..1, for each hand). The sections are the shortest way to tell the
piece: a dynamic program tells it from left to right either note by note (one point a
bar) or as "again from there" (a point for every bar that differs), with a price for each
new section. A 156-bar rag comes out as its four strains.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from arranger.analyse.timeline import Floats, Ints, Timeline
from arranger.music.analysis import Section
from arranger.music.key import KeySection
from arranger.tables import Table, load

Alike = NDArray[np.float32]
"""Bars x bars, 0..1; single precision, for a piece of an hour has thousands of bars."""
_Content = frozenset[tuple[int, int]]


class FormTable(Table):
    """``tables/form.toml``: see the comments there."""

    section_share: float
    section_least: float
    section_most: float
    difference: float
    new_edge: float
    repeat_discount: float
    uneven: tuple[float, ...]
    outer: float
    too_short: float
    key_change: float
    key_near_edge: int
    key_far_from_edge: int
    copy_most: float
    longest_copy: int
    all_sources: int
    likely_sources: int
    likely_bars: int
    shortest: int
    shortest_in_short_piece: int
    short_piece: int
    interlude: int
    alike: float
    alike_ending: float
    alike_opening: float
    right_hand: float
    intro_most: int
    intro_share: float


def _table() -> FormTable:
    return load("form", FormTable)


def equal_bars(line: Timeline) -> tuple[int | None, ...]:
    """For each bar the first bar with the same notes, or None when it is the first itself.

    The same: pitch, place in the bar, length and hand of every note, and the bar's length.
    """
    first: dict[object, int] = {}
    same: list[int | None] = []
    for number, (measure, notes) in enumerate(zip(line.measures, line.by_bar, strict=True)):
        places = (line.onset[notes] - measure.start).tolist()
        lengths = (line.end[notes] - line.onset[notes]).tolist()
        pitches, hands = line.midi[notes].tolist(), line.right[notes].tolist()
        content = sorted(zip(places, pitches, lengths, hands, strict=True))
        earlier = first.setdefault((measure.end - measure.start, tuple(content)), number)
        same.append(None if earlier == number else earlier)
    return tuple(same)


# ---- likeness of bars ---------------------------------------------------------------


def _contents(line: Timeline, *, right: bool) -> list[_Content]:
    """For each bar what one hand plays: places and pitches."""
    contents = []
    for measure, notes in zip(line.measures, line.by_bar, strict=True):
        hand = notes[line.right[notes] == right]
        places = line.onset[hand] - measure.start + measure.phase
        contents.append(frozenset(zip(places.tolist(), line.midi[hand].tolist(), strict=True)))
    return contents


def _shared(contents: list[_Content]) -> Alike:
    """Bars x bars: the Dice index of what they hold; 1 where neither holds anything."""
    kinds = list(dict.fromkeys(contents))
    number = {kind: row for row, kind in enumerate(kinds)}
    words = {word: place for place, word in enumerate({w for kind in kinds for w in kind})}
    held = np.zeros((len(kinds), max(1, len(words))), dtype=np.float32)
    for row, kind in enumerate(kinds):
        held[row, [words[word] for word in kind]] = 1.0
    sizes = held.sum(axis=1)
    table = held @ held.T  # counts: exact
    table *= 2.0
    table /= np.maximum(1.0, sizes[:, None] + sizes[None, :])
    table[(sizes[:, None] + sizes[None, :]) == 0.0] = 1.0
    index = np.array([number[content] for content in contents])
    full: Alike = table[np.ix_(index, index)]
    return full


def likeness(line: Timeline) -> Alike:
    """How alike any two bars are; the right hand says more than the left."""
    weight = np.float32(_table().right_hand)
    alike = _shared(_contents(line, right=True))
    alike *= weight
    left = _shared(_contents(line, right=False))
    left *= np.float32(1.0) - weight
    alike += left
    return alike


# ---- sections -----------------------------------------------------------------------


def find_sections(line: Timeline, keys: tuple[KeySection, ...]) -> tuple[Section, ...]:
    """Sections that cover all bars in order; a section that returns keeps its letter.

    A short introduction that never returns is called "Intro". A pick-up bar belongs to
    the section it leads into.
    """
    pickup = int(len(line.measures) > 1 and line.score.bars[0].number == 0)
    alike = likeness(line)[pickup:, pickup:]
    changes = {line.score.bar_index_at(section.start) - pickup for section in keys[1:]}
    edges = [0, *_cuts(alike, changes), len(alike)]
    spans = list(pairwise(edges))
    return tuple(
        Section(letter=letter, first=first + pickup if first else 0, last=last - 1 + pickup)
        for (first, last), letter in zip(spans, _letters(spans, alike), strict=True)
    )


@dataclass(frozen=True, slots=True)
class _Told:
    """A section as told: new when ``source`` is None, else a copy of what began there."""

    first: int
    last: int
    source: int | None


def _cuts(alike: Alike, changes: set[int]) -> list[int]:
    """Bars at which a section begins, the first bar left out.

    A change of key near an edge belongs to that edge: endings lead on to the next strain.
    """
    near = _table().key_near_edge
    told = _shortest_telling(alike, changes)
    weights: Counter[int] = Counter()
    for section in told:
        weights[section.first] += 4
        if section.source is not None:
            weights[section.source] += 3  # beginnings are surer than ends, which vary
            weights[section.source + section.last - section.first] += 2
    for change in changes:
        edges = [cut for cut in weights if abs(cut - change) <= near]
        weights[max(edges, key=lambda cut: (weights[cut], -cut), default=change)] += 8
    _share_cuts(told, weights)
    return _apart(weights, len(alike))


def _share_cuts(told: list[_Told], weights: Counter[int]) -> None:
    """What cuts a section also cuts its copies, and what cuts a copy its source."""
    for section in told:
        if section.source is None:
            continue
        shift = section.first - section.source
        length = section.last - section.first
        for cut in list(weights):
            if section.source < cut < section.source + length:
                weights[cut + shift] += 1
            elif section.first < cut < section.last:
                weights[cut - shift] += 1


def _apart(weights: Counter[int], count: int) -> list[int]:
    """The weightiest cuts that leave room for an interlude between them."""
    least = _table().interlude
    kept: list[int] = []
    for cut, _ in sorted(weights.items(), key=lambda item: (-item[1], item[0])):
        if 1 < cut < count - 1 and all(abs(cut - other) >= least for other in kept):
            kept.append(cut)
    return sorted(kept)


def _least(count: int) -> int:
    table = _table()
    return table.shortest if count >= table.short_piece else table.shortest_in_short_piece


def _shortest_telling(alike: Alike, changes: set[int]) -> list[_Told]:
    """The cheapest way to tell the piece, from left to right."""
    table = _table()
    count = len(alike)
    section = min(table.section_most, max(table.section_least, count * table.section_share))
    uneven = np.array(table.uneven)
    changed = np.array([sum(change <= bar for change in changes) for bar in range(count + 1)])
    cost = np.full(count + 1, np.inf)
    cost[0] = 0.0
    back = [_Told(0, 0, None)] * (count + 1)
    for first in range(count):
        lasts = np.arange(first + 1, count + 1)
        lengths = lasts - first
        inner = (first > 0) & (lasts < count)
        inside = _changes_inside(changed, first, lasts)
        base = cost[first] + table.key_change * inside
        base = base + section + uneven[lengths % 8] * np.where(inner, 1.0, table.outer)
        base = base + table.too_short * (inner & (lengths < _least(count)))
        copies, sources = _best_copies(alike, first, _path(back, first), section)
        price = base + lengths
        price[: len(copies)] = np.minimum(price[: len(copies)], base[: len(copies)] + copies)
        for place in np.flatnonzero(price < cost[first + 1 :] - 1e-9).tolist():
            copied = place < len(copies) and copies[place] < lengths[place]
            last = first + 1 + place
            cost[last] = price[place]
            back[last] = _Told(first, last, int(sources[place]) if copied else None)
    return _path(back, count)


def _changes_inside(changed: Ints, first: int, lasts: Ints) -> Floats:
    """Key changes inside sections from ``first`` to each of ``lasts``; near an edge a part.

    ``changed`` counts the changes up to each bar. Where a key is heard to change is not sure
    to the bar: a change counts the more, the further it lies from both edges.
    """
    table = _table()
    margins = range(table.key_near_edge, table.key_far_from_edge)
    inside = np.zeros(len(lasts))
    for margin in margins:
        after = changed[np.minimum(first + margin, lasts - 1)]
        inside += np.maximum(0, changed[np.maximum(lasts - 1 - margin, first)] - after)
    return inside / len(margins)


def _path(back: list[_Told], last: int) -> list[_Told]:
    """The sections of the cheapest telling of the first ``last`` bars."""
    told: list[_Told] = []
    while last > 0:
        told.append(back[last])
        last = back[last].first
    return told[::-1]


def _best_copies(
    alike: Alike, first: int, told: list[_Told], section: float
) -> tuple[Floats, Ints]:
    """For each length the price of the best copy from ``first`` on, and what it copies.

    Bars that differ have their price, and so has an edge of what is copied that is not
    yet the edge of a section; a repeat at once comes at a discount. The price is infinite
    where too much differs.
    """
    table = _table()
    room = min(len(alike) - first, table.longest_copy)
    if first == 0:
        return np.full(room, np.inf), np.zeros(room, dtype=np.int64)
    sources = _worth_a_look(alike, first, told)[:, None]
    steps = np.arange(room)[None, :]
    ends = sources + steps + 1
    rows = np.minimum(ends - 1, len(alike) - 1)
    different = np.cumsum(1.0 - alike[rows, first + steps], axis=1, dtype=np.float64)
    edge = np.ones(first + 1)
    edge[[0, first, *(section.first for section in told)]] = 0.0
    price = table.difference * different
    price += table.new_edge * section * (edge[sources] + edge[np.minimum(ends, first)])
    price -= table.repeat_discount * section * (ends == first)
    price[(ends > first) | (different > table.copy_most * (steps + 1))] = np.inf
    best = price.argmin(axis=0)
    return price[best, np.arange(room)], sources[best, 0]


def _worth_a_look(alike: Alike, first: int, told: list[_Told]) -> Ints:
    """Bars, in order, from which the music at ``first`` may be a copy.

    All bars before it; in a long piece those that begin most alike, the edges of sections
    and the bars just before, so that the time grows with the length and not its cube.
    """
    table = _table()
    sources = np.arange(first)
    if first <= table.all_sources:
        return sources
    ahead = np.arange(min(table.likely_bars, len(alike) - first))
    begins = alike[sources[:, None] + ahead, first + ahead].sum(axis=1)
    likely = np.argsort(-begins, kind="stable")[: table.likely_sources]
    edges = [section.first for section in told[-table.likely_sources :]]
    near = np.arange(first - table.likely_sources, first)
    return np.unique(np.concatenate([likely, np.array(edges, dtype=np.int64), near]))


def _resemblance(one: tuple[int, int], other: tuple[int, int], alike: Alike) -> float:
    """Mean likeness of how two sections begin, or of the whole less an allowance.

    Endings differ at repeats, and different strains may end alike; a strain is known by its
    first bar.
    """
    if alike[one[0], other[0]] < _table().alike_opening:
        return 0.0
    lengths = one[1] - one[0], other[1] - other[0]
    if max(lengths) > 2 * min(lengths):
        return 0.0
    bars = [alike[one[0] + bar, other[0] + bar] for bar in range(min(lengths))]
    beginning = float(np.mean(bars[: (len(bars) + 1) // 2]))
    return max(beginning, float(np.mean(bars)) - _table().alike_ending)


def _letters(spans: list[tuple[int, int]], alike: Alike) -> list[str]:
    table = _table()
    heads: list[tuple[int, int]] = []
    numbers: list[int] = []
    for span in spans:
        marks = [_resemblance(span, head, alike) for head in heads]
        if marks and max(marks) >= table.alike:
            numbers.append(marks.index(max(marks)))
        else:
            numbers.append(len(heads))
            heads.append(span)
    opening = spans[0][1]
    longest = max(last - first for first, last in spans)
    most = min(table.intro_most, longest * table.intro_share)
    if len(spans) > 2 and numbers.count(0) == 1 and opening <= most:
        return ["Intro", *(_letter(number - 1) for number in numbers[1:])]
    return [_letter(number) for number in numbers]


def _letter(number: int) -> str:
    """A..Z, then AA, AB, …"""
    head, tail = divmod(number, 26)
    return (_letter(head - 1) if head else "") + chr(ord("A") + tail)
