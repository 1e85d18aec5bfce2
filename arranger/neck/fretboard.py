"""Where notes lie on the neck, and how far apart two fretting points are."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import hypot
from typing import NamedTuple

from arranger.tables import Player, instrument


@cache
def fret_mm(fret: int, scale_length: float) -> float:
    """Distance of a fret from the nut in mm: L·(1 − 2^(−n/12)) (equal temperament)."""
    return float(scale_length * (1.0 - 2.0 ** (-fret / 12.0)))


class Spot(NamedTuple):
    """A place on the neck: ``string`` 1..6 (1 the highest), ``fret`` 0 open."""

    string: int
    fret: int


@dataclass(frozen=True, slots=True)
class Neck:
    """The neck as this player uses it. ``capo`` shifts the frets; MIDI is what the hand
    plays, that is what sounds minus ``capo``.
    """

    tuning: tuple[int, ...]
    highest_fret: int
    scale_length: float
    string_spacing: float
    capo: int

    def midi(self, spot: Spot) -> int:
        """The pitch at ``spot`` without the capo's semitones."""
        return self.tuning[spot.string - 1] + spot.fret

    def distance(self, one: Spot, other: Spot) -> float:
        """Euclidean mm between two fretting points, capo included."""
        along = fret_mm(one.fret + self.capo, self.scale_length) - fret_mm(
            other.fret + self.capo, self.scale_length
        )
        return hypot(along, (one.string - other.string) * self.string_spacing)


def neck_of(player: Player, capo: int) -> Neck:
    guitar = instrument()
    return Neck(
        tuning=guitar.tuning,
        highest_fret=min(player.highest_fret, guitar.frets - capo),
        scale_length=player.scale_length,
        string_spacing=guitar.string_spacing,
        capo=capo,
    )


@cache
def spots_of(neck: Neck, midi: int) -> tuple[Spot, ...]:
    """Every place where ``midi`` can be played, from string 1 down."""
    found = []
    for string, opened in enumerate(neck.tuning, start=1):
        fret = midi - opened
        if 0 <= fret <= neck.highest_fret:
            found.append(Spot(string, fret))
    return tuple(found)
