"""What guitarists do rather than not: features of grips and moves, and their weights.

Conventions
-----------
A weight is a log-odds: the score of a way to play is the sum of the weights of what it
does, higher is likelier, and the shares of all ways are exp(score) normalised (a linear-chain
conditional random field, Lafferty, McCallum & Pereira 2001). ``FAMILIES`` names the families
of features with their shapes; every feature is a place in one long vector.

*Position* is the fret at which the first finger stands, 1 and up; *off* is how far a finger
stands from its own fret in the position.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate
from math import prod

import numpy as np
from numpy.typing import NDArray

from arranger.neck.presses import (
    FINGER,
    FRET,
    FRETTED,
    PRESSES,
    RELEASED,
    STRING,
    HandTables,
)

POSITIONS = 16
"""Positions 1..15; place 0 is unused."""
ROLES = 3
"""A struck note is the top, an inner or the lowest note of its onset."""
SPEEDS = 3
"""Quick, even, slow: by the quarters since the onset before."""
SHIFT = 7
"""Shifts of more frets than this count as this many."""

WINDOWS = 2, 6
"""Windows of notes near by: an onset and so many after it."""
MISSED = 5
"""More notes near by that a position misses count as so many."""
LEAST_FROM, LEAST_TO = 3, 6
"""A position lies from so far below to so far above the lowest that misses least."""
ZONES_FROM = 2, 4, 7
"""Where zones of positions begin, after the first position."""
LEAP_FROM = 1, 3, 5, 8
"""Leaps of a line: a unison, and up or down by seconds, thirds, up to a fifth, and more
semitones.
"""

Array = NDArray[np.float64]
Places = NDArray[np.int32]

FAMILIES: dict[str, tuple[int, ...]] = {
    "finger_string": (6, 7),  # a note struck: finger by string
    "finger_fret": (6, 25),  # finger by fret
    "string_fret": (7, 25),  # string by fret
    "finger_off": (6, 5),  # finger by frets off its own, -2..2
    "finger_off_string": (5, 3, 3),  # fingers 1..4, low/middle/high strings, back/own/ahead
    "off_zone": (6, 5, len(ZONES_FROM) + 1),  # the same by the zone of the position
    "open_position": (2, POSITIONS),  # an open string (bass strings, others) by position
    "role": (ROLES, 7, 2),  # top, inner, lowest; string; fretted
    "held_off": (5,),  # a note held while its finger is off by 0..4 frets
    "position": (POSITIONS,),  # each onset, by position
    "cover": (len(WINDOWS), MISSED + 1),  # by window: notes that lie outside the position
    "least": (len(WINDOWS), LEAST_FROM + LEAST_TO + 1),  # frets from the best
    "pair": (5, 5, 6, 3),  # two fingers held; frets between; string of the higher finger
    "stretch": (8,),  # eighths of the reach
    "barre": (6, 7),  # one finger on two strings: finger, width
    "same_finger": (SPEEDS, 6, 6),  # speed, finger, how it goes on
    "other_finger": (6, 6, 3, 7),  # fingers, string same/higher/lower, frets against fingers
    "same_pitch": (4,),  # struck again: same press, other finger, other string
    "line": (2 * len(LEAP_FROM) + 1, 5, 4),  # in a line: leap, strings crossed, open or not
    "line_finger": (6, 6, 3, 7),  # in a line: like other_finger
    "to_open": (6, 3),  # from a finger to an open string: same, higher, lower
    "from_open": (6, 3),
    "shift": (SPEEDS, 2 * SHIFT + 1),
    "shift_free": (2, 2),  # a shift: nothing fretted before; a fretted note held on
    "release": (4,),  # let go early: at all, share lost, less than half, open string
    "barre_change": (3,),  # first finger's barre: new, new where the finger lay, kept
    "rest": (6, 2),  # a finger that rests where its note has ended: finger, on or off its fret
    "rest_pair": (5, 5, 6, 3),  # like pair, barre, stretch: a finger struck, one that rests
    "rest_barre": (6, 7),
    "rest_stretch": (8,),
    "rest_same": (6, 6),  # like same_finger, other_finger, same_pitch: from one that rested
    "rest_other": (6, 6, 3, 7),
    "rest_pitch": (4,),
}
_SIZES = {name: prod(shape) for name, shape in FAMILIES.items()}
START = dict(zip(FAMILIES, accumulate(_SIZES.values(), initial=0), strict=False))
TOTAL = sum(_SIZES.values())
NOTHING = TOTAL
"""The place of what carries no weight."""


def places(name: str, *index: NDArray[np.int32] | int) -> Places:
    """Places in the long vector of a family's entries at ``index``."""
    flat = np.ravel_multi_index(
        tuple(np.asarray(part, dtype=np.int64) for part in index), FAMILIES[name]
    )
    return np.asarray(flat + START[name], dtype=np.int32)


