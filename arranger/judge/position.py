"""Where on the neck the fretting hand is, and when it has to go elsewhere."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from arranger.judge.hearing import Hearing
from arranger.music.time import Beat

STRETCHED = 1
"""Frets that a finger lies out of its own fret while the hand stays; common practice."""
_HIGHEST = 99


@dataclass(frozen=True, slots=True)
class Shift:
    """The hand changes from one position to another, where ``onset`` is fretted."""

    onset: Beat
    before: int
    after: int


def shifts(music: Hearing) -> Iterator[Shift]:
    """The fewest shifts that explain the fingers.

    A position is the fret at which the first finger lies or would lie. A finger may stretch
    one fret out of it to either side without moving the hand; a shift comes where no one
    position explains all that was fretted since the last. Leaving a note out never makes
    one more.
    """
    lowest, highest = -STRETCHED, _HIGHEST
    for onset, finger, fret in _fretted(music):
        natural = fret - finger + 1
        low, high = natural - STRETCHED, natural + STRETCHED
        if low <= highest and high >= lowest:
            lowest, highest = max(low, lowest), min(high, highest)
            continue
        before = highest if low > highest else lowest
        yield Shift(onset, max(1, before), max(1, natural))
        lowest, highest = low, high


def _fretted(music: Hearing) -> Iterator[tuple[Beat, int, int]]:
    """Onset, finger 1 to 4, and fret of everything fretted, in order."""
    for moment in music.moments:
        for note in sorted(
            (music.notes[index] for index in moment.struck), key=lambda note: note.left
        ):
            if note.fret > 0 and note.left in "1234":
                yield moment.onset, int(note.left), note.fret
