"""Where the hand may be: holding a chord shape, or free at a position of the neck."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from arranger.music.chord import Chord
from arranger.neck.fretboard import Neck, Spot
from arranger.neck.reach import HandRules
from arranger.tables.fingering import ShapeCosts
from arranger.tables.shapes import ChordShape, shapes_for


@dataclass(frozen=True, slots=True)
class Hand:
    """A way to lie on the neck under one harmony.

    ``low``..``high`` is the fret at which the first finger stands (a range where the
    shape leaves it open); ``planted`` maps a finger (1..4, 5 the thumb) to its spot and
    ``barre`` maps further strings that the same finger presses; ``shape`` is None for a
    free hand. ``cost`` is paid once for every harmony it serves.
    """

    shape: ChordShape | None
    low: int
    high: int
    planted: tuple[tuple[int, Spot], ...]
    pressed: tuple[tuple[Spot, int], ...]
    cost: float

    def finger_at(self, spot: Spot) -> int | None:
        """The finger that the shape has on ``spot``, or None."""
        for known, finger in self.pressed:
            if known == spot:
                return finger
        return None


class Hands:
    """The hands met so far, each with its number; keys of a piece share them."""

    def __init__(self) -> None:
        self._numbers: dict[Hand, int] = {}
        self._known: list[Hand] = []
        self._stands = np.zeros((0, 2), dtype=np.int32)

    def number(self, hand: Hand) -> int:
        """The number of ``hand``, a new one when it was not met before."""
        if hand not in self._numbers:
            self._numbers[hand] = len(self._known)
            self._known.append(hand)
        return self._numbers[hand]

    def __getitem__(self, number: int) -> Hand:
        return self._known[number]

    def __len__(self) -> int:
        return len(self._known)

    def stands(self) -> NDArray[np.int32]:
        """(hands, 2): the lowest and highest fret at which each first finger stands."""
        if len(self._stands) != len(self._known):
            pairs = [(hand.low, hand.high) for hand in self._known]
            self._stands = np.array(pairs, dtype=np.int32).reshape(len(pairs), 2)
        return self._stands

    def all(self) -> tuple[Hand, ...]:
        """Every hand met so far, by number."""
        return tuple(self._known)


def shape_hand(shape: ChordShape, cost: float) -> Hand:
    """The hand that holds ``shape``."""
    pressed: list[tuple[Spot, int]] = []
    for place, (fret, finger) in enumerate(zip(shape.frets, shape.fingers, strict=True)):
        if fret and finger is not None:
            pressed.append((Spot(6 - place, fret), 5 if finger == "T" else int(finger)))
    planted: dict[int, Spot] = {}
    for spot, number in pressed:
        planted.setdefault(number, spot)  # a barre is planted on its lowest string
    stands = [spot.fret - number + 1 for spot, number in pressed if number <= 4]
    low, high = (min(stands), max(stands)) if stands else (1, 1)
    return Hand(
        shape=shape,
        low=max(1, low),
        high=max(1, high),
        planted=tuple(sorted(planted.items())),
        pressed=tuple(pressed),
        cost=cost,
    )


def free_hands(rules: HandRules, cost: float) -> tuple[Hand, ...]:
    """A hand without a shape at every position of the level."""
    return tuple(
        Hand(shape=None, low=fret, high=fret, planted=(), pressed=(), cost=cost)
        for fret in range(1, max(1, rules.max_fret - 2) + 1)
    )


def hands_for(
    chord: Chord | None,
    rules: HandRules,
    neck: Neck,
    costs: ShapeCosts,
    book: ChordShape | None = None,
) -> tuple[Hand, ...]:
    """Every hand this student may use under ``chord``: its shapes, then free positions.

    ``book`` is the teacher's own shape for the chord: what else could be held costs so
    much more that it is left only where the tune cannot be reached from it.
    """
    free = free_hands(rules, costs.free_hand if chord is not None else 0.0)
    if chord is None:
        return free
    if book is not None:
        beside = free_hands(rules, costs.free_hand + costs.beside_book)
        return (shape_hand(book, 0.0), *beside)
    held = []
    for shape, plainer in shapes_for(chord, neck.highest_fret):
        if rules.allows_shape(shape):
            grade = {1: 0.0, 2: costs.grade_two, 3: costs.grade_three}[shape.grade]
            held.append(shape_hand(shape, plainer * costs.plainer + grade))
    return (*held, *free)
