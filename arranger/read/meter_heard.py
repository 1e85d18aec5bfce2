"""The meter that a piece is heard in where its file states none.

Bars of two, three and four quarters are heard at every phase: in the right meter one phase
stands out. And music is like itself a bar later: its onsets, its depth and its long notes
are laid over themselves some quarters on (autocorrelation, as in J. C. Brown, Determination
of the meter of musical scores by autocorrelation, JASA 94, 1993; from memory). What speaks
for each meter is weighed in the same way. Weights: ``tables/heard_meters.toml``.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from statistics import fmean

import numpy as np
import numpy.typing as npt
from pydantic import Field

from arranger.read.pickup import Listener
from arranger.read.piece import Piece
from arranger.tables import Table, load

Row = npt.NDArray[np.float64]
ROWS = ("onsets", "depth", "long notes")
STEPS = 4
"""Places a quarter at which notes are gathered."""


@dataclass(frozen=True, slots=True)
class Meter:
    """A meter that may be heard: quarters of its bar and of its beat, and quarters after
    which music in another meter would be like itself.
    """

    name: str
    bar: int
    beat: Fraction
    others: tuple[int, ...]

    @property
    def lags(self) -> frozenset[Fraction]:
        """Quarters after which its music is laid over itself."""
        bars = self.bar, 2 * self.bar, *self.others
        return frozenset([self.beat, *[Fraction(quarters) for quarters in bars]])

    @property
    def numbers(self) -> tuple[int, int]:
        numerator, denominator = self.name.split("/")
        return int(numerator), int(denominator)


METERS = (
    Meter("2/4", 2, Fraction(1), (3, 6)),
    Meter("3/4", 3, Fraction(1), (2, 4, 8)),
    Meter("4/4", 4, Fraction(1), (3, 6)),
    Meter("6/8", 3, Fraction(3, 2), (2, 4, 8)),
)
LAGS = sorted(frozenset().union(*[meter.lags for meter in METERS]))
FEATURES = (
    "best phase",
    "it stands out",
    *[f"{after}: {row}" for after in ("bar", "two bars", "beat", "others") for row in ROWS],
    *["middle, 6/8", "middle, 3/4", "onsets a quarter, 4/4"],
    *[meter.name for meter in METERS[1:]],
)


class HeardMeters(Table):
    """The weight of each of FEATURES; ``longest`` quarters of a note count, and no more."""

    longest: float = Field(gt=0)
    weights: dict[str, float]
    least_bars: int = Field(ge=2)
    doubt_bars: int = Field(ge=2)
    sure: float = Field(gt=0, le=1)


def find_meter(piece: Piece) -> tuple[int, int]:
    """The meter (numerator, denominator) that the piece is heard in; 4/4 when too short."""
    table = load("heard_meters", HeardMeters)
    if piece.end < table.least_bars * 4 * piece.unit:
        return (4, 4)
    return METERS[int(_speaks(piece, table).argmax())].numbers


def plainly_not_in_four(piece: Piece) -> tuple[int, int] | None:
    """The meter of a piece that is surely heard neither in two nor in four, else None."""
    table = load("heard_meters", HeardMeters)
    if piece.end < table.doubt_bars * 4 * piece.unit:
        return None
    speaks = _speaks(piece, table)
    shares = np.exp(speaks - speaks.max())
    shares /= shares.sum()
    best = int(shares.argmax())
    heard = METERS[best]
    return heard.numbers if heard.bar == 3 and shares[best] >= table.sure else None


def _speaks(piece: Piece, table: HeardMeters) -> Row:
    """Shape (METERS,): the log-odds of each meter, but for what all have in common."""
    row: Row = meter_features(piece) @ np.array([table.weights[name] for name in FEATURES])
    return row


def meter_features(piece: Piece) -> Row:
    """Shape (METERS, FEATURES): what speaks for each meter.

    The best phase of its bar, and by how much it stands out from the others; by how much more
    onsets, depth and long notes are like themselves after a bar, two bars, a beat, and the
    quarters of other meters than they are on the whole; whether the middle of three quarters
    is stressed more than its quarters, as in 6/8; how many onsets there are to a quarter, for
    what is written in 2/4 is quick; and which meter it is.
    """
    listener = Listener(piece, anywhere=True)
    phases = {meter.bar: listener.phases(meter.bar * piece.unit) for meter in METERS}
    gathered = _gathered(piece)
    likeness = [_likeness_after(row) for row in gathered]
    middle, dense = _middle(phases[3]), STEPS * float(gathered[0].mean())
    rows = []
    for meter in METERS:
        heard = phases[meter.bar]
        rows.append(
            [
                max(heard),
                max(heard) - fmean(heard),
                *[like[Fraction(meter.bar)] for like in likeness],
                *[like[Fraction(2 * meter.bar)] for like in likeness],
                *[like[meter.beat] for like in likeness],
                *[fmean(like[Fraction(lag)] for lag in meter.others) for like in likeness],
                middle * (meter.name == "6/8"),
                middle * (meter.name == "3/4"),
                dense * (meter.name == "4/4"),
                *[float(meter == other) for other in METERS[1:]],
            ]
        )
    return np.array(rows)


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
    longest = load("heard_meters", HeardMeters).longest
    np.maximum.at(length, place, np.minimum(longest, (end - start) / piece.unit))
    return begins, depth, length


def _likeness_after(row: Row) -> dict[Fraction, float]:
    """How much more ``row`` is like itself after each of LAGS than on the whole."""
    found = {lag: _likeness(row, int(STEPS * lag)) for lag in LAGS}
    whole = fmean(found.values())
    return {lag: like - whole for lag, like in found.items()}


def _likeness(row: Row, lag: int) -> float:
    """The autocorrelation of ``row`` after ``lag`` places, 0 where it is too short for one."""
    if lag >= len(row) - STEPS:
        return 0.0
    beside = row - row.mean()
    spread = float(beside @ beside) * (len(row) - lag) / len(row)
    return float(beside[:-lag] @ beside[lag:]) / spread if spread else 0.0
