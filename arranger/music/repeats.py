"""Repeats: which bars of an arrangement are printed, and which come again by a repeat sign.

The arrangement holds the piece as played. A sheet is shorter with repeat signs, and shows the
form; but it may only fold what is the same to the last finger. Whatever speaks of bars to a
student has to speak of those that are printed, so all of it asks here.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from arranger.music.arrangement import Arrangement, ChordMark, Placement, in_bars
from arranger.music.once import once
from arranger.music.time import Beat

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


@once
def repeats(arrangement: Arrangement) -> tuple[Repeat, ...]:
    """Neighbouring sections of one letter and length that differ in their endings at most.

    How long the thumb's notes are held makes no difference: the page writes them as they ring.
    """
    return tuple(_repeats(arrangement))


def printed_bars(count: int, found: Iterable[Repeat]) -> tuple[int, ...]:
    """For each of ``count`` bars as played the index of the bar that is printed for it."""
    printed = list(range(count))
    for repeat in found:
        for bar in range(repeat.first, repeat.first + repeat.length - repeat.ending):
            printed[bar + repeat.length] = bar
    return tuple(printed)


def ending_of(found: Iterable[Repeat]) -> Mapping[int, int]:
    """The number of the ending, 1 or 2, that a bar as played (an index) belongs to."""
    endings = {}
    for repeat in found:
        after = repeat.first + repeat.length
        for step in range(1, repeat.ending + 1):
            endings[after - step] = 1
            endings[after + repeat.length - step] = 2
    return endings


@once
def printed_numbers(arrangement: Arrangement) -> Mapping[int, int]:
    """For the number of each bar as played the number under which it is printed."""
    bars = arrangement.bars
    places = printed_bars(len(bars), repeats(arrangement))
    return MappingProxyType(
        {bar.bar: bars[place].bar for bar, place in zip(bars, places, strict=True)}
    )


def slur_origins(notes: Sequence[Placement]) -> dict[int, int]:
    """For each slurred note (index) the note before it on its string (index).

    A slurred note that is the first on its string has nothing to come from and is left out.
    """
    last: dict[int, int] = {}
    origins = {}
    for index, note in enumerate(notes):
        if note.slur is not None and note.string in last:
            origins[index] = last[note.string]
        last[note.string] = index
    return origins


def _repeats(arrangement: Arrangement) -> Iterator[Repeat]:
    bars = arrangement.bars
    sections = [index for index, bar in enumerate(bars) if bar.section]
    sections.append(len(bars))
    signs = _Signs(arrangement)
    place = 0
    while place + 2 < len(sections):
        first, middle, end = sections[place : place + 3]
        full = Beat(4 * bars[first].numerator, bars[first].denominator)
        if bars[first].length < full and first == 0:
            first += 1
        same = bars[sections[place]].section == bars[middle].section
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

    def __init__(self, arrangement: Arrangement) -> None:
        self._notes = arrangement.notes
        self._chords = sorted(arrangement.chords, key=lambda mark: mark.onset)
        self._starts = [bar.start for bar in arrangement.bars]
        self._inside = tuple(in_bars([note.onset for note in self._notes], arrangement.bars))
        self._seen = [self._bar(arrangement, index) for index in range(len(self._starts))]
        crossed = set(self._sounding_over())
        for to, origin in slur_origins(self._notes).items():
            if self._notes[to].bar != self._notes[origin].bar:
                crossed.add(bisect_right(self._starts, self._notes[to].onset) - 1)
        self._crossed = crossed

    def _sounding_over(self) -> Iterator[int]:
        """The bars at whose beginning a note of an earlier bar sounds on."""
        for index, inside in enumerate(self._inside):
            for note in self._notes[inside]:
                end = note.end
                for bar in range(index + 1, len(self._starts)):
                    if self._starts[bar] >= end:
                        break
                    yield bar

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

    def _bar(self, arrangement: Arrangement, index: int) -> tuple[object, ...]:
        bar = arrangement.bars[index]
        notes = tuple(_played(note, bar.start) for note in self._notes[self._inside[index]])
        meter = (bar.length, bar.numerator, bar.denominator, bar.slows)
        return (*meter, notes, *self._names(bar.start, bar.end))

    def _names(self, start: Beat, end: Beat) -> Iterator[object]:
        """The chord that stands over the beginning of a bar, and those that come in it."""
        place = bisect_right(self._chords, start, key=lambda mark: mark.onset)
        said = _said(self._chords[place - 1]) if place else None
        yield said
        for mark in self._chords[place:]:
            if mark.onset >= end:
                return
            if _said(mark) != said:
                said = _said(mark)
                yield mark.onset - start, *said


def _said(mark: ChordMark) -> tuple[str, bool]:
    """What a name says to a player: the chord, and whether its shape is held."""
    return mark.name, mark.shape is not None


def _played(note: Placement, start: Beat) -> tuple[object, ...]:
    """What is seen on the page of a note: of the thumb's not how long it is held."""
    held = None if note.right == "p" and note.slur is None else note.length
    hands = (note.string, note.fret, note.left, note.right)
    return (note.onset - start, held, *hands, note.voice, note.slur)
