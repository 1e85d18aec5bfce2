"""How often the hand may go elsewhere: new shapes and new positions, a bar, on average.

A level sets both. They are budgets of the whole piece, so each is given a price, which is
raised until the piece keeps to it (Lagrangian relaxation; Everett 1963: with the price at
which it is kept, what is found is the best for that many).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

from arranger.neck.dynamic import Lattice, Path
from arranger.tables import Level


@dataclass(frozen=True, slots=True)
class Pace:
    """Tenths that each new shape costs, and a factor on what shifts cost."""

    change: int = 0
    shift: float = 1.0


UNHURRIED = Pace()


@dataclass(frozen=True, slots=True)
class Travels:
    """New shapes and new positions of the hand, a bar."""

    changes: float
    shifts: float

    def beyond(self, level: Level) -> bool:
        """Whether the hand travels more than the level allows."""
        return self.changes > level.changes_per_bar or self.shifts > level.shifts_per_bar


def travels(net: Lattice, paths: dict[int, Path]) -> Travels:
    """How often the hand of a folded solution goes elsewhere."""
    grips = [
        (net.grips[kind][slot], row)
        for kind in net.piece.order
        for slot, row in enumerate(paths[kind])
    ]
    hands = [net.piece.hands[int(grip.hand[row])] for grip, row in grips]
    shapes = [hand.shape for hand in hands if hand.shape is not None]
    changes = sum(one != other for one, other in pairwise(shapes))
    stands = [(int(grip.low[row]), int(grip.high[row])) for grip, row in grips]
    shifts = sum(
        low > before_high or high < before_low
        for (before_low, before_high), (low, high) in pairwise(stands)
    )
    bars = len(net.piece.order)
    return Travels(changes / bars, shifts / bars)


def slower(
    found: Travels, level: Level, prices: tuple[tuple[float, float], ...]
) -> Iterator[Pace]:
    """Paces to try one after another: ``prices`` (points, factor) for what is beyond."""
    pace = UNHURRIED
    for points, factor in prices:
        if found.changes > level.changes_per_bar:
            pace = replace(pace, change=round(points * 10))
        if found.shifts > level.shifts_per_bar:
            pace = replace(pace, shift=factor)
        yield pace
