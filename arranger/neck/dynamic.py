"""Shortest paths over grips: a lower bound, a price for every grip, a first solution.

The dynamic program runs over the piece as played. It relaxes two rules of the model: that
equal bars are played alike, and what different shapes cost a piece. Its optimum is
therefore a lower bound, and what a grip costs beyond it (its min-marginal) tells which
grips no better solution can use.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from arranger.neck.grips import NONE, Grips, IntArray
from arranger.neck.moves import FORBIDDEN, Mover, Step
from arranger.neck.piece import Piece

Path = tuple[int, ...]
"""A grip (row) for each slot of a bar."""


@dataclass(frozen=True, slots=True, eq=False)
class Lattice:
    """A piece with its grips and move costs.

    ``grips[c][s]`` belongs to slot ``s`` of class ``c``; ``inside[c][s]`` is the matrix
    from slot s to s + 1; ``joints[k]`` the matrix of joint kind k.
    """

    piece: Piece
    grips: tuple[tuple[Grips, ...], ...]
    entry: IntArray
    inside: tuple[tuple[IntArray, ...], ...]
    joints: tuple[IntArray, ...]

    def cost(self, bars: list[Path]) -> int:
        """Tenths of a choice of one path for every bar as played."""
        piece = self.piece
        total = int(self.entry[bars[0][0]])
        for place, path in enumerate(bars):
            kind = piece.order[place]
            total += sum(int(self.grips[kind][s].cost[row]) for s, row in enumerate(path))
            total += sum(
                int(self.inside[kind][s][path[s], path[s + 1]]) for s in range(len(path) - 1)
            )
            if place + 1 < len(bars):
                total += int(self.joints[piece.joints[place]][path[-1], bars[place + 1][0]])
        return total


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


def lattice(piece: Piece, grips: tuple[tuple[Grips, ...], ...], mover: Mover) -> Lattice:
    """Grips and move costs of a piece; equal steps between equal grips are made once."""
    made: dict[tuple[int, int, object], IntArray] = {}

    def matrix(before: Grips, after: Grips, step: object) -> IntArray:
        key = (id(before), id(after), step)
        if key not in made:
            made[key] = mover.matrix(before, after, step)  # type: ignore[arg-type]
        return made[key]

    inside = tuple(
        tuple(
            matrix(grips[c][s], grips[c][s + 1], step)
            for s, step in enumerate(bar_class.steps)
        )
        for c, bar_class in enumerate(piece.classes)
    )
    joints = tuple(
        matrix(grips[joint.before][-1], grips[joint.after][0], joint.step)
        for joint in piece.kinds
    )
    first = grips[piece.order[0]][0]
    return Lattice(piece, grips, mover.hand_costs[first.hand], inside, joints)


def reachable(
    piece: Piece, grips: tuple[tuple[Grips, ...], ...]
) -> tuple[tuple[Grips, ...], ...]:
    """Without the grips that nothing in their bar can come from or go on to."""
    kept = []
    for bar_class, bar in zip(piece.classes, grips, strict=True):
        row = list(bar)
        for slot, step in enumerate(bar_class.steps):
            row[slot + 1] = row[slot + 1].only(_follows(row[slot], row[slot + 1], step))
        for slot in range(len(bar_class.steps) - 1, -1, -1):
            row[slot] = row[slot].only(_leads(row[slot], row[slot + 1], bar_class.steps[slot]))
        kept.append(tuple(row))
    return tuple(kept)


def _follows(before: Grips, after: Grips, step: Step) -> NDArray[np.intp]:
    """Rows of ``after`` whose hand and held notes some row of ``before`` has."""
    keep = np.ones(len(after), dtype=bool)
    if not step.may_change and not step.chord_begins:
        keep &= np.isin(after.hand, before.hand)
    if step.tune == "held":
        keep &= np.isin(after.tune, before.tune) | (after.tune == NONE)
    if step.bass == "held":
        spots = np.isin(after.bass // 8, before.bass // 8)
        keep &= np.where(after.bass_active == 1, np.isin(after.bass, before.bass), spots)
    if not step.may_fold:
        keep &= np.isin(after.octave, before.octave)
    return np.flatnonzero(keep)


def _leads(before: Grips, after: Grips, step: Step) -> NDArray[np.intp]:
    """Rows of ``before`` from which some row of ``after`` can be reached."""
    keep = np.ones(len(before), dtype=bool)
    if not step.may_change and not step.chord_begins:
        keep &= np.isin(before.hand, after.hand)
    if step.bass == "held":
        keep &= np.isin(before.bass // 8, after.bass // 8)
    return np.flatnonzero(keep)


def prices(net: Lattice, extra: dict[tuple[int, int], IntArray] | None = None) -> Prices:
    """Forward and backward passes; ``extra`` tenths are added by (class, slot) and row."""
    unary = _unary(net, extra or {})
    piece = net.piece
    forward: list[tuple[IntArray, ...]] = []
    reach = net.entry.astype(np.int32)
    for place, kind in enumerate(piece.order):
        if place:
            reach = _step(forward[-1][-1], net.joints[piece.joints[place - 1]])
        bar = []
        for slot in range(len(net.grips[kind])):
            if slot:
                reach = _step(bar[-1], net.inside[kind][slot - 1])
            bar.append(np.minimum(reach + unary[kind][slot], FORBIDDEN))
        forward.append(tuple(bar))
    backward: list[tuple[IntArray, ...]] = []
    rest = np.zeros(len(net.grips[piece.order[-1]][-1]), dtype=np.int32)
    for place in range(len(piece.order) - 1, -1, -1):
        kind = piece.order[place]
        if place + 1 < len(piece.order):
            after = piece.order[place + 1]
            rest = _back(net.joints[piece.joints[place]], backward[-1][0] + unary[after][0])
        bar_back = [rest]
        for slot in range(len(net.grips[kind]) - 1, 0, -1):
            bar_back.append(_back(net.inside[kind][slot - 1], bar_back[-1] + unary[kind][slot]))
        backward.append(tuple(reversed(bar_back)))
    backward.reverse()
    return Prices(tuple(forward), tuple(backward), int(forward[-1][-1].min()))


def _unary(net: Lattice, extra: dict[tuple[int, int], IntArray]) -> list[list[IntArray]]:
    return [
        [
            grips.cost + extra[kind, slot] if (kind, slot) in extra else grips.cost
            for slot, grips in enumerate(bar)
        ]
        for kind, bar in enumerate(net.grips)
    ]


def _step(reach: IntArray, moves: IntArray) -> IntArray:
    through: IntArray = (reach[:, None] + moves).min(axis=0)
    return through


def _back(moves: IntArray, rest: IntArray) -> IntArray:
    through: IntArray = np.minimum((moves + rest[None, :]).min(axis=1), FORBIDDEN)
    return through
