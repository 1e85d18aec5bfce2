"""What a file says before it is understood: times as the file counts them.

The one value between a file format and the musical passes. Times are whole numbers of
units; ``Piece.unit`` of them make a quarter note. That is as exact as fractions and ten
times as quick; the passes end with ``Fraction`` beats. Nothing here is snapped or left out.
"""

from __future__ import annotations

from dataclasses import dataclass

from arranger.music.key import Key

WHOLE_PARTS = 110880
"""Units of a quarter that every musical division divides: 2^5 · 3^2 · 5 · 7 · 11."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayedNote:
    """A note as played: ``[start, end)`` in units, from ``track`` (of those in the file)."""

    start: int
    end: int
    midi: int
    velocity: int
    track: int
    channel: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """A time signature from ``at`` (units) on."""

    at: int
    numerator: int
    denominator: int

    def bar_length(self, unit: int) -> int:
        """Units in one bar."""
        return 4 * self.numerator * unit // self.denominator


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayedTempo:
    """A tempo in quarters a minute from ``at`` (units) on, stated in ``track``."""

    at: int
    quarters: float
    track: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayedKey:
    """A key signature from ``at`` (units) on."""

    at: int
    key: Key


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """A warning; ``at`` is a time of the file in quarters, None for the whole file."""

    code: str
    text: str
    at: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """Everything that is read from a file.

    ``unit`` divides a quarter and is a multiple of ``WHOLE_PARTS``. ``notes`` are sorted
    by start, then from high to low. ``names`` and ``texts`` hold track names and other
    meta texts as (track, text), in file order. ``bars_stated``: the format writes bar lines,
    so that pick-ups are known. ``in_seconds``: a quarter stands for a second because the
    file counts no beats. ``followed``: how surely (0..1) its beats were followed by ear,
    None where it keeps time itself.
    """

    unit: int
    notes: tuple[PlayedNote, ...]
    signatures: tuple[Signature, ...] = ()
    tempos: tuple[PlayedTempo, ...] = ()
    keys: tuple[PlayedKey, ...] = ()
    names: tuple[tuple[int, str], ...] = ()
    texts: tuple[tuple[int, str], ...] = ()
    title: str = ""
    composer: str = ""
    bars_stated: bool = False
    in_seconds: bool = False
    followed: float | None = None
    remarks: tuple[Remark, ...] = ()

    @property
    def last_onset(self) -> int:
        return max(note.start for note in self.notes)

    @property
    def end(self) -> int:
        return max(note.end for note in self.notes)
