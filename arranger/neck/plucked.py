"""Which finger plucks what, in a score as written: a learnt chain over p, i, m, a.

Notes struck together go p, i, m, a from the low strings up, each finger on one string; where
more than four are struck the thumb sweeps the lowest. Scores are log-odds, as in ``habits``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import accumulate, combinations
from math import prod

import numpy as np
from numpy.typing import NDArray

from arranger.neck.chain import Chain, Shares, best_path, field
from arranger.neck.habits import speed
from arranger.neck.holding import Scores
from arranger.tables.habits import right_habits

StrokeKey = tuple[tuple[int, ...], tuple[int, ...], bool]

PLUCKING = 4
PLACES = 3
VOICES = 3

FAMILIES: dict[str, tuple[int, ...]] = {
    "string": (4, 7),  # finger, string
    "voice": (4, VOICES, PLACES),  # finger; voice unknown, upper, thumb's; highest … lowest
    "struck": (4, 5),  # finger, how many are struck at once
    "on_beat": (4, 2),  # finger; whether the onset falls on a quarter
    "next": (3, 4, 4, 3),  # speed, finger before, finger; string same, higher, lower
    "drop": (4, 3),  # finger; how the line moves: same string, higher, lower than the thumb's
}
_SIZES = {name: prod(shape) for name, shape in FAMILIES.items()}
START = dict(zip(FAMILIES, accumulate(_SIZES.values(), initial=0), strict=False))
TOTAL = sum(_SIZES.values())


def family(weights: NDArray[np.float64], name: str) -> NDArray[np.float64]:
    """The family's part of a long vector, in its shape (a view)."""
    start = START[name]
    return weights[start : start + _SIZES[name]].reshape(FAMILIES[name])


def feature(name: str, *index: int) -> int:
    """The place of one feature in the long vector."""
    return START[name] + int(np.ravel_multi_index(index, FAMILIES[name]))


@dataclass(frozen=True, slots=True)
class Stroke:
    """What is plucked at one onset: strings, the lowest-pitched (6) first.

    ``voices`` 0 unknown, 1 upper, 2 the thumb's; ``gap`` is quarters since the stroke before.
    """

    strings: tuple[int, ...]
    voices: tuple[int, ...]
    gap: float
    on_beat: bool


@cache
def ways(count: int) -> tuple[tuple[int, ...], ...]:
    """Fingers 0..3 (p i m a) for ``count`` strings from the lowest: every way a hand can."""
    if count > PLUCKING:
        return ((*(0 for _ in range(count - 3)), 1, 2, 3),)
    return tuple(combinations(range(PLUCKING), count))


@cache
def own_features(stroke_key: StrokeKey) -> tuple[tuple[int, ...], ...]:
    """Places of the features of each way to pluck a stroke."""
    strings, voices, on_beat = stroke_key
    count = len(strings)
    found = []
    for fingers in ways(count):
        here = []
        for place, finger in enumerate(fingers):
            role = 0 if place == count - 1 else 2 if place == 0 else 1
            here.append(feature("string", finger, strings[place]))
            here.append(feature("voice", finger, voices[place], role))
            here.append(feature("struck", finger, min(count, 4)))
            here.append(feature("on_beat", finger, int(bool(on_beat))))
        found.append(tuple(here))
    return tuple(found)


@cache
def move_features(
    before: tuple[int, ...], here: tuple[int, ...], pace: int
) -> tuple[tuple[tuple[int, ...], ...], ...]:
    """Places of the features of each move, by way before and way here; ``before`` and
    ``here`` are strings.
    """
    found = []
    for was in ways(len(before)):
        row = []
        for now in ways(len(here)):
            places = []
            for string, finger in zip(before, was, strict=True):
                for other, new in zip(here, now, strict=True):
                    way = 0 if string == other else 1 if other < string else 2
                    places.append(feature("next", pace, finger, new, way))
                    if finger == 0 and new:
                        places.append(feature("drop", new, way))
            row.append(tuple(places))
        found.append(tuple(row))
    return tuple(found)


def own_key(stroke: Stroke) -> StrokeKey:
    return stroke.strings, stroke.voices, stroke.on_beat


def plucking_chain(strokes: Sequence[Stroke], weights: NDArray[np.float64]) -> Chain:
    """The chain of all ways to pluck."""
    own: list[Scores] = []
    moves: list[Scores] = [np.zeros((0, 0), dtype=np.float32)]
    for at, stroke in enumerate(strokes):
        rows = own_features(own_key(stroke))
        own.append(np.array([weights[list(row)].sum() for row in rows], dtype=np.float32))
        if at:
            pace = speed(stroke.gap)
            table = move_features(strokes[at - 1].strings, stroke.strings, pace)
            moves.append(
                np.array(
                    [[weights[list(cell)].sum() for cell in row] for row in table],
                    dtype=np.float32,
                )
            )
    return Chain((), tuple(own), tuple(moves))


@cache
def learnt_plucking() -> NDArray[np.float64]:
    """The long vector of the table."""
    table = right_habits()
    weights = np.zeros(TOTAL)
    for name, shape in FAMILIES.items():
        family(weights, name)[...] = np.array(table.weights[name]).reshape(shape)
    return weights


def plucked(
    strokes: Sequence[Stroke], weights: NDArray[np.float64] | None = None
) -> list[tuple[int, ...]]:
    """Fingers 0..3 (p i m a) for every stroke, from its lowest string up.

    The way with the most fingers expected to be a guitarist's, among ways a hand can.
    """
    if not strokes:
        return []
    chained = plucking_chain(strokes, learnt_plucking() if weights is None else weights)
    shares = field(chained)
    gains = [
        finger_gains(stroke, shares.shares(at)).astype(np.float32) + 0.1 * chained.own[at]
        for at, stroke in enumerate(strokes)
    ]
    path, _ = best_path(gains, [0.1 * move for move in chained.moves])
    return [ways(len(stroke.strings))[row] for stroke, row in zip(strokes, path, strict=True)]


def finger_gains(stroke: Stroke, shares: Shares) -> Shares:
    """(ways,) how many fingers of a way are expected to be a guitarist's."""
    fingers = np.array(ways(len(stroke.strings)))
    gain = np.zeros(len(fingers))
    for column in range(fingers.shape[1]):
        gain += np.bincount(fingers[:, column], weights=shares)[fingers[:, column]]
    return gain
