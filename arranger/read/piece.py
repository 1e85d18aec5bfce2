"""What a file says before it is understood: times as the file counts them.

The one value between a file format and the musical passes. All times are exact fractions
of a quarter note from the start of the file; nothing is snapped, nothing is left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from arranger.music.key import Key


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayedNote:
    """A note as played: ``[start, end)`` in quarters, from ``track`` (of those in the file)."""

    start: Fraction
    end: Fraction
    midi: int
    velocity: int
    track: int
    channel: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """A time signature from ``at`` on."""

    at: Fraction
    numerator: int
    denominator: int

    @property
    def bar_length(self) -> Fraction:
        """Quarters in one bar."""
        return Fraction(4 * self.numerator, self.denominator)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayedTempo:
    """A tempo in quarters a minute from ``at`` on, stated in ``track``."""

    at: Fraction
    quarters: float
    track: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayedKey:
    """A key signature from ``at`` on."""

    at: Fraction
    key: Key


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """A warning whose place is a time of the file (quarters), or None for the whole file."""

    code: str
    text: str
    at: Fraction | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """Everything that is read from a file.

    ``notes`` are sorted by start, then from high to low. ``names`` and ``texts`` hold
    track names and other meta texts as (track, text), in file order. ``barlines`` are
    given by formats that write them (MusicXML, Humdrum, ABC), else empty.
    """

    notes: tuple[PlayedNote, ...]
    signatures: tuple[Signature, ...] = ()
    tempos: tuple[PlayedTempo, ...] = ()
    keys: tuple[PlayedKey, ...] = ()
    names: tuple[tuple[int, str], ...] = ()
    texts: tuple[tuple[int, str], ...] = ()
    title: str = ""
    composer: str = ""
    barlines: tuple[Fraction, ...] = ()
    remarks: tuple[Remark, ...] = ()
