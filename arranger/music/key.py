"""Keys: a tonic and a mode, with the spelling they ask for."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from arranger.music.pitch import FLAT_NAMES, SHARP_NAMES, pitch_class
from arranger.music.time import Beat

Mode = Literal["major", "minor"]

# Sharps of the major key on each pitch class (negative: flats); the circle of fifths.
_SHARPS_OF_MAJOR = (0, -5, 2, -3, 4, -1, 6, 1, -4, 3, -2, 5)


@dataclass(frozen=True, slots=True, order=True)
class Key:
    """A key: ``tonic`` is a pitch class 0..11, ``mode`` major or minor."""

    tonic: int
    mode: Mode

    @property
    def sharps(self) -> int:
        """Sharps in the key signature; negative numbers are flats (-5..6)."""
        relative = self.tonic if self.mode == "major" else (self.tonic + 3) % 12
        return _SHARPS_OF_MAJOR[relative]

    @property
    def flats(self) -> bool:
        """Whether notes of this key are spelt with flats."""
        return self.sharps < 0

    @property
    def tonic_name(self) -> str:
        return (FLAT_NAMES if self.flats else SHARP_NAMES)[self.tonic]

    @property
    def name(self) -> str:
        """``G major``, ``E minor``."""
        return f"{self.tonic_name} {self.mode}"

    @property
    def short(self) -> str:
        """``G``, ``Em``: the way a guitarist says it."""
        return self.tonic_name + ("m" if self.mode == "minor" else "")

    @property
    def scale(self) -> tuple[int, ...]:
        """Pitch classes of the scale, tonic first; minor is natural minor."""
        steps = (0, 2, 4, 5, 7, 9, 11) if self.mode == "major" else (0, 2, 3, 5, 7, 8, 10)
        return tuple((self.tonic + step) % 12 for step in steps)

    def spelt_flat(self, pitch_class: int, *, leading: bool = False) -> bool:
        """Whether a tone of this key is written with a flat rather than a sharp.

        Borrowed degrees are lowered (the sixth degree of C minor in C major is A flat);
        ``leading`` tones, such as roots of diminished chords, are raised (F sharp in C).
        """
        degree = (pitch_class - self.tonic) % 12
        if self.flats:
            return not (leading and degree in (1, 6, 8))
        if self.mode == "minor":
            return degree in (1, 10)
        return degree in (1, 3, 8, 10) and not leading

    def transposed(self, semitones: int) -> Key:
        return Key((self.tonic + semitones) % 12, self.mode)


def parse_key(text: str) -> Key:
    """A key from ``G``, ``Em``, ``Bb``, or ``F# minor``.

    Raises
    ------
    ValueError : the text is not a key.
    """
    found = re.fullmatch(r"\s*([A-Ga-g][#b♯♭]*)\s*(m|min|minor|maj|major)?\s*", text)
    if not found:
        raise ValueError(f"'{text}' is not a key such as G, Em or Bb")
    mode: Mode = "minor" if found[2] in ("m", "min", "minor") else "major"
    return Key(pitch_class(found[1]), mode)


@dataclass(frozen=True, slots=True, kw_only=True)
class KeySection:
    """A stretch ``[start, end)`` of the piece in one key."""

    start: Beat
    end: Beat
    key: Key
