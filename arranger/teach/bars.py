"""Bars as a student sees them: what stands in the tab, and how to name them."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from arranger.music.arrangement import ArrangedBar, Arrangement, Placement
from arranger.music.time import Beat

Tab = tuple[tuple[Beat, int, int], ...]
"""The tab of a bar: when (from its start), string, fret, in that order."""


@dataclass(frozen=True, slots=True)
class TabBar:
    """A bar with its notes; two bars with equal ``tab`` look the same to a student.

    ``first`` is the number of the earliest bar that looks the same, its own where none does:
    a sheet with repeat signs shows that one, and not always this one. ``unit`` is the beat
    that is counted under the tab, in source quarters: an eighth in 6/8, and in a 2/4 rag that
    is written with eighths.
    """

    bar: ArrangedBar
    notes: tuple[Placement, ...]
    tab: Tab
    first: int
    unit: Beat

    @property
    def number(self) -> int:
        return self.bar.bar

    def count(self, at: Beat) -> Beat:
        """Counted beats before a moment ``at`` after the start; a pick-up ends a bar."""
        full = Fraction(4 * self.bar.numerator, self.bar.denominator)
        lead = full - self.bar.length if self.number == 0 else Fraction(0)
        return (at + lead) / self.unit


def tab_bars(arrangement: Arrangement) -> tuple[TabBar, ...]:
    """Every bar of the piece with the notes that begin in it."""
    notes = sorted(arrangement.notes, key=lambda note: (note.onset, -note.string))
    onsets = [note.onset for note in notes]
    found = []
    seen: dict[tuple[Beat, Tab], int] = {}
    for bar in arrangement.bars:
        inside = notes[bisect_left(onsets, bar.start) : bisect_left(onsets, bar.end)]
        tab = tuple((note.onset - bar.start, note.string, note.fret) for note in inside)
        first = seen.setdefault((bar.length, tab), bar.bar) if tab else bar.bar
        doubled = arrangement.written_scale == 2 and bar.denominator == 4
        unit = Fraction(4, bar.denominator * (2 if doubled else 1))
        found.append(TabBar(bar, tuple(inside), tab, first, unit))
    return tuple(found)


def differing(one: TabBar, other: TabBar) -> int:
    """Notes in which two bars differ; one changed note counts once."""
    ours, theirs = set(one.tab), set(other.tab)
    return max(len(ours - theirs), len(theirs - ours))


PARTS = {
    Fraction(0): "",
    Fraction(1, 2): "&",
    Fraction(1, 4): "-e",
    Fraction(3, 4): "-a",
    Fraction(1, 3): "-trip",
    Fraction(2, 3): "-let",
}
"""Syllables inside a beat, as under the tab (common practice, no source)."""


def counted(at: Beat) -> str:
    """A moment in counted beats from the start of the bar, said aloud: ``1``, ``2&``."""
    beat, part = divmod(at, 1)
    return f"{beat + 1}{PARTS.get(part, f' and {part}')}"


def seen_once(numbers: Iterable[int], bars: Sequence[TabBar]) -> tuple[int, ...]:
    """``numbers`` without the bars that look like one named before."""
    first = {bar.number: bar.first for bar in bars}
    named: dict[int, int] = {}
    for number in numbers:
        named.setdefault(first[number], number)
    return tuple(named.values())


def in_words(numbers: Iterable[int]) -> str:
    """``bar 3``, ``bars 1–2, 5 and 9``: neighbours drawn together."""
    runs: list[list[int]] = []
    for number in sorted(set(numbers)):
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    names = [str(low) if low == high else f"{low}–{high}" for low, high in runs]
    one = len(runs) == 1 and runs[0][0] == runs[0][1]
    return ("bar " if one else "bars ") + listed(names)


def listed(names: Sequence[str]) -> str:
    """``a, b and c``."""
    return " and ".join([", ".join(names[:-1]), names[-1]] if names[1:] else names)
