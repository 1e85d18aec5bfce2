"""Form: equal bars, and sections with letters.

*Conventions* Two bars are alike by the share of their notes (pitch and place) that they
have in common (Jaccard index, 0..1). The sections are the shortest way to tell the
piece: a dynamic program tells it from left to right either note by note (one point a
bar) or as "again from there" (a point for every bar that differs), with a price for each
new section. A 156-bar rag comes out as its four strains.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import numpy as np

from arranger.analyse.timeline import Floats, Timeline
from arranger.music.analysis import Section
from arranger.music.key import KeySection
from arranger.music.score import Score
from arranger.tables import Table, load

_Content = frozenset[tuple[int, int]]


class FormTable(Table):
    """``tables/form.toml``: see the comments there."""

    new_section: float
    repeat: float
    shortest: int
    shortest_in_short_piece: int
    short_piece: int
    alike: float
    intro_most: int


def _table() -> FormTable:
    return load("form", FormTable)


def equal_bars(score: Score) -> tuple[int | None, ...]:
    """For each bar the first bar with the same notes (pitch, place, length, hand), or
    None when it is the first of its kind.
    """
    contents: list[list[tuple[int, Fraction, Fraction, str]]] = [[] for _ in score.bars]
    index = 0
    for note in score.notes:
        while index < len(score.bars) - 1 and note.onset >= score.bars[index].end:
            index += 1
        start = score.bars[index].start
        contents[index].append((note.midi, note.onset - start, note.length, note.hand))
    first: dict[object, int] = {}
    same: list[int | None] = []
    for bar, content in zip(score.bars, contents, strict=True):
        kind = (bar.length, tuple(sorted(content)))
        earlier = first.setdefault(kind, len(same))
        same.append(None if earlier == len(same) else earlier)
    return tuple(same)


# ---- likeness of bars ---------------------------------------------------------------


def _contents(line: Timeline) -> list[_Content]:
    contents = []
    for measure, notes in zip(line.measures, line.by_bar, strict=True):
        places = line.onset[notes] - measure.start + measure.phase
        contents.append(frozenset(zip(places.tolist(), line.midi[notes].tolist(), strict=True)))
    return contents


def likeness(line: Timeline) -> Floats:
    """Bars x bars: how alike two bars are, 0..1."""
    contents = _contents(line)
    kinds = list(dict.fromkeys(contents))
    number = {kind: row for row, kind in enumerate(kinds)}
    table = np.eye(len(kinds))
    for row, one in enumerate(kinds):
        for column in range(row):
            other = kinds[column]
            union = len(one | other)
            table[row, column] = table[column, row] = len(one & other) / union if union else 1.0
    index = np.array([number[content] for content in contents])
    full: Floats = table[np.ix_(index, index)]
    return full


# ---- sections -----------------------------------------------------------------------


def find_sections(line: Timeline, keys: tuple[KeySection, ...]) -> tuple[Section, ...]:
    """Sections that cover all bars in order; a section that returns keeps its letter."""
    alike = likeness(line)
    count = len(alike)
    changes = {line.score.bar_index_at(section.start) for section in keys}
    cuts = _cuts(alike, changes)
    edges = sorted({0, count, *cuts})
    spans = list(pairwise(edges))
    letters = _letters(spans, alike)
    return tuple(
        Section(letter=letter, first=first, last=last - 1)
        for (first, last), letter in zip(spans, letters, strict=True)
    )


def _least(count: int) -> int:
    table = _table()
    return table.shortest if count >= table.short_piece else table.shortest_in_short_piece


def _cuts(alike: Floats, changes: set[int]) -> set[int]:
    """Bars at which the shortest telling of the piece begins a section."""
    told = _shortest_telling(alike, changes)
    cuts = {first for first, _, _ in told}
    for first, last, source in told:
        if source is not None:
            cuts |= {source, source + last - first}
    least = _least(len(alike))
    return _apart(
        cuts - {0, len(alike)}, {first for first, _, _ in told} | changes, least, len(alike)
    )


def _apart(cuts: set[int], firm: set[int], least: int, count: int) -> set[int]:
    """Cuts that leave sections of a fair length: firm ones first, then the others."""
    kept: list[int] = []
    for cut in [*sorted(cuts & firm), *sorted(cuts - firm)]:
        room = all(abs(cut - other) >= least for other in kept)
        if room and count - cut >= min(least, 4):
            kept.append(cut)
    return set(kept)


def _shortest_telling(alike: Floats, changes: set[int]) -> list[tuple[int, int, int | None]]:
    """``(first, last, source)`` of each section told; ``source`` is where it is copied from."""
    table = _table()
    count = len(alike)
    least = _least(count)
    cost = np.full(count + 1, np.inf)
    cost[0] = 0.0
    back: list[tuple[int, int | None]] = [(0, None)] * (count + 1)
    for first in range(count):
        if not np.isfinite(cost[first]):
            continue
        for last in range(first + 1, count + 1):
            if last in changes or last - first >= least or first == 0 or last == count:
                price = cost[first] + table.new_section + (last - first)
                price += sum(table.new_section for change in changes if first < change < last)
                if price < cost[last]:
                    cost[last], back[last] = price, (first, None)
        for source in range(first):
            different = 0.0
            for length in range(1, min(count - first, first - source) + 1):
                different += 1.0 - alike[source + length - 1, first + length - 1]
                last = first + length
                if length < least or different > 0.5 * length:
                    if different > 0.5 * length + 2:
                        break
                    continue
                price = cost[first] + table.repeat + different
                if price < cost[last] - 1e-9:
                    cost[last], back[last] = price, (first, source)
    told: list[tuple[int, int, int | None]] = []
    last = count
    while last > 0:
        first, origin = back[last]
        told.append((first, last, origin))
        last = first
    return told[::-1]


def _resemblance(one: tuple[int, int], other: tuple[int, int], alike: Floats) -> float:
    """Mean likeness of two sections, bar by bar from their beginnings."""
    length = min(one[1] - one[0], other[1] - other[0])
    longer = max(one[1] - one[0], other[1] - other[0])
    pairs = [alike[one[0] + i, other[0] + i] for i in range(length)]
    return float(sum(pairs)) / longer


def _letters(spans: list[tuple[int, int]], alike: Floats) -> list[str]:
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
    has_intro = len(spans) > 2 and spans[0][1] <= table.intro_most and numbers.count(0) == 1
    if has_intro:
        return ["Intro", *(_letter(number - 1) for number in numbers[1:])]
    return [_letter(number) for number in numbers]


def _letter(number: int) -> str:
    """A..Z, then AA, AB, …"""
    head, tail = divmod(number, 26)
    return (_letter(head - 1) if head else "") + chr(ord("A") + tail)
