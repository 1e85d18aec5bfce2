"""Where bar 1 begins when the file does not say: pick-ups found by ear.

Many exporters write a pick-up without a short first signature, so that every bar line of
the file comes too early. For each phase (in eighths) the notes are asked how much they look
like downbeats: low notes, many notes, long notes, changes of harmony, and few notes held
across. Weights: ``tables/pickup.toml``.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from statistics import fmean

from pydantic import Field

from arranger.read.piece import Piece, PlayedNote, Signature
from arranger.tables import Table, load

FEATURES = ("low", "many", "long", "change", "across", "marks", "last", "none")


class PickupTable(Table):
    """Weights of the features of a phase, and when a pick-up is believed."""

    low: float
    many: float
    long: float
    change: float
    across: float
    marks: float
    last: float
    none: float
    margin: float = Field(ge=0)
    bars: int = Field(ge=4)
    meters: dict[str, float]
    least_bars: int = Field(ge=2)

    def score(self, features: Sequence[float]) -> float:
        weights: list[float] = [getattr(self, name) for name in FEATURES]
        return sum(w * value for w, value in zip(weights, features, strict=True))


def find_pickup(piece: Piece, signature: Signature) -> int:
    """The length (units) of a pick-up before the first bar of ``signature``; 0 for none."""
    table = load("pickup", PickupTable)
    bar = signature.bar_length(piece.unit)
    eighth = piece.unit // 2
    if bar % eighth or bar <= eighth or piece.end < table.least_bars * bar:
        return 0
    phases = range(0, bar, eighth)
    scores = [table.score(features_of(piece, bar, phase, table.bars)) for phase in phases]
    best = max(range(len(scores)), key=scores.__getitem__)
    return best * eighth if scores[best] >= scores[0] + table.margin else 0


def features_of(piece: Piece, bar: int, phase: int, most_bars: int) -> list[float]:
    """How much the times ``phase + k * bar`` look like downbeats, in order of FEATURES."""
    notes = piece.notes
    starts = [note.start for note in notes]
    stop = min(piece.end, phase + most_bars * bar)
    downbeats = range(phase, stop, bar)
    struck = [_struck(notes, starts, at, piece.unit // 16) for at in downbeats]
    within = notes[: bisect_left(starts, stop)]
    if not within or not struck:
        return [0.0] * len(FEATURES)
    middle = fmean(note.midi for note in within)
    return [
        fmean(max((middle - n.midi for n in hit), default=0.0) / 12 for hit in struck),
        fmean(len(hit) for hit in struck) / max(1.0, len(within) * piece.unit / stop),
        fmean(max((n.end - n.start for n in hit), default=0) / piece.unit for hit in struck),
        _harmony_change(within, downbeats, bar),
        _held_across(within, downbeats, piece.unit // 16),
        _marks(piece, bar, phase),
        float((piece.last_onset - phase) % bar < piece.unit // 16),
        float(phase == 0),
    ]


def _struck(
    notes: Sequence[PlayedNote], starts: Sequence[int], at: int, near: int
) -> list[PlayedNote]:
    low, high = bisect_left(starts, at - near), bisect_left(starts, at + near)
    return list(notes[low:high])


def _harmony_change(notes: Sequence[PlayedNote], downbeats: range, bar: int) -> float:
    """Mean distance (0..1) of the pitch classes of half a bar before and after downbeats."""
    half = max(1, bar // 2)
    chroma: dict[int, list[float]] = {}
    offset = downbeats.start % half
    for note in notes:
        first = (note.start - offset) // half
        for window in range(first, (note.end - 1 - offset) // half + 1):
            begin, end = window * half + offset, (window + 1) * half + offset
            overlap = min(note.end, end) - max(note.start, begin)
            if overlap > 0:
                chroma.setdefault(window, [0.0] * 12)[note.midi % 12] += overlap
    changes = []
    for at in downbeats:
        window = (at - offset) // half
        before, after = chroma.get(window - 1), chroma.get(window)
        if before and after:
            changes.append(1.0 - _cosine(before, after))
    return fmean(changes) if changes else 0.0


def _cosine(one: Sequence[float], two: Sequence[float]) -> float:
    product = sum(a * b for a, b in zip(one, two, strict=True))
    norm = (sum(a * a for a in one) * sum(b * b for b in two)) ** 0.5
    return product / norm if norm else 0.0


def _held_across(notes: Sequence[PlayedNote], downbeats: range, near: int) -> float:
    """Notes held across a downbeat, per downbeat."""
    count = 0
    bar, phase = downbeats.step, downbeats.start
    for note in notes:
        following = (note.start + near - phase) // bar * bar + phase + bar
        count += note.start + near < following < note.end - near
    return count / max(1, len(downbeats))


def _marks(piece: Piece, bar: int, phase: int) -> float:
    """Share of the file's later key and tempo marks that stand at a bar line."""
    ats = {mark.at for mark in piece.keys if mark.at > bar}
    ats |= {mark.at for mark in piece.tempos if mark.at > bar}
    if not ats:
        return 0.0
    return fmean(float((at - phase) % bar == 0) for at in ats)


def find_meter(piece: Piece) -> tuple[int, int]:
    """The meter (numerator, denominator) that the piece is heard in; 4/4 when too short.

    Each meter is heard at its best phase; a bar of three quarters counts as 6/8 when its
    middle is stressed more than its quarters.
    """
    table = load("pickup", PickupTable)
    unit = piece.unit
    if piece.end < table.least_bars * 4 * unit:
        return (4, 4)
    heard = {quarters: _best_score(piece, quarters * unit, table) for quarters in (2, 3, 4)}
    quarters = max(heard, key=lambda q: heard[q] + table.meters[f"{q}/4"])
    if quarters != 3:
        return (quarters, 4)
    phase = _best_phase(piece, 3 * unit, table)
    middle = features_of(piece, 3 * unit, (phase + 3 * unit // 2) % (3 * unit), table.bars)
    beats = [
        table.score(features_of(piece, 3 * unit, (phase + k * unit) % (3 * unit), table.bars))
        for k in (1, 2)
    ]
    return (6, 8) if table.score(middle) > fmean(beats) else (3, 4)


def _best_phase(piece: Piece, bar: int, table: PickupTable) -> int:
    return max(
        range(0, bar, piece.unit // 2),
        key=lambda phase: table.score(features_of(piece, bar, phase, table.bars)),
    )


def _best_score(piece: Piece, bar: int, table: PickupTable) -> float:
    phase = _best_phase(piece, bar, table)
    return table.score(features_of(piece, bar, phase, table.bars))
