"""What this hand can hold at once: fingers in order, reach in mm, barres."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations

from arranger.neck.fretboard import Neck, Spot
from arranger.tables import Level, Player
from arranger.tables.fingering import HoldCosts
from arranger.tables.hand import Hand as HandTable
from arranger.tables.hand import hand
from arranger.tables.shapes import ChordShape

THUMB = 5
"""The thumb over the neck, beside fingers 1..4; 0 is an open string."""

Press = tuple[int, int, int]
"""(string, fret, finger) of a sounding string."""


@dataclass(frozen=True, slots=True, eq=False)
class HandRules:
    """The hand of one player at one level on one neck; hard rules, and the cost of a hold."""

    neck: Neck
    player: Player
    level: Level
    costs: HoldCosts
    table: HandTable = field(default_factory=hand)
    _known: dict[tuple[Press, ...], float | None] = field(default_factory=dict)
    _pairs: dict[tuple[Press, Press], float | None] = field(default_factory=dict)

    @property
    def max_fret(self) -> int:
        return min(self.level.max_fret, self.neck.highest_fret)

    def allows_spot(self, spot: Spot) -> bool:
        """Whether the level goes there; on string 1 the little finger reaches further."""
        most = (
            self.level.max_fret
            if spot.string > 1
            else max(self.level.max_fret, self.level.little_finger_fret)
        )
        return spot.fret <= min(most, self.neck.highest_fret)

    def allows_shape(self, shape: ChordShape) -> bool:
        """Whether the student may hold the shape: level, techniques, and reach."""
        presses = [
            (6 - place, fret, THUMB if finger == "T" else int(finger or 0))
            for place, (fret, finger) in enumerate(zip(shape.frets, shape.fingers, strict=True))
            if fret is not None
        ]
        if not all(self.allows_spot(Spot(string, fret)) for string, fret, _ in presses):
            return False
        return self.hold(presses) is not None

    def hold(self, presses: Sequence[Press]) -> float | None:
        """What it costs to hold these strings at once, or None when no hand can."""
        key = tuple(sorted(presses))
        if key not in self._known:
            self._known[key] = self._hold(key)
        return self._known[key]

    def _hold(self, presses: tuple[Press, ...]) -> float | None:
        fretted = [press for press in presses if press[1] > 0]
        barres = self._barres(fretted, presses)
        if barres is None:
            return None
        cost = barres
        for two in combinations(fretted, 2):
            if two not in self._pairs:
                self._pairs[two] = self._pair(*two)
            pair = self._pairs[two]
            if pair is None:
                return None
            cost += pair
        return cost

    def _barres(self, fretted: list[Press], presses: tuple[Press, ...]) -> float | None:
        """A finger on several strings is a barre: width, fret, and nothing lower inside."""
        cost = 0.0
        for finger in {press[2] for press in fretted}:
            held = [press for press in fretted if press[2] == finger]
            if finger == THUMB:
                if not self._thumb(held):
                    return None
                cost += self.costs.thumb_over
            if len(held) == 1:
                continue
            if len({fret for _, fret, _ in held}) > 1:
                return None
            low, high = max(held)[0], min(held)[0]
            width, fret = low - high + 1, held[0][1]
            if finger == 1:
                allowed = (
                    width <= self.player.barre_strings and fret <= self.player.barre_max_fret
                )
            else:
                allowed = self.level.small_barres and width <= self.table.small_barre_strings
            if finger == THUMB or not allowed:
                return None
            if any(high < string < low and other < fret for string, other, _ in presses):
                return None
            cost += self.costs.full_barre if width > 3 else self.costs.barre
        return cost

    def _thumb(self, held: list[Press]) -> bool:
        string, fret, _ = held[0]
        return (
            "thumb over" in self.player.techniques
            and string == self.table.thumb_string
            and fret <= self.table.thumb_fret_most
        )

    def _pair(self, one: Press, other: Press) -> float | None:
        """Order along the neck and reach between two fretted strings."""
        if one[2] == other[2]:
            return 0.0
        if one[2] > other[2]:
            one, other = other, one
        first, second = Spot(*one[:2]), Spot(*other[:2])
        if other[2] == THUMB:
            return 0.0 if self._thumb_near(first, second) else None
        if first.fret > second.fret:
            return None
        share = self.neck.distance(first, second) / self.player.reach.between(one[2], other[2])
        if share > 1.0:
            return None
        crossed = first.fret == second.fret and first.string < second.string
        stretch = self.costs.stretch * math.pow(share, self.costs.stretch_power)
        stretch += self.costs.far * math.pow(share, self.costs.far_power)
        return stretch + self.costs.same_fret_reversed * crossed

    def _thumb_near(self, finger: Spot, thumb: Spot) -> bool:
        along = self.neck.distance(Spot(1, finger.fret), Spot(1, thumb.fret))
        if finger.fret >= thumb.fret:
            return along <= self.table.thumb_behind
        return along <= self.table.thumb_ahead
