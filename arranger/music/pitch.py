"""Pitches as MIDI numbers and pitch classes, and their names."""

from __future__ import annotations

SHARP_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
FLAT_NAMES = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
_LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def pitch_class(name: str) -> int:
    """The pitch class 0..11 (C = 0) of a note name such as ``F#`` or ``Bb``.

    Raises
    ------
    ValueError : the text is not a note name.
    """
    text = name.strip().replace("♯", "#").replace("♭", "b")
    if not text or text[0].upper() not in _LETTERS or text[1:].strip("#b"):
        raise ValueError(f"'{name}' is not a note name such as C, F# or Bb")
    return (_LETTERS[text[0].upper()] + text.count("#", 1) - text.count("b", 1)) % 12


def note_name(midi: int, *, flats: bool = False, octave: bool = True) -> str:
    """The name of a MIDI note in scientific pitch notation (60 = C4)."""
    name = (FLAT_NAMES if flats else SHARP_NAMES)[midi % 12]
    return f"{name}{midi // 12 - 1}" if octave else name