def of_family(vector: Array, name: str) -> Array:
    """The family's part of a long vector, in its shape (a view)."""
    start = START[name]
    return vector[start : start + _SIZES[name]].reshape(FAMILIES[name])


def speed(quarters: float) -> int:
    """0 quick, 1 even, 2 slow."""
    return 0 if quarters < 0.3 else 1 if quarters < 0.75 else 2


# Which features a press, or two presses, have ----------------------------------------


def press_places() -> tuple[Places, ...]:
    """Planes (presses,) of what a struck press has, whatever the position."""
    planes = (
        places("finger_string", FINGER, STRING),
        places("finger_fret", FINGER, FRET),
        places("string_fret", STRING, FRET),
    )
    for plane in planes:
        plane[RELEASED] = NOTHING
    return planes


def position_places() -> tuple[Places, ...]:
    """Planes (presses, positions) of a struck press in a position."""
    position = np.arange(POSITIONS)[None, :]
    off = np.clip(FRET[:, None] - FINGER[:, None] + 1 - position, -2, 2)
    fretted = np.broadcast_to(FRETTED[:, None], off.shape)
    third = np.clip((STRING[:, None] - 1) // 2, 0, 2)
    four = np.clip(FINGER[:, None], 0, 4)
    own = places("finger_off", np.broadcast_to(FINGER[:, None], off.shape), off + 2)
    zone = np.digitize(position, ZONES_FROM)
    by_zone = places(
        "off_zone",
        np.broadcast_to(FINGER[:, None], off.shape),
        off + 2,
        np.broadcast_to(zone, off.shape),
    )
    by_string = places(
        "finger_off_string",
        np.broadcast_to(four, off.shape),
        np.broadcast_to(third, off.shape),
        np.sign(off) + 1,
    )
    low = (STRING[:, None] >= 4).astype(np.int32)
    opened = places(
        "open_position",
        np.broadcast_to(low, off.shape),
        np.broadcast_to(position, off.shape),
    )
    planes = (
        np.where(fretted, own, opened),
        np.where(fretted, by_string, NOTHING),
        np.where(fretted, by_zone, NOTHING),
    )
    for plane in planes:
        plane[RELEASED] = NOTHING
    return planes


def held_places() -> Places:
    """Plane (presses, positions): how far off a held note's finger stands."""
    position = np.arange(POSITIONS)[None, :]
    off = np.clip(np.abs(FRET[:, None] - FINGER[:, None] + 1 - position), 0, 4)
    return np.where(FRETTED[:, None], places("held_off", off), NOTHING)


def role_places() -> Places:
    """Plane (roles, presses)."""
    role = np.arange(ROLES)[:, None]
    shape = (ROLES, PRESSES)
    plane = places(
        "role",
        np.broadcast_to(role, shape),
        np.broadcast_to(STRING, shape),
        np.broadcast_to(FRETTED.astype(np.int32), shape),
    )
    plane[:, RELEASED] = NOTHING
    return plane


def rest_places() -> Places:
    """Plane (presses, positions): a finger that rests."""
    position = np.arange(POSITIONS)[None, :]
    off = np.abs(FRET[:, None] - FINGER[:, None] + 1 - position)
    finger = np.broadcast_to(FINGER[:, None], off.shape)
    return np.where(FRETTED[:, None], places("rest", finger, np.minimum(off, 1)), NOTHING)


def pair_places(
    hand: HandTables, names: tuple[str, str, str] = ("pair", "barre", "stretch")
) -> tuple[Places, ...]:
    """Planes (presses, presses) of two presses held at once."""
    one, other = FINGER[:, None], FINGER[None, :]
    both = FRETTED[:, None] & FRETTED[None, :]
    swap = one > other
    low, high = np.minimum(one, other), np.maximum(one, other)
    frets = FRET[None, :] - FRET[:, None]
    frets = np.clip(np.where(swap, -frets, frets), 0, 5)
    strings = np.sign(STRING[None, :] - STRING[:, None])
    strings = np.where(swap, -strings, strings) + 1  # 2: the higher finger's string is lower
    fingers = both & (low != high) & (high < 5)
    pair = places(names[0], np.minimum(low, 4), np.minimum(high, 4), frets, strings)
    eighth = np.clip((hand.stretch * 8).astype(np.int32), 0, 7)
    width = np.minimum(np.abs(STRING[:, None] - STRING[None, :]) + 1, 6)
    barre = places(names[1], np.broadcast_to(one, width.shape), width)
    return (
        np.where(fingers, pair, np.where(both & (low == high), barre, NOTHING)),
        np.where(fingers, places(names[2], eighth), NOTHING),
    )


def move_places() -> tuple[tuple[Places, ...], ...]:
    """Planes (presses before, presses struck): one for each speed, those for any, and those
    from a finger that rested.
    """
    before, after = FINGER[:, None], FINGER[None, :]
    both = FRETTED[:, None] & FRETTED[None, :]
    frets = FRET[None, :] - FRET[:, None]
    strings = np.sign(STRING[:, None] - STRING[None, :])  # 1: to a higher string
    strings = np.where(strings == 0, 0, np.where(strings > 0, 1, 2))
    same_string = strings == 0
    way = np.where(
        same_string,
        np.where(frets == 0, 0, np.where(np.abs(frets) <= 2, 1, 2)),
        np.where(frets == 0, 3, np.where(np.abs(frets) <= 1, 4, 5)),
    )
    same = both & (before == after)
    shape = same.shape
    fast = tuple(
        np.where(
            same, places("same_finger", pace, np.broadcast_to(before, shape), way), NOTHING
        )
        for pace in range(SPEEDS)
    )
    *fingers, _, against = _against()
    other = places("other_finger", *fingers, strings, against)
    to_open = places("to_open", fingers[0], strings)
    from_open = places("from_open", fingers[1], strings)
    opened = FRET == 0
    known = np.arange(PRESSES) != RELEASED
    real = known[:, None] & known[None, :]
    plain = np.where(both & (before != after), other, NOTHING)
    plain = np.where(real & FRETTED[:, None] & opened[None, :], to_open, plain)
    plain = np.where(real & opened[:, None] & FRETTED[None, :], from_open, plain)
    rested = (
        np.where(same, places("rest_same", fingers[0], way), NOTHING),
        np.where(both & ~same, places("rest_other", *fingers, strings, against), NOTHING),
        _pitch_places(real, "rest_pitch"),
    )
    return fast, (plain, _pitch_places(real)), rested


def line_places() -> tuple[Places, ...]:
    """Planes (presses before, presses struck) of two notes that follow each other in a line."""
    midi = _sounding()
    up = midi[None, :] - midi[:, None]
    leap = np.digitize(np.abs(up), LEAP_FROM)
    leap = np.where(up < 0, leap + len(LEAP_FROM), leap)
    crossed = STRING[:, None] - STRING[None, :]  # more than 0: to a string where the leap goes
    crossed = np.clip(np.where(up < 0, -crossed, crossed), -2, 2) + 2
    both = FRETTED[:, None] * 2 + FRETTED[None, :]
    known = np.arange(PRESSES) != RELEASED
    real = known[:, None] & known[None, :]
    fretted = real & FRETTED[:, None] & FRETTED[None, :]
    return (
        np.where(real, places("line", leap, crossed, both), NOTHING),
        np.where(fretted, places("line_finger", *_against()), NOTHING),
    )


def _sounding() -> Places:
    """(presses,) the pitch in standard tuning (other tunings: near enough)."""
    return np.asarray(np.array([0, 64, 59, 55, 50, 45, 40])[STRING] + FRET, dtype=np.int32)


def _against() -> tuple[Places, Places, Places, Places]:
    """(presses before, presses struck) fingers, whether the string is the same, higher or
    lower, and how many frets the hand would move.
    """
    before, after = FINGER[:, None], FINGER[None, :]
    frets = FRET[None, :] - FRET[:, None]
    strings = np.sign(STRING[:, None] - STRING[None, :])
    strings = np.where(strings == 0, 0, np.where(strings > 0, 1, 2))
    against = np.clip(frets - (after - before), -3, 3) + 3
    first, second = np.broadcast_arrays(before, after)
    return first, second, strings.astype(np.int32), against.astype(np.int32)


def _pitch_places(real: NDArray[np.bool_], name: str = "same_pitch") -> Places:
    """Plane: the same pitch again."""
    midi = _sounding()
    again = real & (midi[:, None] == midi[None, :])
    string = STRING[:, None] == STRING[None, :]
    finger = FINGER[:, None] == FINGER[None, :]
    kind = np.where(string & finger, 0, np.where(string, 1, np.where(FRETTED[None, :], 2, 3)))
    return np.where(again, places(name, kind), NOTHING)


@dataclass(frozen=True, eq=False)
class Features:
    """The planes of a hand, made once; see the functions above."""

    hand: HandTables

    @cached_property
    def press(self) -> tuple[Places, ...]:
        return press_places()

    @cached_property
    def position(self) -> tuple[Places, ...]:
        return position_places()

    @cached_property
    def held(self) -> Places:
        return held_places()

    @cached_property
    def role(self) -> Places:
        return role_places()

    @cached_property
    def pair(self) -> tuple[Places, ...]:
        return pair_places(self.hand)

    @cached_property
    def rest(self) -> Places:
        return rest_places()

    @cached_property
    def rest_pair(self) -> tuple[Places, ...]:
        return pair_places(self.hand, ("rest_pair", "rest_barre", "rest_stretch"))

    @cached_property
    def move(self) -> tuple[tuple[Places, ...], ...]:
        return move_places()

    @cached_property
    def line(self) -> tuple[Places, ...]:
        return line_places()

    @cached_property
    def shift(self) -> Places:
        """Plane (speeds, positions before, positions after)."""
        step = np.arange(POSITIONS)[None, :] - np.arange(POSITIONS)[:, None]
        step = np.clip(step, -SHIFT, SHIFT) + SHIFT
        return np.stack(
            [places("shift", np.full_like(step, pace), step) for pace in range(SPEEDS)]
        )


@dataclass(frozen=True, eq=False)
class Habits:
    """A weight vector laid out as tables for one hand."""

    features: Features
    weights: Array

    @cached_property
    def _padded(self) -> NDArray[np.float32]:
        return np.append(self.weights, 0.0).astype(np.float32)

    def _sum(self, *planes: Places) -> NDArray[np.float32]:
        total = self._padded[planes[0]]
        for plane in planes[1:]:
            total = total + self._padded[plane]
        return total

    @cached_property
    def struck(self) -> NDArray[np.float32]:
        """(roles, presses, positions): a struck press."""
        alone = self._sum(*self.features.press)
        role = self._padded[self.features.role] + alone[None, :]
        return role[:, :, None] + self._sum(*self.features.position)[None]

    @cached_property
    def held(self) -> NDArray[np.float32]:
        return self._sum(self.features.held)

    @cached_property
    def pair(self) -> NDArray[np.float32]:
        return self._sum(*self.features.pair)

    @cached_property
    def move(self) -> NDArray[np.float32]:
        """(speeds, presses, presses)."""
        quick, plain, _ = self.features.move
        rest = self._sum(*plain)
        return np.stack([self._sum(plane) + rest for plane in quick])

    @cached_property
    def rest(self) -> NDArray[np.float32]:
        return self._sum(self.features.rest)

    @cached_property
    def rest_pair(self) -> NDArray[np.float32]:
        return self._sum(*self.features.rest_pair)

    @cached_property
    def rest_move(self) -> NDArray[np.float32]:
        """(presses, presses)."""
        return self._sum(*self.features.move[2])

    @cached_property
    def line(self) -> NDArray[np.float32]:
        """(presses, presses): a line goes on."""
        return self._sum(*self.features.line)

    @cached_property
    def shift(self) -> NDArray[np.float32]:
        return self._padded[self.features.shift]

    def at(self, places_: Places) -> NDArray[np.float32]:
        """The weights at places."""
        return self._padded[places_]

    def family(self, name: str) -> Array:
        return of_family(self.weights, name)
