"""The plucking hand: p on the bass; i, m and a share what lies above it.

Within a bar the cheapest sequence of fingers is found by a shortest path; equal bars are
plucked alike because each bar is looked at alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import combinations

from arranger.music.arrangement import RightFinger
from arranger.tables.fingering import RightHandCosts

FINGERS: tuple[RightFinger, ...] = ("i", "m", "a")
HOME = {"i": 3, "m": 2, "a": 1}

Pluck = tuple[RightFinger, ...]
"""Fingers for the strings plucked together, low string first."""


@dataclass(frozen=True, slots=True)
class Moment:
    """Strings that the fingers pluck together, low string first, and seconds since the
    moment before (None: the first of the bar).
    """

    strings: tuple[int, ...]
    seconds: float | None


def plucking(moments: Sequence[Moment], costs: RightHandCosts) -> list[Pluck]:
    """The cheapest fingers for a bar's moments (ties: the first in the order i, m, a)."""
    if not moments:
        return []
    layers = [_choices(len(moment.strings)) for moment in moments]
    best = [[_home(moments[0].strings, pluck, costs) for pluck in layers[0]]]
    back: list[list[int]] = [[]]
    for place in range(1, len(moments)):
        row, came = [], []
        for pluck in layers[place]:
            paths = [
                best[-1][k] + _move(moments[place - 1], before, moments[place], pluck, costs)
                for k, before in enumerate(layers[place - 1])
            ]
            least = min(range(len(paths)), key=lambda k: (paths[k], k))
            row.append(paths[least] + _home(moments[place].strings, pluck, costs))
            came.append(least)
        best.append(row)
        back.append(came)
    at = min(range(len(best[-1])), key=lambda k: (best[-1][k], k))
    chosen = []
    for place in range(len(moments) - 1, -1, -1):
        chosen.append(layers[place][at])
        at = back[place][at] if place else 0
    return chosen[::-1]


@cache
def _choices(count: int) -> tuple[Pluck, ...]:
    """Ways to give ``count`` strings different fingers in the order i, m, a."""
    return tuple(combinations(FINGERS, min(count, 3)))


def _home(strings: tuple[int, ...], pluck: Pluck, costs: RightHandCosts) -> float:
    away = sum(
        abs(HOME[finger] - min(string, 3))
        for string, finger in zip(strings, pluck, strict=False)
    )
    return costs.away * away + costs.ring_finger * pluck.count("a")


def _move(
    before: Moment, was: Pluck, after: Moment, now: Pluck, costs: RightHandCosts
) -> float:
    seconds = after.seconds if after.seconds is not None else 1.0
    total = 0.0
    where = dict(zip(was, before.strings, strict=False))
    for string, finger in zip(after.strings, now, strict=False):
        if finger in where:
            fast = seconds < costs.repeat_seconds
            total += costs.repeat if fast else costs.repeat_slow
        for other, held in where.items():
            crossed = (FINGERS.index(finger) - FINGERS.index(other)) * (held - string) < 0
            total += costs.crossing * crossed
    return total
