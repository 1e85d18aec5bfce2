"""The meter that a piece is heard in where its file states none.

Bars of two, three and four quarters are heard at every phase: in the right meter one phase
stands out. And music is like itself a bar later: its onsets, its depth and its long notes
are laid over themselves some quarters on (autocorrelation, as in J. C. Brown, Determination
of the meter of musical scores by autocorrelation, JASA 94, 1993; from memory). A linear
model over both names the meter. Weights: ``tables/heard_meters.toml``.
"""

from __future__ import annotations

from fractions import Fraction
from statistics import fmean

import numpy as np
import numpy.typing as npt
from pydantic import Field

from arranger.read.pickup import Listener
from arranger.read.piece import Piece
from arranger.tables import Table, load

Row = npt.NDArray[np.float64]
BARS = (2, 3, 4)
"""Quarters of a bar that are listened for."""
LAGS = tuple(Fraction(quarters) for quarters in ("1", "3/2", "2", "3", "4", "6"))
"""Quarters after which music is laid over itself; 3/2 is the beat of 6/8."""
STEPS = 4
"""Places a quarter at which notes are gathered."""
LONGEST = 4.0
"""Quarters: a note that lasts longer counts no more."""
FEATURES = 2 * len(BARS) + 1 + 3 * len(LAGS)


class HeardMeters(Table):
    """For each meter the weights of the features, in their order, and what is added."""

    weights: dict[str, tuple[float, ...]]
    least_bars: int = Field(ge=2)


def find_meter(piece: Piece) -> tuple[int, int]:
    """The meter (numerator, denominator) that the piece is heard in; 4/4 when too short."""
    table = load("heard_meters", HeardMeters)
    if piece.end < table.least_bars * 4 * piece.unit:
        return (4, 4)
    features = np.append(meter_features(piece), 1.0)
    heard = {name: float(features @ np.array(row)) for name, row in table.weights.items()}
    numerator, denominator = max(heard, key=lambda name: heard[name]).split("/")
    return int(numerator), int(denominator)


def meter_features(piece: Piece) -> Row:
    """Shape (FEATURES,): the best phase of each of BARS, by how much it stands out from the
    others, whether the middle of three quarters is stressed more than its quarters (as in
    6/8), and how much onsets, depth and long notes are like themselves after each of LAGS,
    against all of them.
    """
    listener = Listener(piece, anywhere=True)
    phases = {bar: listener.phases(bar * piece.unit) for bar in BARS}
    best = [max(phases[bar]) for bar in BARS]
    outstanding = [max(phases[bar]) - fmean(phases[bar]) for bar in BARS]
    lags = [int(STEPS * lag) for lag in LAGS]
    likeness = [_likeness_after(row, lags) for row in _gathered(piece)]
    return np.concatenate([best, outstanding, [_middle(phases[3])], *likeness])


def _middle(phases: list[float]) -> float:
    """How much more the middle of a bar of three quarters sounds like a downbeat than its
    second and third quarter; ``phases`` are in eighths.
    """
    first = phases.index(max(phases))
    at = [phases[(first + eighths) % len(phases)] for eighths in (2, 3, 4)]
    return at[1] - fmean((at[0], at[2]))


def _gathered(piece: Piece) -> tuple[Row, Row, Row]:
    """By sixteenths: 1 where a note begins, how deep it lies below the mean (octaves), and
    how long it lasts (quarters); of several the deepest and the longest.
    """
    start = np.array([note.start for note in piece.notes], dtype=np.float64)
    end = np.array([note.end for note in piece.notes], dtype=np.float64)
    midi = np.array([note.midi for note in piece.notes], dtype=np.float64)
    place = np.rint(start * STEPS / piece.unit).astype(np.int64)
    begins, depth, length = (np.zeros(int(place.max()) + 1) for _ in range(3))
    begins[place] = 1.0
    np.maximum.at(depth, place, (midi.mean() - midi) / 12)
    np.maximum.at(length, place, np.minimum(LONGEST, (end - start) / piece.unit))
    return begins, depth, length


def _likeness_after(row: Row, lags: list[int]) -> Row:
    """How much more ``row`` is like itself after each of ``lags`` than after all of them."""
    found = np.array([_likeness(row, lag) for lag in lags])
    more: Row = found - found.mean()
    return more


def _likeness(row: Row, lag: int) -> float:
    """The autocorrelation of ``row`` after ``lag`` places, 0 where it is too short for one."""
    if lag >= len(row) - STEPS:
        return 0.0
    beside = row - row.mean()
    spread = float(beside @ beside) * (len(row) - lag) / len(row)
    return float(beside[:-lag] @ beside[lag:]) / spread if spread else 0.0
