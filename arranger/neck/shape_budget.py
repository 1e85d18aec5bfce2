"""What the different shapes of a piece cost, and prices that tell each bar its share of it.

Every different shape costs the student once, however often it returns. A shortest path
cannot see that, so each place where a shape may be taken up is given a price; the prices
of one shape add up to no more than the shape costs. The optimum under such prices is a
lower bound (Lagrangian relaxation of z ≥ x), and the best prices are found by moving them
to the places where the shape is in fact used.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from arranger.neck.dynamic import Lattice, Path
from arranger.neck.grips import IntArray
from arranger.neck.moves import FORBIDDEN
from arranger.tables.shapes import ChordShape

Place = tuple[int, int]
"""(class, slot) at which a hand may be taken up."""
PlacePrices = dict[Place, IntArray]
State = tuple[int, NDArray[np.float64]]
"""The price of a shape in tenths, and the share of it that each place pays."""


@dataclass(frozen=True, slots=True)
class ShapeBudget:
    """``new`` tenths for each different shape, ``beyond`` more for each over ``wanted``;
    never more than ``most`` (None: no limit).
    """

    new: int
    beyond: int
    wanted: int
    most: int | None

    def cost(self, shapes: int) -> int | None:
        """Tenths for that many shapes; None when they are too many."""
        if self.most is not None and shapes > self.most:
            return None
        return self.new * shapes + self.beyond * max(0, shapes - self.wanted)

    def slack(self, weight: int, known: int, held: int = 0) -> int:
        """The least of cost(held + k) − weight·k over 0 ≤ k ≤ known: what a price of
        ``weight`` a shape misses at worst, where ``held`` shapes are held whatever comes.

        Raises
        ------
        ValueError : more shapes are held than there may be.
        """
        costs = ((k, self.cost(held + k)) for k in range(known + 1))
        return min(cost - weight * k for k, cost in costs if cost is not None)

    def weighed(self, shapes: int, weight: int) -> int:
        """A price of a shape (tenths) nearer to what makes a piece hold as many as are wished
        for, after one of ``weight`` had it hold ``shapes``.

        It lies between what a shape costs up to the wish and what it costs beyond, half of
        the way to the one or the other; where a piece held more than it may, above both.
        """
        dearest = self.new + self.beyond
        if self.most is not None and shapes > self.most:
            return max(round(weight * 1.3), dearest)
        weight = min(weight, dearest)
        if shapes == self.wanted:
            return weight
        return (weight + (dearest if shapes > self.wanted else self.new)) // 2


def places(net: Lattice) -> list[Place]:
    """Where a hand can change: the first slot of every class, and new harmonies in it."""
    found = []
    for kind, bar in enumerate(net.piece.classes):
        found.append((kind, 0))
        found.extend(
            (kind, slot + 1)
            for slot, step in enumerate(bar.steps)
            if step.chord_begins or step.may_change
        )
    return found


def shape_numbers(net: Lattice) -> tuple[IntArray, tuple[ChordShape, ...]]:
    """For every hand the number of its shape (-1: none), and the shapes by number."""
    known: dict[ChordShape, int] = {}
    numbers = [
        -1 if hand.shape is None else known.setdefault(hand.shape, len(known))
        for hand in net.piece.hands
    ]
    return np.array(numbers, dtype=np.int32), tuple(known)


def shapes_used(net: Lattice, numbers: IntArray, paths: dict[int, Path]) -> set[int]:
    """Numbers of the shapes that a folded solution holds."""
    used = {
        int(numbers[net.grips[kind][slot].hand[row]])
        for kind, path in paths.items()
        for slot, row in enumerate(path)
    }
    return used - {-1}


class ShapePrices:
    """Prices by shape and place; start with an even share, then follow the use."""

    def __init__(self, net: Lattice, weight: int) -> None:
        self.weight = weight
        self._net = net
        self.numbers, shapes = shape_numbers(net)
        self.count = len(shapes)
        self._places = places(net)
        self._share = np.zeros((len(self._places), len(shapes)))
        for at, (kind, slot) in enumerate(self._places):
            held = self.numbers[net.grips[kind][slot].hand]
            self._share[at, np.unique(held[held >= 0])] = 1.0
        total = self._share.sum(axis=0, keepdims=True)
        self._share /= np.where(total > 0, total, 1.0)

    def follow(self, paths: dict[int, Path], rate: float) -> None:
        """Move a ``rate`` (0..1) of each used shape's price to the places that use it."""
        used = np.zeros_like(self._share)
        for at, (kind, slot) in enumerate(self._places):
            number = self.numbers[self._net.grips[kind][slot].hand[paths[kind][slot]]]
            if number >= 0:
                used[at, number] = 1.0
        total = used.sum(axis=0, keepdims=True)
        target = used / np.where(total > 0, total, 1.0)
        held = total[0] > 0
        self._share[:, held] = (1 - rate) * self._share[:, held] + rate * target[:, held]

    def shapes_in(self, rows: Mapping[Place, IntArray]) -> frozenset[int]:
        """Numbers of the shapes that any of these rows holds."""
        found: set[int] = set()
        for (kind, slot), keep in rows.items():
            found.update(self.numbers[self._net.grips[kind][slot].hand[keep]].tolist())
        return frozenset(found - {-1})

    def paid(self, paths: dict[int, Path]) -> dict[int, int]:
        """Tenths that ``paths`` pay for each shape they hold, by number."""
        paid = dict.fromkeys(shapes_used(self._net, self.numbers, paths), 0)
        prices = self._tenths()
        for at, (kind, slot) in enumerate(self._places):
            number = int(self.numbers[self._net.grips[kind][slot].hand[paths[kind][slot]]])
            if number >= 0:
                paid[number] += int(prices[at, number])
        return paid

    def state(self) -> State:
        """Weight and shares, to come back to with ``restore``."""
        return self.weight, self._share.copy()

    def restore(self, state: State) -> None:
        """Take back an earlier ``state``."""
        self.weight, self._share = state[0], state[1].copy()

    def by_row(
        self, free: frozenset[int] = frozenset(), barred: frozenset[int] = frozenset()
    ) -> PlacePrices:
        """Whole tenths to add to every grip, once a class. Of the shapes (numbers) those of
        ``free`` cost nothing here, and those of ``barred`` cannot be taken up.
        """
        prices: PlacePrices = {}
        tenths = self._tenths()
        tenths[:, sorted(free)] = 0
        tenths[:, sorted(barred)] = FORBIDDEN
        for at, (kind, slot) in enumerate(self._places):
            held = self.numbers[self._net.grips[kind][slot].hand]
            prices[kind, slot] = np.append(tenths[at], np.int32(0))[held]  # -1, no shape: free
        return prices

    def _tenths(self) -> IntArray:
        """(places, shapes) whole tenths that add up to no more than the price of a shape.

        Rounded down, and what is missing goes to the places that lost most: a price of
        three points over forty bars would otherwise be lost.
        """
        exact = self._share * self.weight
        whole = np.floor(exact + 1e-9)
        missing = np.floor(exact.sum(axis=0) + 1e-6 - whole.sum(axis=0))
        order = np.argsort(whole - exact, axis=0, kind="stable")
        rank = np.argsort(order, axis=0, kind="stable")
        tenths: IntArray = (whole + (rank < missing[None, :])).astype(np.int32)
        return tenths


def allowed_rows(
    net: Lattice, numbers: IntArray, shapes: Iterable[int], rows: dict[Place, IntArray]
) -> dict[Place, IntArray]:
    """``rows`` without the grips that hold a shape other than ``shapes``."""
    allowed = np.array([*sorted(shapes), -1], dtype=np.int32)
    return {
        place: keep[np.isin(numbers[net.grips[place[0]][place[1]].hand[keep]], allowed)]
        for place, keep in rows.items()
    }
