"""The chord shapes of the trade, as a guitarist writes them (low to high string)."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import cache

from pydantic import Field

from arranger.music.chord import QUALITIES, Chord
from arranger.music.pitch import pitch_class
from arranger.tables.hand import Hand
from arranger.tables.loader import Table, load


class ShapeLine(Table):
    """A line of shapes.toml. ``grade``: 1 first weeks, 2 first year, 3 later.

    ``colour`` names tones that sound beside those of the chord.
    """

    chord: str
    frets: str = Field(pattern=r"^[x0-9]{6}$")
    fingers: str = Field(pattern=r"^[x0-4T]{6}$")
    grade: int = Field(ge=1, le=3)
    movable: bool = False
    colour: tuple[str, ...] = ()


class Shown(Table):
    """When a shape is shown to a student; see shapes.toml."""

    strings: int = Field(ge=1, le=6)
    share: float = Field(ge=0, le=1)


class ShapeTable(Table):
    shown: Shown
    shape: tuple[ShapeLine, ...]


@dataclass(frozen=True, slots=True)
class ChordShape:
    """A shape on the neck. ``frets`` and ``fingers`` run from string 6 to string 1.

    ``fingers`` holds "1".."4" or "T" on fretted strings, None elsewhere; ``barre`` is
    the fret of a barre by the first finger, or None.
    """

    root: int
    quality: str
    frets: tuple[int | None, ...]
    fingers: tuple[str | None, ...]
    grade: int

    @property
    def barre(self) -> int | None:
        ones = [
            fret for fret, finger in zip(self.frets, self.fingers, strict=True) if finger == "1"
        ]
        return ones[0] if len(ones) > 1 else None

    @property
    def barre_strings(self) -> int:
        """How many strings the first finger spans; 0 without a barre."""
        strings = [place for place, finger in enumerate(self.fingers) if finger == "1"]
        return strings[-1] - strings[0] + 1 if len(strings) > 1 else 0

    @property
    def uses_thumb(self) -> bool:
        return "T" in self.fingers

    @property
    def small_barre(self) -> bool:
        """Whether a finger other than the first lies on more than one string."""
        return any(self.fingers.count(finger) > 1 for finger in ("2", "3", "4"))

    @property
    def highest_fret(self) -> int:
        return max((fret for fret in self.frets if fret is not None), default=0)

    def moved(self, frets: int) -> ChordShape:
        """The same shape ``frets`` further up; the chord rises as many semitones."""
        return replace(
            self,
            root=(self.root + frets) % 12,
            frets=tuple(None if fret is None else fret + frets for fret in self.frets),
        )


def chord_shape(name: str, frets: str, fingers: str, grade: int) -> ChordShape:
    """A shape from the trade's shorthand: ``chord_shape("C", "x32010", "x32010", 1)``.

    Raises
    ------
    ValueError : the name is not a chord, or fingers and frets contradict each other.
    """
    found = re.fullmatch(r"([A-G][#b]?)(.*)", name)
    if not found or found[2] not in QUALITIES:
        raise ValueError(f"'{name}' is not a chord name")
    marks = tuple(None if mark == "x" else int(mark) for mark in frets)
    hand = tuple(None if mark in "x0" else mark for mark in fingers)
    for fret, finger in zip(marks, hand, strict=True):
        if (finger is not None) != bool(fret):
            raise ValueError(f"{name} {frets}: fingers {fingers} do not fit the frets")
    return ChordShape(pitch_class(found[1]), found[2], marks, hand, grade)


def shown_table() -> Shown:
    return load("shapes", ShapeTable).shown


@cache
def shape_book(highest_fret: int = 12) -> tuple[ChordShape, ...]:
    """Every shape of the table, the movable ones at every fret up to ``highest_fret``."""
    book: dict[ChordShape, None] = {}
    for line in load("shapes", ShapeTable).shape:
        shape = chord_shape(line.chord, line.frets, line.fingers, line.grade)
        if not line.movable:
            book[shape] = None
            continue
        lowest = min(fret for fret in shape.frets if fret is not None)
        thumb = (
            load("hand", Hand).thumb_fret_most - lowest if shape.uses_thumb else highest_fret
        )
        for frets in range(1 - lowest, min(thumb, highest_fret - shape.highest_fret) + 1):
            book[shape.moved(frets)] = None
    return tuple(book)


# Chords a shape of another quality may stand for: the plainer chord leaves out a
# colour, it never changes the third. Common practice, no source.
_PLAINER: dict[str, tuple[str, ...]] = {
    "7": ("",),
    "maj7": ("",),
    "6": ("",),
    "9": ("7", ""),
    "m7": ("m",),
    "m6": ("m",),
    "7sus4": ("sus4",),
    "m7b5": ("dim",),
    "dim": ("dim7",),
    "": (),
}


def shapes_for(chord: Chord, highest_fret: int = 12) -> tuple[tuple[ChordShape, int], ...]:
    """Shapes that may be held for ``chord``, each with how many steps plainer it is.

    A diminished seventh chord has four roots: any of its shapes serves all of them.
    """
    wanted = {chord.quality: 0}
    for step, quality in enumerate(_PLAINER.get(chord.quality, ()), start=1):
        wanted[quality] = step
    found = []
    for shape in shape_book(highest_fret):
        if shape.quality not in wanted:
            continue
        if shape.quality == "dim7":
            same = (shape.root - chord.root) % 3 == 0
        else:
            same = shape.root == chord.root
        if same:
            found.append((shape, wanted[shape.quality]))
    return tuple(found)
