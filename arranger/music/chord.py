"""Chords: root, quality, bass; their tones and their names."""

from __future__ import annotations

from dataclasses import dataclass

from arranger.music.key import Key
from arranger.music.pitch import FLAT_NAMES, SHARP_NAMES
from arranger.music.time import Beat

# Semitones above the root, the order a guitarist counts them in: root, third (or what
# stands for it), fifth, then the colour. Common practice.
QUALITIES: dict[str, tuple[int, ...]] = {
    "": (0, 4, 7),
    "m": (0, 3, 7),
    "7": (0, 4, 7, 10),
    "m7": (0, 3, 7, 10),
    "maj7": (0, 4, 7, 11),
    "6": (0, 4, 7, 9),
    "m6": (0, 3, 7, 9),
    "dim": (0, 3, 6),
    "dim7": (0, 3, 6, 9),
    "m7b5": (0, 3, 6, 10),
    "aug": (0, 4, 8),
    "sus4": (0, 5, 7),
    "sus2": (0, 2, 7),
    "7sus4": (0, 5, 7, 10),
    "9": (0, 4, 7, 10, 2),
    "5": (0, 7),
}


@dataclass(frozen=True, slots=True, order=True)
class Chord:
    """A chord. ``root`` and ``bass`` are pitch classes; ``quality`` is a key of QUALITIES."""

    root: int
    quality: str
    bass: int

    def __post_init__(self) -> None:
        if self.quality not in QUALITIES:
            raise ValueError(f"unknown chord quality '{self.quality}'")

    @property
    def tones(self) -> tuple[int, ...]:
        """Pitch classes, root first."""
        return tuple((self.root + step) % 12 for step in QUALITIES[self.quality])

    @property
    def third(self) -> int | None:
        """Pitch class of the third; None for a chord that has none (power chord, sus)."""
        for step in (4, 3):
            if step in QUALITIES[self.quality]:
                return (self.root + step) % 12
        return None

    @property
    def fifth(self) -> int | None:
        """Pitch class of the fifth, be it perfect, diminished or augmented."""
        for step in (7, 6, 8):
            if step in QUALITIES[self.quality]:
                return (self.root + step) % 12
        return None

    def transposed(self, semitones: int) -> Chord:
        return Chord((self.root + semitones) % 12, self.quality, (self.bass + semitones) % 12)

    def name_in(self, key: Key) -> str:
        """The name as a player in ``key`` expects it: E flat, not D sharp, in G major."""
        leading = self.quality in ("dim", "dim7", "m7b5")
        flats = key.spelt_flat(self.root, leading=leading)
        names = FLAT_NAMES if flats else SHARP_NAMES
        bass = FLAT_NAMES if key.spelt_flat(self.bass) else SHARP_NAMES
        slash = "" if self.bass == self.root else f"/{bass[self.bass]}"
        return f"{names[self.root]}{self.quality}{slash}"

    def name(self, *, flats: bool = False) -> str:
        """``G7``, ``Am``, ``C/E``."""
        names = FLAT_NAMES if flats else SHARP_NAMES
        slash = "" if self.bass == self.root else f"/{names[self.bass]}"
        return f"{names[self.root]}{self.quality}{slash}"


@dataclass(frozen=True, slots=True, kw_only=True)
class ChordSpan:
    """One harmony over ``[start, end)``; ``chord`` is None where there is none to hear."""

    start: Beat
    end: Beat
    chord: Chord | None
