"""Scores from lines a musician can read, for the tests of this room."""

from __future__ import annotations

import re
from fractions import Fraction

from arranger.music.key import parse_key
from arranger.music.pitch import pitch_class
from arranger.music.score import Bar, Hand, KeyMark, Note, Score, TempoMark


def midi(name: str) -> int:
    """``C4`` is 60."""
    found = re.fullmatch(r"([A-G][#b]?)(-?\d)", name)
    if not found:
        raise ValueError(f"'{name}' is not a note")
    return pitch_class(found[1]) + 12 * (int(found[2]) + 1)


def strokes(text: str, hand: Hand) -> list[tuple[Fraction, Fraction, int, Hand]]:
    """``C4+E4:1/2 r:1 ...``: notes struck together, then their length in quarters."""
    rows = []
    at = Fraction(0)
    for word in text.replace("|", " ").split():
        names, _, length = word.partition(":")
        for name in names.split("+"):
            if name != "r":
                rows.append((at, Fraction(length), midi(name), hand))
        at += Fraction(length)
    return rows


def score_of(
    right: str,
    left: str = "",
    *,
    meter: tuple[int, int] = (4, 4),
    pickup: str = "0",
    keys: dict[str, str] | None = None,
    under: str = "",
) -> Score:
    """A score; ``under`` is a second voice of the right hand; ``keys``: onset -> key."""
    rows = strokes(right, "right") + strokes(under, "right") + strokes(left, "left")
    rows.sort(key=lambda row: (row[0], -row[2]))
    notes = tuple(
        Note(index=index, onset=onset, length=length, midi=pitch, hand=hand)
        for index, (onset, length, pitch, hand) in enumerate(rows)
    )
    length, start = Fraction(4 * meter[0], meter[1]), Fraction(0)
    end = max(note.end for note in notes)
    bars: list[Bar] = []
    if Fraction(pickup):
        bars.append(
            Bar(
                number=0,
                start=start,
                length=Fraction(pickup),
                numerator=meter[0],
                denominator=meter[1],
            )
        )
        start = Fraction(pickup)
    while start < end or not bars:
        number = bars[-1].number + 1 if bars else 1
        bars.append(
            Bar(
                number=number,
                start=start,
                length=length,
                numerator=meter[0],
                denominator=meter[1],
            )
        )
        start += length
    return Score(
        title="A test",
        composer="",
        file="test.mid",
        sha256="",
        notes=notes,
        bars=tuple(bars),
        tempos=(TempoMark(onset=Fraction(0), quarters=100.0),),
        tempo=100.0,
        tempo_stated=True,
        keys=tuple(
            KeyMark(onset=Fraction(onset), key=parse_key(name))
            for onset, name in (keys or {}).items()
        ),
    )
