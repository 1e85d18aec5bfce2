"""Onsets on a grid that starts anew at every bar; grace notes and rolled chords named.

Per beat the plainest division that explains its onsets wins (a quarter in 1, 2, 4, 3, 8,
6 … parts; costs in ``tables/reading.toml``). What fits no division and is short enough is
a grace note; a quick run of chord notes is a rolled chord and goes to its first note.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from arranger.read.meter import PlayedBar
from arranger.read.piece import PlayedNote
from arranger.read.table import GridTable

Ornament = Literal["grace", "roll"] | None
GRACE_STEP = Fraction(1, 8)


@dataclass(frozen=True, slots=True, kw_only=True)
class GridNote:
    """A note on the clean time line; ``gate`` is its played length in quarters."""

    onset: Fraction
    gate: Fraction
    played: PlayedNote
    ornament: Ornament = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Gridded:
    """All notes on the grid, and how good the fit is.

    ``miss`` is the share of onsets that lay further from their grid point than the
    tolerance and are not ornaments.
    """

    notes: tuple[GridNote, ...]
    starts: tuple[Fraction, ...]
    quantised: bool
    miss: float


def on_grid(
    notes: Sequence[PlayedNote], bars: Sequence[PlayedBar], table: GridTable
) -> Gridded:
    """Notes with onsets in quarters on a clean time line whose bars have written lengths.

    ``starts`` of the result are the clean starts of ``bars``.
    """
    starts = _clean_starts(bars)
    per_bar = _by_bar(notes, bars)
    quantised = _is_quantised(per_bar, bars, table)
    tolerance = table.exact if quantised else table.loose
    result: list[GridNote] = []
    missed = 0
    for bar, start, members in zip(bars, starts, per_bar, strict=True):
        placed, off = _bar_on_grid(bar, members, tolerance, table)
        missed += off
        result += [replace(note, onset=start + note.onset) for note in placed]
    result.sort(key=lambda note: (note.onset, -note.played.midi, note.played.track))
    share = missed / len(notes) if notes else 0.0
    return Gridded(notes=tuple(result), starts=starts, quantised=quantised, miss=share)


def _clean_starts(bars: Sequence[PlayedBar]) -> tuple[Fraction, ...]:
    starts = []
    at = Fraction(0)
    for bar in bars:
        starts.append(at)
        at += bar.written
    return tuple(starts)


def _by_bar(notes: Sequence[PlayedNote], bars: Sequence[PlayedBar]) -> list[list[PlayedNote]]:
    """The notes of each bar; a note a hair before a bar line belongs after it."""
    per_bar: list[list[PlayedNote]] = [[] for _ in bars]
    place = 0
    early = Fraction(1, 100)
    for note in notes:
        while place + 1 < len(bars) and note.start >= bars[place + 1].at - early:
            place += 1
        per_bar[place].append(note)
    return per_bar


def _is_quantised(
    per_bar: list[list[PlayedNote]], bars: Sequence[PlayedBar], table: GridTable
) -> bool:
    """Whether nearly all onsets lie on sixteenths or triplets of their bar."""
    total = near = 0
    for bar, members in zip(bars, per_bar, strict=True):
        for note in members:
            twelfths = float(note.start - bar.at) * 12
            error = min(abs(twelfths - round(twelfths / step) * step) for step in (1.5, 2.0))
            near += error / 12 <= table.exact
            total += 1
    return total == 0 or near / total >= table.quantised_share


def _bar_on_grid(
    bar: PlayedBar, members: list[PlayedNote], tolerance: float, table: GridTable
) -> tuple[list[GridNote], int]:
    """The notes of one bar with onsets from its start, and how many fit nowhere."""
    beats: dict[int, list[PlayedNote]] = defaultdict(list)
    for note in members:
        beats[int((float(note.start - bar.at) + tolerance) // 1)].append(note)
    placed: list[GridNote] = []
    off = 0
    for beat, notes in sorted(beats.items()):
        offsets = [float(note.start - bar.at) - beat for note in notes]
        division = _division(sorted(set(offsets)), tolerance, table)
        for note, offset in zip(notes, offsets, strict=True):
            point = round(offset * division)
            ornament: Ornament = None
            onset = beat + Fraction(point, division)
            if abs(offset - point / division) > tolerance:
                if float(note.end - note.start) <= table.grace_length:
                    ornament = "grace"
                else:
                    off += 1
                    onset = beat + Fraction(round(offset * 48), 48)
            placed.append(
                GridNote(
                    onset=onset, gate=note.end - note.start, played=note, ornament=ornament
                )
            )
    return placed, off


def _division(offsets: list[float], tolerance: float, table: GridTable) -> int:
    """The division of a quarter that explains the offsets (0..1) at the least cost."""
    best, least = table.divisions[0], float("inf")
    for division, cost in zip(table.divisions, table.costs, strict=True):
        if cost >= least:
            continue
        total = cost + sum(
            min(1.0, (abs(offset - round(offset * division) / division) / tolerance) ** 2)
            for offset in offsets
        )
        if total < least:
            best, least = division, total
    return best
