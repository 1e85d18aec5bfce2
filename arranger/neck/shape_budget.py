"""What the different shapes of a piece cost, and prices that tell each bar its share of it.

Every different shape costs the student once, however often it returns. A shortest path
cannot see that, so each place where a shape may be taken up is given a price; the prices
of one shape add up to no more than the shape costs. The optimum under such prices is a
lower bound (Lagrangian relaxation of z ≥ x), and the best prices are found by moving them
to the places where the shape is in fact used.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from arranger.neck.dynamic import Lattice, Path, Place
from arranger.neck.grips import IntArray
from arranger.neck.moves import FORBIDDEN
from arranger.tables.shapes import ChordShape

PlacePrices = dict[Place, IntArray]
NO_LIMIT = 10**6
"""Shapes that a piece may have, or should, where a level sets no number."""
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

    def weighed(self, used: int, weight: int, step: float) -> int:
        """A price of a shape (tenths) nearer to the best, after one of ``weight`` had a piece
        hold ``used`` shapes: ``step`` tenths more for each too many, or less for each too few.

        What a price misses (``slack``) is worst at some number of shapes; the best price has
        the piece hold as many. It stops where that number changes (subgradients: Held, Wolfe
        and Crowder 1974).
        """
        turns = (self.new, self.new + self.beyond)
        many = NO_LIMIT if self.most is None else self.most
        fewest = 0 if weight <= turns[0] else self.wanted if weight <= turns[1] else many
        most = 0 if weight < turns[0] else self.wanted if weight < turns[1] else many
        if used > most:
            further = weight + max(1, round(step * (used - most)))
            return min([turn for turn in turns if weight < turn] + [further])
        if used < fewest:
            further = weight - max(1, round(step * (fewest - used)))
            return max([turn for turn in turns if weight > turn] + [further])
        return weight


def rate(turn: int) -> float:
    """How far prices move in a turn (0, 1, …): less and less, so that they come to rest."""
    return 1.0 / (turn + 1.5)


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

    def __init__(self, net: Lattice, budget: ShapeBudget, step: float) -> None:
        self.weight = budget.new
        self._budget = budget
        self._step = step
        self._net = net
        self.numbers, shapes = shape_numbers(net)
        self.all = frozenset(range(len(shapes)))
        self._places = places(net)
        self._hands = {
            (kind, slot): self.numbers.take(grips.hand)
            for kind, bar in enumerate(net.grips)
            for slot, grips in enumerate(bar)
        }
        self._share = np.zeros((len(self._places), len(shapes)))
        for at, place in enumerate(self._places):
            held = self._held(place)
            self._share[at, np.unique(held[held >= 0])] = 1.0
        total = self._share.sum(axis=0, keepdims=True)
        self._share /= np.where(total > 0, total, 1.0)

    def slack(self) -> int:
        """What prices of this weight miss at worst, whatever shapes are held."""
        return self._budget.slack(self.weight, len(self.all))

    def learn(self, paths: dict[int, Path], rate: float) -> None:
        """Bring weight and shares nearer to what ``paths`` use: how many shapes, and where.

        The weight moves by ``step`` tenths at the ``rate`` (0..1) for each shape too many or
        too few.
        """
        used = len(shapes_used(self._net, self.numbers, paths))
        self.weight = self._budget.weighed(used, self.weight, self._step * rate)
        self._follow(paths, rate)

    def _follow(self, paths: dict[int, Path], rate: float) -> None:
        """Move a ``rate`` (0..1) of each used shape's price to the places that use it."""
        used = np.zeros_like(self._share)
        for at, (kind, slot) in enumerate(self._places):
            number = self._held((kind, slot))[paths[kind][slot]]
            if number >= 0:
                used[at, number] = 1.0
        total = used.sum(axis=0, keepdims=True)
        target = used / np.where(total > 0, total, 1.0)
        held = total[0] > 0
        self._share[:, held] = (1 - rate) * self._share[:, held] + rate * target[:, held]

    def by_use(self, paths: dict[int, Path]) -> list[int]:
        """Numbers of the shapes that ``paths`` hold, those of the most bars as played first."""
        times = Counter(self._net.piece.order)
        use: Counter[int] = Counter()
        for kind, path in paths.items():
            held = {int(self._held((kind, slot))[row]) for slot, row in enumerate(path)}
            use.update(dict.fromkeys(held - {-1}, times[kind]))
        return sorted(use, key=lambda number: (-use[number], number))

    def shapes_in(self, rows: Mapping[Place, IntArray]) -> frozenset[int]:
        """Numbers of the shapes that any of these rows holds."""
        found: set[int] = set()
        for place, keep in rows.items():
            found.update(self._held(place).take(keep).tolist())
        return frozenset(found - {-1})

    def priced_in(self, rows: Mapping[Place, IntArray]) -> list[Place]:
        """The places where these rows hold different shapes, so that their prices differ."""
        return [
            place
            for place in self._places
            if len(np.unique(self._held(place).take(rows[place]))) > 1
        ]

    def _held(self, place: Place) -> IntArray:
        """The number of the shape that each grip at a place holds."""
        return self._hands[place]

    def paid(self, paths: dict[int, Path]) -> dict[int, int]:
        """Tenths that ``paths`` pay for each shape they hold, by number."""
        paid = dict.fromkeys(shapes_used(self._net, self.numbers, paths), 0)
        prices = self._tenths()
        for at, (kind, slot) in enumerate(self._places):
            number = int(self._held((kind, slot))[paths[kind][slot]])
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
        for at, place in enumerate(self._places):
            by_number = np.append(tenths[at], np.int32(0))  # -1, no shape: free
            prices[place] = by_number.take(self._held(place))
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
