"""Where in a line of text each moment of a bar stands, and how the bar is counted aloud."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from math import gcd, lcm

from arranger.music.arrangement import Placement
from arranger.music.time import Beat
from arranger.render.written import WrittenBar

_AIR = 1
"""Columns between a bar line and the first note."""

_HALVES = ((Beat(0), ""), (Beat(1, 2), "&"))
_QUARTERS = ((Beat(0), ""), (Beat(1, 4), "e"), (Beat(1, 2), "&"), (Beat(3, 4), "a"))
_THIRDS = ((Beat(0), ""), (Beat(1, 3), "t"), (Beat(2, 3), "l"))
"""Syllables inside a beat: 1 &, 1 e & a, 1 trip let (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A bar, or a part of one too long for a line, with a column for each moment.

    ``counts`` are the syllables to count aloud, by onset; ``width`` is in columns without the
    bar line; ``squeezed`` holds the columns of a stretch that is too full for proportion.
    """

    bar: WrittenBar
    start: Beat
    end: Beat
    notes: tuple[Placement, ...]
    counts: tuple[tuple[Beat, str], ...]
    per_quarter: Beat
    squeezed: tuple[tuple[Beat, int], ...] = ()

    @property
    def opens_bar(self) -> bool:
        return self.start == self.bar.start

    @property
    def closes_bar(self) -> bool:
        return self.end == self.bar.end

    @property
    def width(self) -> int:
        return self.column(self.end)

    def column(self, moment: Beat) -> int:
        """The column of a moment, counted from the bar line."""
        if self.squeezed:
            return max(column for onset, column in self.squeezed if onset <= moment)
        return _AIR + int((moment - self.start) * self.per_quarter)


def short_label(bar: WrittenBar) -> str:
    """The number over a bar, after the letter of the section that begins there."""
    number = f"{bar.number} rit." if bar.bar.slows else str(bar.number)
    return f"[{bar.bar.section}] {number}" if bar.bar.section else number


def stretches(bar: WrittenBar, *, room: int) -> Iterator[Stretch]:
    """The bar in one piece if it is at most ``room`` columns wide, else cut at its beats."""
    yield from _cut(bar, bar.start, bar.end, room)


def _cut(bar: WrittenBar, start: Beat, end: Beat, room: int) -> Iterator[Stretch]:
    whole = _stretch(bar, start, end)
    if whole.width <= room:
        yield whole
        return
    inside = [beat for beat, _ in _beats(bar, start, end) if start < beat < end]
    if not inside:
        yield _squeeze(whole)
        return
    middle = min(inside, key=lambda beat: abs(beat - (start + end) / 2))
    yield from _cut(bar, start, middle, room)
    yield from _cut(bar, middle, end, room)


def _stretch(bar: WrittenBar, start: Beat, end: Beat) -> Stretch:
    """Bar or part with the smallest even spacing in which nothing touches."""
    notes = tuple(note for note in bar.notes if start <= note.onset < end)
    counts = tuple(_counts(bar, start, end, {note.onset for note in notes}))
    needs = _needs(bar, notes, counts, start, end)
    moments = sorted({onset for onset, _, _ in needs} | {end})
    unit = _common_unit([moment - start for moment in moments])
    step = 1
    for onset, after, room in needs:
        step = max(step, -(-room * unit // (after - onset)))
    return Stretch(bar, start, end, notes, counts, step / unit)


def _needs(
    bar: WrittenBar,
    notes: tuple[Placement, ...],
    counts: tuple[tuple[Beat, str], ...],
    start: Beat,
    end: Beat,
) -> list[tuple[Beat, Beat, int]]:
    """From each moment to the next of its kind, the columns that must lie between them."""
    wide = {onset: len(text) for onset, text in counts}
    for note in notes:
        wide[note.onset] = max(wide.get(note.onset, 0), len(str(note.fret)))
    label = [(start, len(short_label(bar)))] if start == bar.start else []
    needs = []
    for kind in (sorted(wide.items()), label):
        for (onset, width), (after, _) in pairwise([*kind, (end, 0)]):
            # The gap also takes the sign of a slur: 0h1.
            needs.append((onset, after, width if after == end else width + 1))
    return needs


def _common_unit(moments: list[Beat]) -> Beat:
    """The longest time that divides all moments."""
    bottom = lcm(*(moment.denominator for moment in moments))
    top = gcd(*(int(moment * bottom) for moment in moments))
    return Beat(top or 1, bottom)


def _squeeze(stretch: Stretch) -> Stretch:
    """One beat that is wider than a line: moments side by side, without proportion."""
    column = _AIR
    columns = []
    notes = {note.onset: note for note in stretch.notes}
    for onset in sorted({*notes, *(beat for beat, _ in stretch.counts), stretch.start}):
        columns.append((onset, column))
        wide = [len(str(n.fret)) for n in stretch.notes if n.onset == onset]
        column += max(wide, default=1) + 1
    columns.append((stretch.end, column))
    return Stretch(
        stretch.bar,
        stretch.start,
        stretch.end,
        stretch.notes,
        stretch.counts,
        stretch.per_quarter,
        tuple(columns),
    )


def _beats(bar: WrittenBar, start: Beat, end: Beat) -> Iterator[tuple[Beat, int]]:
    """The counted beats of the meter in ``[start, end)`` with their numbers from 1."""
    unit = Beat(4, bar.bar.denominator)
    origin = bar.start - bar.missing
    number = 1
    while (beat := origin + (number - 1) * unit) < end:
        if beat >= start:
            yield beat, number
        number += 1


def _counts(
    bar: WrittenBar, start: Beat, end: Beat, onsets: set[Beat]
) -> Iterator[tuple[Beat, str]]:
    """What is counted: numbers on the beats, and the syllables that the notes ask for."""
    unit = Beat(4, bar.bar.denominator)
    inside: dict[int, set[Beat]] = defaultdict(set)
    for onset in onsets:
        whole, share = divmod((onset - bar.start + bar.missing) / unit, 1)
        inside[whole + 1].add(share)
    for beat, number in _beats(bar, start, end):
        for share, syllable in _syllables(inside[number], compound=bar.compound):
            moment = beat + share * unit
            if start <= moment < end:
                yield moment, syllable or str(number)


def _syllables(inside: set[Beat], *, compound: bool) -> tuple[tuple[Beat, str], ...]:
    thirds = inside & {Beat(1, 3), Beat(2, 3)}
    if thirds:
        return _THIRDS + (_HALVES[1:] if Beat(1, 2) in inside else ())
    if inside & {Beat(1, 4), Beat(3, 4)}:
        return _QUARTERS
    return _HALVES[:1] if compound and Beat(1, 2) not in inside else _HALVES
