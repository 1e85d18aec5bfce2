"""Positions of the fretting hand, as roman numerals over the staff where they change."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from arranger.music.arrangement import Placement
from arranger.music.time import Beat
from arranger.tables.engraving import engraving


@dataclass(frozen=True, slots=True, kw_only=True)
class PositionMark:
    """From ``onset`` on the first finger belongs at ``fret``."""

    onset: Beat
    fret: int


def position_marks(notes: Sequence[Placement]) -> tuple[PositionMark, ...]:
    """Where the hand moves along the neck; nothing where it stays in first position.

    The hand stays as long as one place for the first finger lets every finger stand on its
    own fret or beside it; where none does, a new position begins.
    """
    marks = []
    at = 1
    for onset, fret in _stays(notes):
        if fret != at:
            marks.append(PositionMark(onset=onset, fret=fret))
        at = fret
    return tuple(marks)


def _stays(notes: Sequence[Placement]) -> Iterator[tuple[Beat, int]]:
    """Longest stays from left to right: when they begin and where the first finger is."""
    stay: list[Placement] = []
    low, high = 1, 99
    ease = engraving().hands.ease
    for note in notes:
        if note.left not in "1234":
            continue
        own = note.fret - int(note.left) + 1
        # First position reaches down: at fret 1 the hand cannot lie lower.
        lowest, highest = max(1, own - ease), max(1, own + ease)
        if stay and (lowest > high or highest < low):
            yield stay[0].onset, _place(stay, low, high)
            stay, low, high = [], 1, 99
        stay.append(note)
        low, high = max(low, lowest), min(high, highest)
    if stay:
        yield stay[0].onset, _place(stay, low, high)


def _place(stay: Sequence[Placement], low: int, high: int) -> int:
    """Of the places possible, the one in which most fingers stand on their own fret."""
    own = [note.fret - int(note.left) + 1 for note in stay]
    return max(range(low, high + 1), key=lambda fret: (own.count(fret), -fret))
