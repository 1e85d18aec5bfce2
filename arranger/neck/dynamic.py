"""Shortest paths over grips: a lower bound, a price for every grip, a first solution.

The dynamic program runs over the piece as played. It relaxes two rules of the model: that
equal bars are played alike, and what different shapes cost a piece. Its optimum is
therefore a lower bound, and what a grip costs beyond it (its min-marginal) tells which
grips no better solution can use.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from arranger.neck.grips import Grips, IntArray
from arranger.neck.moves import FORBIDDEN, Mover, Moves, connected
from arranger.neck.outline import BarClass
from arranger.neck.piece import Piece

Path = tuple[int, ...]
"""A grip (row) for each slot of a bar."""
Place = tuple[int, int]
"""(class, slot)."""


@dataclass(frozen=True, slots=True, eq=False)
class Lattice:
    """A piece with its grips and move costs.

    ``grips[c][s]`` belongs to slot ``s`` of class ``c``; ``inside[c][s]`` are the moves
    from slot s to s + 1; ``joints[k]`` those of joint kind k.
    """

    piece: Piece
    grips: tuple[tuple[Grips, ...], ...]
    entry: IntArray
    inside: tuple[tuple[Moves, ...], ...]
    joints: tuple[Moves, ...]

    def cost(self, bars: list[Path]) -> int:
        """Tenths of a choice of one path for every bar as played."""
        piece = self.piece
        played = Counter(zip(piece.order, bars, strict=True))
        joined = Counter(
            (joint, before[-1], after[0])
            for joint, (before, after) in zip(piece.joints, pairwise(bars), strict=True)
        )
        total = int(self.entry[bars[0][0]])
        total += sum(
            self.inside_bar(kind, path) * times for (kind, path), times in played.items()
        )
        return total + sum(
            self.joints[joint].between(here, there) * times
            for (joint, here, there), times in joined.items()
        )

    def inside_bar(self, kind: int, path: Path) -> int:
        """Tenths of a path through one bar: its grips and the moves between them."""
        grips = zip(self.grips[kind], path, strict=True)
        moves = zip(self.inside[kind], pairwise(path), strict=True)
        return sum(int(grip.cost[row]) for grip, row in grips) + sum(
            move.between(here, there) for move, (here, there) in moves
        )


def restricted(net: Lattice, rows: dict[Place, IntArray]) -> Lattice:
    """The lattice with only ``rows`` of its grips, by (class, slot)."""
    grips = tuple(
        tuple(grip.only(rows[kind, slot].astype(np.intp)) for slot, grip in enumerate(bar))
        for kind, bar in enumerate(net.grips)
    )
    inside = tuple(
        tuple(
            moves.only(rows[kind, slot], rows[kind, slot + 1]) for slot, moves in enumerate(bar)
        )
        for kind, bar in enumerate(net.inside)
    )
    joints = tuple(
        moves.only(rows[joint.before, len(net.grips[joint.before]) - 1], rows[joint.after, 0])
        for joint, moves in zip(net.piece.kinds, net.joints, strict=True)
    )
    entry = net.entry[rows[net.piece.order[0], 0]]
    return Lattice(net.piece, grips, entry, inside, joints)


@dataclass(frozen=True, slots=True, eq=False)
class Prices:
    """Forward and backward costs of every grip of every bar as played, in tenths."""

    forward: tuple[tuple[IntArray, ...], ...]
    backward: tuple[tuple[IntArray, ...], ...]
    best: int

    def marginals(self, bar: int, slot: int) -> IntArray:
        """What the best path through each grip costs."""
        total: IntArray = self.forward[bar][slot] + self.backward[bar][slot]
        return total


@dataclass(frozen=True, slots=True, eq=False)
class BarLattice:
    """The grips of a bar's slots and the moves from each slot to the next."""

    grips: tuple[Grips, ...]
    inside: tuple[Moves, ...]


def bar_lattice(bar: BarClass, grips: tuple[Grips, ...], mover: Mover) -> BarLattice:
    """Grips and moves of a bar, without grips that lead nowhere within it."""
    rows, pairs = connected(grips, bar.steps)
    inside = tuple(
        mover.between(rows[slot], rows[slot + 1], step, pairs[slot])
        for slot, step in enumerate(bar.steps)
    )
    return BarLattice(tuple(rows), inside)


