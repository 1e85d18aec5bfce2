"""Barres as they are marked: ``CIII`` for a full one, ``½CIII`` for part of the strings."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from arranger.music.arrangement import Arrangement, Placement, Shape
from arranger.music.time import Beat
from arranger.tables.engraving import engraving

_ROMAN = ((10, "X"), (9, "IX"), (5, "V"), (4, "IV"), (1, "I"))


def roman(number: int) -> str:
    """``4`` is ``IV``: fret numbers over a staff are written so."""
    text = ""
    for value, numeral in _ROMAN:
        while number >= value:
            text += numeral
            number -= value
    return text


def barre_text(fret: int, strings: int) -> str:
    """``CIII`` across five or six strings, ``½CIII`` across fewer."""
    return f"{'' if strings >= engraving().hands.full_barre else '½'}C{roman(fret)}"


@dataclass(frozen=True, slots=True, kw_only=True)
class BarreMark:
    """The first finger lies across ``strings`` strings at ``fret`` during ``[start, end)``."""

    start: Beat
    end: Beat
    fret: int
    strings: int

    @property
    def text(self) -> str:
        return barre_text(self.fret, self.strings)


def barre_columns(shape: Shape) -> tuple[int, ...]:
    """Which entries of a shape (0 is string 6) the first finger's barre presses."""
    return tuple(
        index
        for index, (fret, finger) in enumerate(zip(shape.frets, shape.fingers, strict=True))
        if shape.barre is not None and finger == "1" and fret == shape.barre
    )


def barre_span(shape: Shape) -> int:
    """How many neighbouring strings the barre of a shape covers; 0 when it has none."""
    lying = barre_columns(shape)
    return lying[-1] - lying[0] + 1 if lying else 0


def barre_marks(arrangement: Arrangement) -> tuple[BarreMark, ...]:
    """Where the first finger lies across two strings or more, in order of time.

    Either it holds two notes at once, or it comes back to its fret on another string while
    the chord shape that stands over the bar has a barre there. It cannot lie where a string
    under it sounds behind its fret: there it is set on its tip, and lies down after.
    """
    marks = []
    timed = _Timed(arrangement.notes)
    for group, shape in _groups(arrangement):
        whole = _Stay(tuple(group), group[0].onset, max(note.end for note in group))
        for stay in _lying(whole, timed):
            marks.append(
                BarreMark(
                    start=stay.start,
                    end=stay.end,
                    fret=group[0].fret,
                    strings=max(stay.span, barre_span(shape) if shape else 0),
                )
            )
    return tuple(marks)


@dataclass(frozen=True, slots=True)
class _Stay:
    """The first finger at one fret from ``start`` to ``end``, with the notes it holds."""

    notes: tuple[Placement, ...]
    start: Beat
    end: Beat

    @property
    def span(self) -> int:
        """How many neighbouring strings its notes cover."""
        strings = [note.string for note in self.notes]
        return max(strings) - min(strings) + 1

    def part(self, start: Beat, end: Beat) -> _Stay:
        """What of it lies in ``[start, end)``."""
        inside = (note for note in self.notes if note.onset < end and start < note.end)
        return _Stay(tuple(inside), start, end)


class _Timed:
    """Notes in order of time, so that those of a moment need no look at all the others."""

    def __init__(self, notes: Sequence[Placement]) -> None:
        self._notes = notes
        self._onsets = [note.onset for note in notes]
        self._longest = max((note.length for note in notes), default=Beat(0))

    def during(self, start: Beat, end: Beat) -> Iterator[Placement]:
        """Notes that sound in ``[start, end)``."""
        first = bisect_left(self._onsets, start - self._longest)
        for note in self._notes[first : bisect_left(self._onsets, end)]:
            if start < note.end:
                yield note


def _lying(stay: _Stay, notes: _Timed) -> Iterator[_Stay]:
    """The parts of a stay in which the finger lies across strings."""
    if not stay.notes or stay.span < 2:
        return
    strings = [note.string for note in stay.notes]
    behind = [
        note
        for note in notes.during(stay.start, stay.end)
        if note.fret < stay.notes[0].fret and min(strings) <= note.string <= max(strings)
    ]
    if not behind:
        yield stay
        return
    start = stay.start
    for note in behind:
        if start < note.onset:
            yield from _lying(stay.part(start, note.onset), notes)
        start = max(start, note.end)
    if start < stay.end:
        yield from _lying(stay.part(start, stay.end), notes)


def _groups(arrangement: Arrangement) -> Iterator[tuple[list[Placement], Shape | None]]:
    """First-finger notes in runs during which the finger need not leave its fret."""
    changes = [mark.onset for mark in arrangement.chords]
    group: list[Placement] = []
    place = -1
    for note in arrangement.notes:
        if note.left != "1":
            continue
        here = bisect_right(changes, note.onset) - 1
        shape = _barre_shape(arrangement, here, note.fret)
        overlaps = any(note.onset < earlier.end for earlier in group)
        holds = overlaps or (shape is not None and here == place)
        if group and not (holds and note.fret == group[0].fret):
            yield group, _barre_shape(arrangement, place, group[0].fret)
            group = []
        group.append(note)
        place = here
    if group:
        yield group, _barre_shape(arrangement, place, group[0].fret)


def _barre_shape(arrangement: Arrangement, mark: int, fret: int) -> Shape | None:
    """The shape of chord mark ``mark`` if it has a barre at ``fret``."""
    index = arrangement.chords[mark].shape if mark >= 0 else None
    shape = None if index is None else arrangement.shapes[index]
    return shape if shape is not None and shape.barre == fret else None
