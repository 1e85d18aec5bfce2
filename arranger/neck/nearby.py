"""What lies around an onset on the page: the notes to come, and the lines that go on.

A guitarist looks ahead before choosing where the hand stands: a position that has the notes of
the next beats under its fingers is kept, and a line stays on its string or crosses to the next.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache

import numpy as np

from arranger.music.written_note import WrittenNote
from arranger.neck.habits import (
    LEAST_FROM,
    LEAST_TO,
    MISSED,
    POSITIONS,
    WINDOWS,
    Places,
    places,
)
from arranger.neck.presses import Codes

FINGERS_SPAN = 3
"""Frets from the first finger to the fourth, each on its own."""


class Nearby:
    """Looks ahead on a neck with these open strings (MIDI numbers, ``capo`` not counted)."""

    def __init__(self, tuning: Sequence[int], capo: int) -> None:
        self._tuning = tuning
        self._capo = capo
        self._lies: dict[int, Codes] = {}

    def suits(self, notes: Sequence[WrittenNote], struck: Sequence[int]) -> tuple[Places, ...]:
        """For each window, (2, positions) places of how a position suits what is near by."""
        pitches = [notes[index].midi - self._capo for index in struck]
        missed = np.zeros(POSITIONS, dtype=np.int32)
        for midi in pitches:
            missed += self.outside(midi)
        onsets, index, onset = 0, struck[-1] + 1, notes[struck[0]].onset
        found = []
        for window, ahead in enumerate(WINDOWS):
            while index < len(notes):
                onsets += notes[index].onset != onset
                if onsets > ahead:
                    onsets -= 1
                    break
                onset = notes[index].onset
                missed += self.outside(notes[index].midi - self._capo)
                index += 1
            found.append(_suits(window, missed))
        return tuple(found)

    def outside(self, midi: int) -> Codes:
        """(positions,) 1 where no string has the pitch open or under a finger's own fret."""
        if midi not in self._lies:
            position = np.arange(POSITIONS)
            inside = np.zeros(POSITIONS, dtype=np.bool_)
            for opened in self._tuning:
                fret = midi - opened
                inside |= (fret == 0) | ((position <= fret) & (fret <= position + FINGERS_SPAN))
            self._lies[midi] = (~inside).astype(np.int32)
        return self._lies[midi]


def _suits(window: int, missed: Codes) -> Places:
    """Places of what a position misses, and of how far it is from the best of the lowest."""
    cover, least = _planes(window)
    return np.stack([cover[np.minimum(missed, MISSED)], least[missed[1:].argmin() + 1]])


@cache
def _planes(window: int) -> tuple[Places, Places]:
    """Places by notes missed, and (positions, positions) by the best position and another."""
    stand = np.arange(POSITIONS, dtype=np.int32)
    away = np.clip(stand[None, :] - stand[:, None], -LEAST_FROM, LEAST_TO) + LEAST_FROM
    missed = np.arange(MISSED + 1, dtype=np.int32)
    return (
        places("cover", np.full_like(missed, window), missed),
        places("least", np.full_like(away, window), away),
    )


def line_columns(
    notes: Sequence[WrittenNote], before: Sequence[int], struck: Sequence[int]
) -> Iterator[tuple[int, int]]:
    """Column of a note struck, and the column ``before`` of the note that its line comes from:
    the last of its voice, and of several the one in its place from the top or the lowest.
    """
    for voice in sorted({notes[index].voice for index in struck}):
        here = [column for column, index in enumerate(struck) if notes[index].voice == voice]
        known = [column for column, index in enumerate(before) if notes[index].voice == voice]
        if not known:
            continue
        latest = max(notes[before[column]].onset for column in known)
        known = [column for column in known if notes[before[column]].onset == latest]
        here.sort(key=lambda column: -notes[struck[column]].midi)
        known.sort(key=lambda column: -notes[before[column]].midi)
        for place, column in enumerate(here):
            lowest = place > 0 and place == len(here) - 1
            yield column, known[-1 if lowest else min(place, len(known) - 1)]
