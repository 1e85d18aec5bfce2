"""Weights that have something in common, so that few labels teach many of them.

A table such as finger by fret has more places than there are labels. Beside its own part each
weight gets parts that it shares: with all places that differ only along some axes
(``ALIKE``), with all that lie further along an axis (``RISING``), and with the same place of a
family of the same form (``TWINS``). What is learnt are the parts, all drawn towards nothing; a
weight is their sum. It is the common way to let sparse counts lean on coarser ones.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from arranger.neck.habits import FAMILIES, START, TOTAL

Array = NDArray[np.float64]
Rows = NDArray[np.int64]

_TWO_FINGERS = ((0,), (1,), (0, 1), (2,), (3,), (2, 3))
_PAIR = ((0, 1), (2,), (3,), (2, 3))
ALIKE: dict[str, tuple[tuple[int, ...], ...]] = {
    "finger_string": ((0,),),
    "finger_fret": ((0,),),
    "string_fret": ((0,),),
    "off_zone": ((0,),),
    "finger_off_string": ((1,),),
    "open_position": ((0,),),
    "role": ((1,),),
    "pair": _PAIR,
    "rest_pair": _PAIR,
    "barre": ((0,), (1,)),
    "rest_barre": ((0,), (1,)),
    "same_finger": ((0,), (1,), (0, 1)),
    "rest_same": ((0,),),
    "other_finger": _TWO_FINGERS,
    "rest_other": _TWO_FINGERS,
    "line": ((0,), (1,), (2,), (0, 2)),
    "line_finger": _TWO_FINGERS,
    "to_open": ((0,), (1,)),
    "from_open": ((0,), (1,)),
    "shift": ((0,),),
}
"""Axes of a family along which places share a part."""
RISING = {
    "finger_fret": 1,
    "string_fret": 1,
    "off_zone": 2,
    "open_position": 1,
    "position": 0,
    "cover": 1,
    "stretch": 0,
    "rest_stretch": 0,
}
"""The axis of a family along which each place shares a part with all that follow."""
TWINS = {
    "rest_pair": "pair",
    "rest_barre": "barre",
    "rest_stretch": "stretch",
    "rest_other": "other_finger",
    "rest_pitch": "same_pitch",
}


def _numbers(name: str) -> Rows:
    """The family's places in the long vector, in its shape."""
    shape = FAMILIES[name]
    return np.arange(int(np.prod(shape))).reshape(shape) + START[name]


def _alike(name: str, axes: tuple[int, ...]) -> Iterator[Rows]:
    size = int(np.prod([FAMILIES[name][axis] for axis in axes]))
    last = range(-len(axes), 0)
    yield from np.moveaxis(_numbers(name), axes, tuple(last)).reshape(-1, size)


def _rising(name: str, axis: int) -> Iterator[Rows]:
    """For each step along the axis, what lies from there on: by row, and in all rows."""
    rows = np.moveaxis(_numbers(name), axis, -1).reshape(-1, FAMILIES[name][axis])
    for step in range(1, rows.shape[1] - 1):
        yield rows[:, step:].ravel()
        if len(rows) > 1:
            yield from rows[:, step:]


def shared_rows() -> list[Rows]:
    """The places of every shared part."""
    alike = (
        rows for name, sets in ALIKE.items() for axes in sets for rows in _alike(name, axes)
    )
    rising = (rows for name, axis in RISING.items() for rows in _rising(name, axis))
    twins = (
        rows
        for one, other in TWINS.items()
        for rows in np.stack([_numbers(one).ravel(), _numbers(other).ravel()], axis=1)
    )
    return list(chain(alike, rising, twins))


class Parts:
    """The parts of all weights: their own first (``TOTAL`` of them), then those shared."""

    def __init__(self) -> None:
        shared = shared_rows()
        self._rows = np.concatenate([np.arange(TOTAL), *shared])
        sizes = [1] * TOTAL + [len(rows) for rows in shared]
        self._parts = np.repeat(np.arange(len(sizes)), sizes)
        self.count = len(sizes)
        self.shared = np.arange(self.count) >= TOTAL

    def weights(self, parts: Array) -> Array:
        """(TOTAL,) the sums of their parts."""
        return np.bincount(self._rows, parts[self._parts], TOTAL).astype(np.float64)

    def gradient(self, weights: Array) -> Array:
        """(count,) of a gradient by weights, the gradient by parts."""
        return np.bincount(self._parts, weights[self._rows], self.count).astype(np.float64)
