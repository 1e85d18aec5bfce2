"""The same music under another name, in another key or at another speed."""

from __future__ import annotations

import hashlib

from arranger.music.score import Score

DIGITS = 16
"""Hexadecimal digits kept: 64 bits, no accident among a million pieces."""


def music_digest(score: Score) -> str:
    """A digest of the notes alone, alike in every key and at every speed.

    Onsets count from the first note in shares of the way to the last one, pitches from the
    lowest note; how long notes are held, and which hand plays them, does not count, for
    that is what two files of one piece tell differently.
    """
    first = score.notes[0].onset
    way = score.notes[-1].onset - first or 1
    lowest = min(note.midi for note in score.notes)
    told = sorted({((note.onset - first) / way, note.midi - lowest) for note in score.notes})
    text = ";".join(f"{onset}:{step}" for onset, step in told)
    return hashlib.sha256(text.encode("ascii")).hexdigest()[:DIGITS]
