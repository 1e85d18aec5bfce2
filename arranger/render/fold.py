"""Repeats: a section that is played twice is drawn once, with first and second endings.

The arrangement holds the piece as played. A sheet is shorter with repeat signs, and shows the
form; but it may only fold what is the same to the last finger.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from arranger.music.arrangement import Arrangement, ChordMark
from arranger.music.time import Beat
from arranger.render.slurs import slur_origins
from arranger.render.written import WrittenBar, full_length, written_bars

_MOST_ENDING = 2
_LEAST_BODY = 4
"""Bars: endings are short, and what is repeated is worth a repeat sign (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeat:
    """Bars ``first`` to ``first + length`` (indices as played) come again right after.

    The last ``ending`` bars of each pass are its own.
    """

    first: int
    length: int
    ending: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Folded:
    """What is drawn, and where what is played stands in it.

    ``drawn`` has its own, shorter time; ``note_place`` and ``bar_place`` lead from indices as
    played to indices as drawn. ``starts`` and ``ends`` are drawn bars with repeat signs;
    ``endings`` gives the number of the ending a drawn bar belongs to.
    """

    drawn: Arrangement
    note_place: tuple[int, ...]
    bar_place: tuple[int, ...]
    starts: frozenset[int]
    ends: frozenset[int]
    endings: dict[int, int]
    said: tuple[str, ...]


def folded(written: Arrangement) -> Folded:
    """The arrangement (in written time) with its repeats folded."""
    bars = written_bars(written)
    repeats = tuple(_repeats(written, bars))
    kept = _kept(len(bars), repeats)
    drawn = _drawn(written, bars, kept)
    bar_place = _bar_places(len(bars), kept, repeats)
    starts, ends, endings = set(), set(), {}
    for repeat in repeats:
        start = bar_place[repeat.first]
        starts.add(start)
        ends.add(start + repeat.length - 1)
        for step in range(repeat.ending):
            endings[start + repeat.length - repeat.ending + step] = 1
            endings[start + repeat.length + step] = 2
    return Folded(
        drawn=drawn,
        note_place=_note_places(bars, written_bars(drawn), bar_place),
        bar_place=bar_place,
        starts=frozenset(starts),
        ends=frozenset(ends),
        endings=endings,
        said=tuple(_said(repeat, bars) for repeat in repeats),
    )


def _repeats(written: Arrangement, bars: Sequence[WrittenBar]) -> Iterator[Repeat]:
    """Neighbouring sections of one letter and length that differ in their endings at most."""
    sections = [index for index, bar in enumerate(bars) if bar.bar.section]
    sections.append(len(bars))
    signs = _Signs(written, bars)
    place = 0
    while place + 2 < len(sections):
        first, middle, end = sections[place : place + 3]
        if bars[first].bar.length < full_length(bars[first].bar) and first == 0:
            first += 1
        same = bars[sections[place]].bar.section == bars[middle].bar.section
        ending = (
            signs.ending(first, middle) if same and middle - first == end - middle else None
        )
        if ending is None:
            place += 1
        else:
            yield Repeat(first=first, length=middle - first, ending=ending)
            place += 2


class _Signs:
    """What a player sees of each bar, and where nothing reaches over the bar line."""

    def __init__(self, written: Arrangement, bars: Sequence[WrittenBar]) -> None:
        self._seen = [_seen(written, bar) for bar in bars]
        notes = written.notes
        starts = [bar.start for bar in bars]
        crossed = set()
        for note in notes:
            here = bisect_right(starts, note.onset)
            crossed |= set(range(here, bisect_left(starts, note.end)))
        for to, origin in slur_origins(notes).items():
            if notes[to].bar != notes[origin].bar:
                crossed.add(bisect_right(starts, notes[to].onset) - 1)
        self._crossed = crossed

    def ending(self, first: int, middle: int) -> int | None:
        """How many bars at the end differ between the two passes; None: it is no repeat."""
        length = middle - first
        for ending in range(_MOST_ENDING + 1):
            body = length - ending
            same = self._seen[first : first + body] == self._seen[middle : middle + body]
            joints = {first, middle, middle + length}
            if ending:
                joints |= {first + body, middle + body}
            if same and body >= _LEAST_BODY and not joints & self._crossed:
                return ending
        return None


def _seen(written: Arrangement, bar: WrittenBar) -> tuple[object, ...]:
    notes = tuple(
        (n.onset - bar.start, n.length, n.string, n.fret, n.left, n.right, n.voice, n.slur)
        for n in bar.notes
    )
    inside = tuple((mark.onset - bar.start, mark.name) for mark in bar.marks)
    held = _in_force(written, bar.start)
    meter = (bar.bar.length, bar.bar.numerator, bar.bar.denominator, bar.bar.slows)
    return (*meter, notes, held.name if held else None, tuple(m for m in inside if m[0]))


def _in_force(written: Arrangement, moment: Beat) -> ChordMark | None:
    """The chord that stands over a moment."""
    place = bisect_right(written.chords, moment, key=lambda mark: mark.onset) - 1
    return written.chords[place] if place >= 0 else None


def _kept(count: int, repeats: Sequence[Repeat]) -> tuple[int, ...]:
    """The played bars that are drawn: all but the second passes up to their endings."""
    dropped = {
        bar
        for repeat in repeats
        for bar in range(
            repeat.first + repeat.length, repeat.first + 2 * repeat.length - repeat.ending
        )
    }
    return tuple(bar for bar in range(count) if bar not in dropped)


def _bar_places(count: int, kept: Sequence[int], repeats: Sequence[Repeat]) -> tuple[int, ...]:
    places = {bar: place for place, bar in enumerate(kept)}
    for repeat in repeats:
        for bar in range(repeat.first, repeat.first + repeat.length):
            places.setdefault(bar + repeat.length, places[bar])
    return tuple(places[bar] for bar in range(count))


def _drawn(
    written: Arrangement, bars: Sequence[WrittenBar], kept: Sequence[int]
) -> Arrangement:
    """The kept bars moved together, with the chord named anew where two did not touch."""
    start = Beat(0)
    new_bars, notes, chords = [], [], []
    for place, index in enumerate(kept):
        bar = bars[index]
        shift = start - bar.start
        new_bars.append(replace(bar.bar, start=start))
        notes += [replace(note, onset=note.onset + shift) for note in bar.notes]
        leaps = place > 0 and kept[place - 1] != index - 1
        held = _in_force(written, bar.start)
        if leaps and held and not any(mark.onset == bar.start for mark in bar.marks):
            chords.append(replace(held, onset=start))
        chords += [replace(mark, onset=mark.onset + shift) for mark in bar.marks]
        start += bar.bar.length
    return replace(
        written, bars=tuple(new_bars), notes=tuple(notes), chords=tuple(chords), dropped=()
    )


def _note_places(
    bars: Sequence[WrittenBar], drawn: Sequence[WrittenBar], bar_place: Sequence[int]
) -> tuple[int, ...]:
    """Notes of equal bars stand in the same order, so that places can be counted off."""
    first, count = [], 0
    for bar in drawn:
        first.append(count)
        count += len(bar.notes)
    return tuple(
        first[bar_place[index]] + step
        for index, bar in enumerate(bars)
        for step in range(len(bar.notes))
    )


def _said(repeat: Repeat, bars: Sequence[WrittenBar]) -> str:
    """``Bars 17–32 are bars 1–16 again; bar 32 is the second ending.``"""
    first, last = repeat.first, repeat.first + repeat.length - 1
    once = f"{bars[first].number}–{bars[last].number}"
    again_last = bars[last + repeat.length].number
    again = f"{bars[first + repeat.length].number}–{again_last}"
    if not repeat.ending:
        return f"Bars {again} are bars {once} again."
    begins = bars[last + repeat.length - repeat.ending + 1].number
    name = f"bar {again_last} is" if repeat.ending == 1 else f"bars {begins}–{again_last} are"
    return f"Bars {again} are bars {once} again; {name} the second ending."
