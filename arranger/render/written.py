"""The arrangement as it is written down: the same notes, in the note values of the page.

A rag in 2/4 with sixteenths is read more easily in 4/4 with eighths. Everything that draws
works on written time; only this file knows of ``written_scale``.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import lcm

from arranger.music.arrangement import (
    ArrangedBar,
    Arrangement,
    ChordMark,
    Placement,
    in_bars,
)
from arranger.music.once import once
from arranger.music.time import Beat

_WHOLE = Beat(4)


@once
def in_written_time(arrangement: Arrangement) -> Arrangement:
    """The arrangement with every time in written quarters, and ``written_scale`` 1.

    Tempos become written quarters a minute; meters are rewritten (2/4 by 2 gives 4/4,
    3/8 by 2 gives 3/4).
    """
    scale = arrangement.written_scale
    if scale == 1:
        return arrangement
    return replace(
        arrangement,
        written_scale=1,
        target_tempo=arrangement.target_tempo * scale,
        student_tempo=arrangement.student_tempo * scale,
        bars=tuple(_scaled_bar(bar, scale) for bar in arrangement.bars),
        chords=tuple(replace(mark, onset=mark.onset * scale) for mark in arrangement.chords),
        notes=tuple(
            replace(note, onset=note.onset * scale, length=note.length * scale)
            for note in arrangement.notes
        ),
        dropped=tuple(replace(lost, onset=lost.onset * scale) for lost in arrangement.dropped),
    )


def _scaled_bar(bar: ArrangedBar, scale: int) -> ArrangedBar:
    whole = bar.denominator % scale == 0 and bar.denominator // scale >= 4
    return replace(
        bar,
        start=bar.start * scale,
        length=bar.length * scale,
        beat=bar.beat * scale,
        numerator=bar.numerator if whole else bar.numerator * scale,
        denominator=bar.denominator // scale if whole else bar.denominator,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenBar:
    """A bar with what stands in it, in written quarters.

    ``missing`` is how much of the meter is absent before the first note of a pick-up (or of
    the second half of a bar cut by a repeat). ``marks`` are the chords that change here.
    """

    bar: ArrangedBar
    missing: Beat
    notes: tuple[Placement, ...]
    marks: tuple[ChordMark, ...]

    @property
    def start(self) -> Beat:
        return self.bar.start

    @property
    def end(self) -> Beat:
        return self.bar.end

    @property
    def number(self) -> int:
        return self.bar.bar

    @property
    def full(self) -> Beat:
        """What the meter says the bar should last."""
        return full_length(self.bar)

    @property
    def compound(self) -> bool:
        """Whether the bar is counted in threes of eighths: 6/8, 9/8, 12/8 (and 3/8)."""
        return self.bar.denominator >= 8 and self.bar.numerator % 3 == 0

    @property
    def pulse(self) -> Beat:
        """The beat of the meter: a quarter in 4/4, a dotted quarter in 6/8."""
        unit = _WHOLE / self.bar.denominator
        return 3 * unit if self.compound else unit


def full_length(bar: ArrangedBar) -> Beat:
    """The length of a complete bar of this meter, in quarters."""
    return _WHOLE * bar.numerator / bar.denominator


@once
def written_bars(arrangement: Arrangement) -> tuple[WrittenBar, ...]:
    """The bars of an arrangement in written time, each with its notes and chord changes."""
    marks = _changes(arrangement.chords)
    notes_in = in_bars([note.onset for note in arrangement.notes], arrangement.bars)
    marks_in = in_bars([mark.onset for mark in marks], arrangement.bars)
    places = zip(arrangement.bars, notes_in, marks_in, strict=True)
    return tuple(
        WrittenBar(
            bar=bar,
            missing=_missing(arrangement.bars, index),
            notes=arrangement.notes[notes],
            marks=marks[changes],
        )
        for index, (bar, notes, changes) in enumerate(places)
    )


def _changes(marks: Sequence[ChordMark]) -> tuple[ChordMark, ...]:
    """The marks whose name or shape differs from the one before."""
    changes: list[ChordMark] = []
    for mark in marks:
        before = changes[-1] if changes else None
        if before is None or (mark.name, mark.shape) != (before.name, before.shape):
            changes.append(mark)
    return tuple(changes)


def _missing(bars: Sequence[ArrangedBar], index: int) -> Beat:
    """Quarters of the meter that are absent before the bar begins.

    A first bar that is short is a pick-up and ends with its bar line. A short bar that
    completes the short bar before it goes on counting where that one stopped.
    """
    bar = bars[index]
    lack = full_length(bar) - bar.length
    if lack <= 0:
        return Beat(0)
    if index == 0:
        return lack
    before = bars[index - 1]
    completes = before.length < full_length(before) and before.length == lack
    return before.length if completes and index > 1 else Beat(0)


_GRID = 48
"""Parts of a quarter that sixteenth triplets and 64ths share: the grid of last resort."""
_FINEST = 32
_ODDEST = 15


@once
def in_notatable_time(written: Arrangement) -> Arrangement:
    """The arrangement with what no note values can say moved to 1/48 of a quarter.

    Only the drawing needs this, and only where a file mixes divisions beyond 15ths or is finer
    than 128ths within one bar; everything that ``read`` puts on its grid stays as it is.
    """
    odd = [not _is_notatable(bar) for bar in written_bars(written)]
    if not any(odd):
        return written
    starts = [bar.start for bar in written.bars]

    def drawn(time: Beat) -> Beat:
        if not odd[max(0, bisect_right(starts, time) - 1)]:
            return time
        return Beat(round(time * _GRID), _GRID)

    notes = []
    for note in written.notes:
        onset, end = drawn(note.onset), drawn(note.end)
        length = max(end - onset, Beat(1, _GRID))
        notes.append(replace(note, onset=onset, length=length))
    notes.sort(key=lambda note: (note.onset, -note.string))
    chords = tuple(replace(mark, onset=drawn(mark.onset)) for mark in written.chords)
    return replace(written, notes=tuple(notes), chords=chords)


def _is_notatable(bar: WrittenBar) -> bool:
    times = [bar.missing, bar.bar.length]
    times += [time - bar.start for note in bar.notes for time in (note.onset, note.end)]
    common = lcm(*(time.denominator for time in times))
    halvings = common & -common
    return halvings <= _FINEST and common // halvings <= _ODDEST


def thumb_beat(arrangement: Arrangement) -> Beat:
    """The beat the thumb plays on in most bars, in quarters."""
    return Counter(bar.beat for bar in arrangement.bars).most_common(1)[0][0]
