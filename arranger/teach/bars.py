"""Bars as a student sees them: what stands in the tab, and how to name them."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from arranger.music.arrangement import ArrangedBar, Arrangement, Placement
from arranger.music.time import Beat

Tab = tuple[tuple[Beat, int, int], ...]
"""The tab of a bar: when (from its start), string, fret, in that order."""


@dataclass(frozen=True, slots=True)
class TabBar:
    """A bar with its notes; two bars with equal ``tab`` look the same to a student."""

    bar: ArrangedBar
    notes: tuple[Placement, ...]
    tab: Tab

    @property
    def number(self) -> int:
        return self.bar.bar


def tab_bars(arrangement: Arrangement) -> tuple[TabBar, ...]:
    """Every bar of the piece with the notes that begin in it."""
    notes = sorted(arrangement.notes, key=lambda note: (note.onset, -note.string))
    onsets = [note.onset for note in notes]
    found = []
    for bar in arrangement.bars:
        inside = notes[bisect_left(onsets, bar.start) : bisect_left(onsets, bar.end)]
        tab = tuple((note.onset - bar.start, note.string, note.fret) for note in inside)
        found.append(TabBar(bar, tuple(inside), tab))
    return tuple(found)


def differing(one: TabBar, other: TabBar) -> int:
    """Notes in which two bars differ; one changed note counts once."""
    ours, theirs = set(one.tab), set(other.tab)
    return max(len(ours - theirs), len(theirs - ours))


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
