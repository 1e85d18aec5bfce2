"""Onsets on a grid that starts anew at every bar; grace notes and rolled chords named.

Per beat the plainest division that explains its onsets wins (a quarter in 1, 2, 4, 3, 8,
6 … parts; costs in ``tables/reading.toml``). Grace notes and rolled chords are found
first, so that they do not bend the grid: graces go before the note they lead to, the notes
of a rolled chord to its first note.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from arranger.read.meter import PlayedBar
from arranger.read.ornament import Ornaments
from arranger.read.piece import PlayedNote
from arranger.read.table import GridTable

Ornament = Literal["grace", "roll"] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class GridNote:
    """A note on the clean time line; ``onset`` and played length ``gate`` in units."""

    onset: int
    gate: int
    played: PlayedNote
    ornament: Ornament = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Gridded:
    """All notes on the grid, and how good the fit is.

    ``starts`` are the clean starts of the bars (units). ``quantised``: the file was
    written, not played. ``miss``: share of the notes that lay further from their grid point
    than the tolerance and are no ornaments.
    """

    notes: tuple[GridNote, ...]
    starts: tuple[int, ...]
    quantised: bool
    miss: float


def on_grid(
    notes: Sequence[PlayedNote],
    bars: Sequence[PlayedBar],
    unit: int,
    table: GridTable,
    *,
    performed: bool = False,
) -> Gridded:
    """Notes with onsets on a clean time line whose bars have their written lengths.

    ``performed``: the notes are known to be played, however near the grid they lie.
    """
    starts = _clean_starts(bars)
    per_bar = _by_bar(notes, bars, unit)
    quantised = not performed and _is_quantised(per_bar, bars, unit, table)
    ornaments = Ornaments(notes, unit, table) if quantised else Ornaments((), unit, table)
    grid = _Grid(unit, table.exact if quantised else table.loose, table)
    anchors: dict[int, int] = {}
    for bar, start, members in zip(bars, starts, per_bar, strict=True):
        grid.place(bar, start, [n for n in members if id(n) not in ornaments], anchors)
    result = [
        GridNote(onset=anchors[id(note)], gate=note.end - note.start, played=note)
        for note in notes
        if id(note) in anchors
    ]
    result += [
        GridNote(onset=onset, gate=gate, played=note, ornament=kind)
        for note, onset, gate, kind in ornaments.placed(anchors)
    ]
    result.sort(key=lambda note: (note.onset, -note.played.midi, note.played.track))
    return Gridded(
        notes=tuple(result),
        starts=starts,
        quantised=quantised,
        miss=grid.missed / len(notes) if notes else 0.0,
    )


def _clean_starts(bars: Sequence[PlayedBar]) -> tuple[int, ...]:
    starts = []
    at = 0
    for bar in bars:
        starts.append(at)
        at += bar.written
    return tuple(starts)


def _by_bar(
    notes: Sequence[PlayedNote], bars: Sequence[PlayedBar], unit: int
) -> list[list[PlayedNote]]:
    """The notes of each bar; a note a hair before a bar line belongs after it."""
    per_bar: list[list[PlayedNote]] = [[] for _ in bars]
    place = 0
    early = unit // 100
    for note in notes:
        while place + 1 < len(bars) and note.start >= bars[place + 1].at - early:
            place += 1
        per_bar[place].append(note)
    return per_bar


def _is_quantised(
    per_bar: list[list[PlayedNote]], bars: Sequence[PlayedBar], unit: int, table: GridTable
) -> bool:
    """Whether most onsets, those of very short notes apart, lie on a plain grid.

    A human performance hits the thin lines of that grid in about 30 % of its notes.
    """
    total = near = 0
    shortest = table.grace_length * unit
    for bar, members in zip(bars, per_bar, strict=True):
        for note in members:
            if note.end - note.start <= shortest:
                continue
            offset = (note.start - bar.at) / unit
            error = min(abs(offset - round(offset * parts) / parts) for parts in (4, 3, 8, 6))
            near += error <= table.exact
            total += 1
    return total == 0 or near / total >= table.quantised_share


class _Grid:
    """The grid of one piece: remembers the division of every pattern of a beat."""

    def __init__(self, unit: int, tolerance: float, table: GridTable) -> None:
        self.unit = unit
        self.tolerance = int(tolerance * unit)
        self.table = table
        self.known: dict[tuple[int, ...], int] = {}
        self.missed = 0

    def place(
        self, bar: PlayedBar, start: int, notes: list[PlayedNote], anchors: dict[int, int]
    ) -> None:
        """Enter the clean onset of each note of ``bar`` into ``anchors`` by identity."""
        beats: dict[int, list[tuple[int, PlayedNote]]] = defaultdict(list)
        for note in notes:
            beat, offset = divmod(note.start - bar.at + self.tolerance, self.unit)
            beats[beat].append((offset - self.tolerance, note))
        for beat, members in beats.items():
            division = self._division(tuple(sorted({offset for offset, _ in members})))
            step = self.unit // division
            for offset, note in members:
                point = round(offset / step) * step
                if abs(offset - point) > self.tolerance:
                    self.missed += 1
                    point = round(offset * 48 / self.unit) * (self.unit // 48)
                anchors[id(note)] = max(0, start + beat * self.unit + point)

    def _division(self, offsets: tuple[int, ...]) -> int:
        """The division of a quarter that explains the offsets at the least cost."""
        if offsets in self.known:
            return self.known[offsets]
        best, least = self.table.divisions[0], float("inf")
        for division, cost in zip(self.table.divisions, self.table.costs, strict=True):
            if cost < least:
                total = cost + self._misfit(offsets, self.unit // division)
                if total < least:
                    best, least = division, total
        self.known[offsets] = best
        return best

    def _misfit(self, offsets: tuple[int, ...], step: int) -> float:
        """Squared distances to the grid, each at most one full miss."""
        return sum(
            min(1.0, ((offset - round(offset / step) * step) / self.tolerance) ** 2)
            for offset in offsets
        )
