"""Swung eighths: found, measured, and written as straight eighths.

In swing the second eighth of a beat comes late: at ``ratio / (1 + ratio)`` of the beat
instead of half-way (2:1 is a triplet feel). A ratio near 3:1 looks the same as a dotted
rhythm; then only the player knows. Friberg & Sundström 2002 measured ratios up to 3.5:1.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from statistics import median

from arranger.read.meter import PlayedBar
from arranger.read.piece import Piece, PlayedNote, Remark
from arranger.read.table import SwingTable


@dataclass(frozen=True, slots=True, kw_only=True)
class Swing:
    """``ratio`` long:short (1.0 none) and ``late``, the share of a beat it stands for."""

    ratio: float
    late: float
    remarks: tuple[Remark, ...] = ()


NEAR = 0.12  # of a beat: what lies nearer to a place is meant to be there
NO_SWING = Swing(ratio=1.0, late=0.5)


def find_swing(
    piece: Piece, bars: Sequence[PlayedBar], straight: bool | None, table: SwingTable
) -> Swing:
    """The swing of a piece whose beats are quarters of ``bars``.

    ``straight`` True: none is looked for; False: a dotted rhythm counts as swing; None: a
    dotted rhythm stays as it is, with a remark.
    """
    if straight or any(bar.denominator == 8 and bar.numerator % 3 == 0 for bar in bars):
        return NO_SWING
    beats = list(_divided_beats(piece, bars))
    late = [inner[0] for inner in beats if len(inner) == 1 and inner[0] >= table.earliest]
    if len(late) < table.beats or len(late) < table.share * len(beats):
        return NO_SWING
    middle = median(late)
    steady = sum(abs(place - middle) <= table.spread for place in late)
    if steady < table.share * len(beats):
        return NO_SWING
    ratio = middle / (1.0 - middle)
    if ratio < table.dotted or straight is False:
        return Swing(ratio=round(ratio, 2), late=middle, remarks=(_told(ratio),))
    return replace(NO_SWING, remarks=(DOTTED,))


DOTTED = Remark(
    code="swing-or-dotted",
    text="Long and short notes stand 3 to 1: a dotted rhythm, or hard swing; they were left "
    "dotted (--swing writes straight eighths)",
)


def _told(ratio: float) -> Remark:
    return Remark(
        code="swing",
        text=f"The eighths swing, {ratio:.1f} to 1; they are written straight "
        "(--straight leaves them as played)",
    )


def _divided_beats(piece: Piece, bars: Sequence[PlayedBar]) -> Iterator[list[float]]:
    """For each beat with onsets inside it, their places (0..1), near ones as one."""
    unit = piece.unit
    place = 0
    inner: list[float] = []
    current = (-1, -1)
    for note in piece.notes:
        while place + 1 < len(bars) and note.start >= bars[place + 1].at - unit // 8:
            place += 1
        beat, offset = divmod(note.start - bars[place].at + unit // 8, unit)
        if (place, beat) != current:
            if inner:
                yield inner
            inner, current = [], (place, beat)
        at = offset / unit - 0.125
        if at > 0.125 and (not inner or at - inner[-1] > 0.09):
            inner.append(at)
    if inner:
        yield inner


def straightened(piece: Piece, bars: Sequence[PlayedBar], swing: Swing) -> Piece:
    """``piece`` with the late eighths moved to the middle of their beats."""
    bend = _Bend(bars, piece.unit, swing.late)
    notes = [_bent(note, bend) for note in piece.notes]
    notes.sort(key=lambda note: (note.start, -note.midi, note.track, note.channel))
    return replace(piece, notes=tuple(notes))


def _bent(note: PlayedNote, bend: _Bend) -> PlayedNote:
    start = bend(note.start)
    return replace(note, start=start, end=max(start + 1, bend(note.end)))


class _Bend:
    """Moves ``late`` to the middle of each beat.

    What is near a beat or near ``late`` moves as a whole, so that jitter does not grow; what
    lies between (ends of notes, quicker notes) is stretched.
    """

    def __init__(self, bars: Sequence[PlayedBar], unit: int, late: float) -> None:
        self.unit = unit
        self.late = late
        self.ats = [bar.at for bar in bars]
        self.place = 0

    def __call__(self, at: int) -> int:
        while self.place + 1 < len(self.ats) and at >= self.ats[self.place + 1]:
            self.place += 1
        while self.place and at < self.ats[self.place]:
            self.place -= 1
        beat, offset = divmod(at - self.ats[self.place], self.unit)
        share = offset / self.unit
        if min(share, 1.0 - share) <= NEAR:
            return at
        if abs(share - self.late) <= NEAR:
            share += 0.5 - self.late
        elif share <= self.late:
            share *= 0.5 / self.late
        else:
            share = 0.5 + (share - self.late) * 0.5 / (1.0 - self.late)
        return self.ats[self.place] + beat * self.unit + round(share * self.unit)
