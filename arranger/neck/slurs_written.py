"""The slurs of a page: notes that it asks the left hand to sound from the note before.

A note is hammered on by a higher finger in a higher fret, pulled off to a lower finger or the
open string, or reached by a finger that slides; all of it on one string. Common practice, no
source.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from arranger.music.arrangement import Slur
from arranger.music.time import Beat
from arranger.music.written_note import WrittenNote
from arranger.neck.presses import FINGER, FRET, FRETTED, RELEASED, STRING, THUMB, Codes, Flags
from arranger.tables import Level, Player
from arranger.tables.habits import left_habits


@dataclass(frozen=True, slots=True)
class AskedSlur:
    """The page wants a note to go on from note ``origin``."""

    origin: int
    how: Literal["slur", "slide"]


def asked_slurs(notes: Sequence[WrittenNote]) -> dict[int, AskedSlur]:
    """By note: the slur that leads to it, from a note that ends where it begins.

    Of several such notes it is one of the same voice, then the nearest in pitch.
    """
    ending: dict[Beat, list[int]] = defaultdict(list)
    for index, note in enumerate(notes):
        ending[note.end].append(index)
    found = {}
    for index, note in enumerate(notes):
        before = [at for at in ending[note.onset] if notes[at].midi != note.midi]
        if note.slur is not None and before:

            def away(at: int, note: WrittenNote = note) -> tuple[bool, int]:
                return notes[at].voice != note.voice, abs(notes[at].midi - note.midi)

            found[index] = AskedSlur(min(before, key=away), note.slur)
    return found


def sounded(was: Codes, now: Codes, how: Literal["slur", "slide"]) -> Flags:
    """(presses before, presses after) whether the left hand alone gets from one to another."""
    before, after = was[:, None], now[None, :]
    frets = FRET[after] - FRET[before]
    string = (STRING[before] == STRING[after]) & (before != RELEASED) & (after != RELEASED)
    if how == "slide":
        both = FRETTED[before] & FRETTED[after] & (FINGER[before] == FINGER[after])
        return np.asarray(string & both & (frets != 0))
    fingers = FINGER[after] - FINGER[before]
    near = np.abs(frets) <= left_habits().slur_frets
    near |= ~FRETTED[before] | ~FRETTED[after]
    own = (FINGER[before] != THUMB) & (FINGER[after] != THUMB)
    return np.asarray(string & near & own & (frets * fingers > 0))


def slur_scores(
    was: tuple[Codes, Mapping[int, int]],
    here: tuple[Codes, Mapping[int, int]],
    asked: Mapping[int, AskedSlur],
) -> NDArray[np.float32]:
    """(grips before, grips here) what the slurs that a move keeps are worth.

    ``was`` and ``here`` are the grips, and in which of their columns a note is.
    """
    (before, places), (after, struck) = was, here
    total = np.zeros((len(before), len(after)), dtype=np.float32)
    for note, column in struck.items():
        slur = asked.get(note)
        if slur is not None and slur.origin in places:
            kept = sounded(before[:, places[slur.origin]], after[:, column], slur.how)
            total += np.float32(left_habits().slur) * kept
    return total


def played_slur(was: int, now: int, how: Literal["slur", "slide"]) -> Slur | None:
    """How the left hand gets from one press to the other as asked; None: it cannot."""
    if not sounded(np.array([was]), np.array([now]), how)[0, 0]:
        return None
    if how == "slide":
        return "slide"
    return "hammer-on" if FRET[now] > FRET[was] else "pull-off"


def knows(how: Slur, *, alone: bool, level: Level, player: Player) -> bool:
    """Whether the player sounds a note so; ``alone``: nothing is plucked with it."""
    if not level.slurs or (how == "slide" and "slides" not in player.techniques):
        return False
    return alone or "hammer-on under thumb" in player.techniques
