"""Where a line of music ends: full lines, in fours, a new section on a new line."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import inf

from arranger.render.fold import Folded
from arranger.render.written import WrittenBar, written_bars
from arranger.tables.engraving import Engraving, engraving


def line_starts(folds: Folded, *, width: int) -> tuple[int, ...]:
    """Indices of the drawn bars that begin a line ``width`` units wide; the first is 0.

    The best of all ways to break, found by a shortest path over the bar lines: each line pays
    for being stretched or crowded, and for where it ends.
    """
    lines = _Lines(folds, width, engraving())
    count = len(folds.drawn.bars)
    best = [0.0] + [inf] * count
    came = [0] * (count + 1)
    for end in range(1, count + 1):
        for start in range(end - 1, -1, -1):
            cost = lines.cost(start, end)
            if cost == inf and end - start > 1:
                break  # longer lines are fuller still
            if best[start] + cost < best[end]:
                best[end], came[end] = best[start] + cost, start
    starts = [count]
    while starts[-1]:
        starts.append(came[starts[-1]])
    return tuple(reversed(starts[1:]))


class _Lines:
    """What speaks against the line from one bar to another."""

    def __init__(self, folds: Folded, width: int, table: Engraving) -> None:
        self.table = table
        self.folds = folds
        bars = written_bars(folds.drawn)
        self.sections = frozenset(i for i, bar in enumerate(bars) if bar.bar.section and i)
        self.phase = _phases(bars, self.sections)
        self.room = width - table.head - table.accidental * abs(folds.drawn.key.sharps)
        self.reach = [0.0]
        for index, bar in enumerate(bars):
            sign = table.repeat if index in folds.starts else 0.0
            self.reach.append(self.reach[-1] + _natural(bar, table) + sign)

    def cost(self, start: int, end: int) -> float:
        """In lines; infinite for a line of several bars that is far too full."""
        table = self.table
        full = (self.reach[end] - self.reach[start]) / self.room
        over = max(0.0, full - 1.0)
        if over > table.crowded_most and end - start > 1:
            return inf
        slack = max(0.0, 1.0 - full)
        late = sum(1 for bar in range(start + 1, end) if bar in self.sections)
        total = 1.0 + table.slack * slack**2 + table.crowded * over**2
        return total + table.late_section * late + self._end(end)

    def _end(self, end: int) -> float:
        if end == len(self.phase) or end in self.sections:
            return 0.0
        endings = self.folds.endings
        parted = endings.get(end - 1) == 1 and endings.get(end) == 2
        cost = self.table.parted_endings if parted else 0.0
        if self.phase[end] % 2:
            return cost + self.table.broken_pair
        return cost + (self.table.broken_four if self.phase[end] % 4 else 0.0)


def _natural(bar: WrittenBar, table: Engraving) -> float:
    """The width of a bar as the engraver would set it, see the table."""
    moments = sorted({bar.start, bar.end, *(note.onset for note in bar.notes)})
    gaps = [float(after - before) for before, after in pairwise(moments)]
    spread = float(sum(gap**table.bend for gap in gaps))
    return table.bar + table.stroke * len(gaps) + table.time * spread


def _phases(bars: Sequence[WrittenBar], sections: frozenset[int]) -> list[int]:
    """How many full bars of its section lie before each bar."""
    phases, count = [], 0
    for index, bar in enumerate(bars):
        if index in sections:
            count = 0
        phases.append(count)
        if bar.bar.length == bar.full:
            count += 1
    return phases
