"""Fingers that stay where they stood when their note has ended.

In a broken chord a guitarist sets down a shape and leaves it there, whatever lengths are
written; and the finger that has just played stands somewhere else than one that is free. A
finger is lifted where it is in the way of what sounds, or where the hand moves off.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from arranger.music.written_note import WrittenNote
from arranger.neck.habits import POSITIONS
from arranger.neck.presses import (
    FINGER,
    FRET,
    PRESSES,
    RELEASED,
    STRINGS,
    Codes,
    HandTables,
    under_a_barre,
)
from arranger.tables.habits import left_habits


def rest_columns(
    notes: Sequence[WrittenNote], before: Sequence[int], struck: Sequence[int], held: int
) -> list[int]:
    """Columns of the notes ``before`` (indices) that have ended when ``struck`` begin, and
    whose fingers may rest: the latest few, besides ``held`` notes that sound on.
    """
    table, onset = left_habits(), notes[struck[0]].onset
    again = {notes[index].midi for index in struck}
    ended = [
        column
        for column, note in enumerate(before)
        if notes[note].end <= onset
        and onset - notes[note].onset <= table.rest_for
        and notes[note].midi not in again
    ]
    ended.sort(key=lambda column: -notes[before[column]].onset)
    return sorted(ended[: min(table.rests, max(0, STRINGS - held - len(struck)))])


def lifted(codes: Codes, position: Codes, resting: int, hand: HandTables) -> Codes:
    """Grips without the fingers that cannot rest; those rest from column ``resting`` on."""
    codes = codes.copy()
    for column in range(resting, codes.shape[1]):
        rests = codes[:, column]
        stays = np.abs(FRET[rests] - FINGER[rests] + 1 - position) <= 1
        for other in range(resting):
            stays &= hand.fits[codes[:, other], rests]
        codes[~stays, column] = RELEASED
    rows = np.flatnonzero((codes[:, resting:] != RELEASED).any(axis=1))
    codes[rows[under_a_barre(codes[rows])], resting:] = RELEASED
    return codes


def first_of_each(codes: Codes, position: Codes | None = None) -> NDArray[np.int64]:
    """The first place of every different grip (and position), in their order."""
    place = np.zeros(len(codes), np.int64) if position is None else position.astype(np.int64)
    if codes.shape[1] > STRINGS:  # six presses and a position are all that one number holds
        rows = np.concatenate([codes, place[:, None]], axis=1)
        return np.asarray(np.unique(rows, axis=0, return_index=True)[1])
    key = np.zeros(len(codes), dtype=np.int64)
    for column in range(codes.shape[1]):
        key = key * PRESSES + codes[:, column]
    return np.asarray(np.unique(key * POSITIONS + place, return_index=True)[1])