def lattice(piece: Piece, bars: Sequence[BarLattice], mover: Mover) -> Lattice:
    """The bars of a piece (by class) with the moves over their joints."""
    joints = tuple(
        mover.between(bars[joint.before].grips[-1], bars[joint.after].grips[0], joint.step)
        for joint in piece.kinds
    )
    first = bars[piece.order[0]].grips[0]
    return Lattice(
        piece,
        tuple(bar.grips for bar in bars),
        mover.hand_costs[first.hand],
        tuple(bar.inside for bar in bars),
        joints,
    )


def prices(net: Lattice, once: dict[Place, IntArray] | None = None) -> Prices:
    """Forward and backward passes. The tenths of ``once``, by (class, slot) and row, are paid
    once a class, shared among its bars.
    """
    return prices_as_played(net, costs_as_played(net, once or {}))


def costs_as_played(net: Lattice, once: dict[Place, IntArray]) -> list[list[IntArray]]:
    """The cost of every grip of every bar as played, and of what is paid ``once`` a class a
    share: whole tenths that sum to it.
    """
    times = Counter(net.piece.order)
    met: Counter[int] = Counter()
    played: list[list[IntArray]] = []
    for kind in net.piece.order:
        costs = [grips.cost for grips in net.grips[kind]]
        for slot in range(len(costs)):
            if (kind, slot) in once:
                price = once[kind, slot]
                until = price * (met[kind] + 1) // times[kind]
                costs[slot] = costs[slot] + until - price * met[kind] // times[kind]
        met[kind] += 1
        played.append(costs)
    return played


def prices_as_played(net: Lattice, unary: Sequence[Sequence[IntArray]]) -> Prices:
    """The passes with costs of their own for every bar as played: ``unary[bar][slot]``."""
    piece = net.piece
    forward = _forward(net, unary)
    backward: list[tuple[IntArray, ...]] = []
    rest = np.zeros(len(net.grips[piece.order[-1]][-1]), dtype=np.int32)
    for place in range(len(piece.order) - 1, -1, -1):
        kind = piece.order[place]
        if place + 1 < len(piece.order):
            later = backward[-1][0] + unary[place + 1][0]
            rest = net.joints[piece.joints[place]].backward(later)
        bar_back = [rest]
        for slot in range(len(net.grips[kind]) - 1, 0, -1):
            later = bar_back[-1] + unary[place][slot]
            bar_back.append(net.inside[kind][slot - 1].backward(later))
        backward.append(tuple(reversed(bar_back)))
    backward.reverse()
    return Prices(tuple(forward), tuple(backward), int(forward[-1][-1].min()))


def least_cost(net: Lattice) -> int:
    """Tenths of the shortest path: ``prices(net).best`` without the way back."""
    forward = _forward(net, costs_as_played(net, {}))
    return int(forward[-1][-1].min())


def first_stop(net: Lattice) -> int | None:
    """The first bar as played that no path gets through, or None where one runs to the end."""
    reached = _forward(net, costs_as_played(net, {}))
    stops = (
        bar
        for bar, row in enumerate(reached)
        if any(not len(cost) or int(cost.min()) >= FORBIDDEN for cost in row)
    )
    return next(stops, None)


def _forward(net: Lattice, unary: Sequence[Sequence[IntArray]]) -> list[tuple[IntArray, ...]]:
    """The least cost of reaching every grip of every bar as played."""
    piece = net.piece
    forward: list[tuple[IntArray, ...]] = []
    reach = net.entry.astype(np.int32)
    for place, kind in enumerate(piece.order):
        if place:
            reach = net.joints[piece.joints[place - 1]].forward(forward[-1][-1])
        bar: list[IntArray] = []
        for slot, cost in enumerate(unary[place]):
            if slot:
                reach = net.inside[kind][slot - 1].forward(bar[-1])
            bar.append(np.minimum(reach + cost, FORBIDDEN))
        forward.append(tuple(bar))
    return forward


def least_marginals(net: Lattice, found: Prices) -> dict[Place, IntArray]:
    """For every grip the dearest of its min-marginals over the bars of its class."""
    marginals: dict[Place, IntArray] = {}
    for bar, kind in enumerate(net.piece.order):
        for slot in range(len(net.grips[kind])):
            here = found.marginals(bar, slot)
            known = marginals.get((kind, slot))
            marginals[kind, slot] = here if known is None else np.maximum(known, here)
    return marginals
