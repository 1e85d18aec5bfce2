"""One bar as played, between the grips chosen around it: the best path through every grip."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from arranger.music.reduction import Reduction, Setting, Slot
from arranger.neck.dynamic import Lattice, Path
from arranger.neck.grip_maker import GripMaker
from arranger.neck.grips import Context, Grip, Grips, IntArray
from arranger.neck.hands import Hand
from arranger.neck.moves import FORBIDDEN, Mover, Moves
from arranger.neck.shape_budget import ShapeBudget
from arranger.neck.written import Chosen
from arranger.tables import Level, Player

Mask = tuple[NDArray[np.bool_], ...]
"""For each slot of a bar which of its grips may be used."""


@dataclass(frozen=True, slots=True)
class Solved:
    """A piece solved: its lattice, a path for every class of bars, and what else it takes
    to turn grips into notes.
    """

    reduction: Reduction
    setting: Setting
    net: Lattice
    paths: dict[int, Path]
    maker: GripMaker
    mover: Mover
    level: Level
    player: Player
    budget: ShapeBudget

    def slots(self) -> list[list[Slot]]:
        """The slots of every bar of ``net.piece.order``."""
        by_bar: dict[int, list[Slot]] = {}
        for slot in self.reduction.slots:
            by_bar.setdefault(slot.bar, []).append(slot)
        return list(by_bar.values())

    def chosen(self, place: int, path: Path, slots: Sequence[Slot]) -> list[Chosen]:
        grips = self.net.grips[self.net.piece.order[place]]
        return [
            Chosen(slot, grip.items[row])
            for slot, grip, row in zip(slots, grips, path, strict=True)
        ]


@dataclass(frozen=True, eq=False, kw_only=True)
class BarBetween:
    """One bar as played, between the grips chosen around it.

    ``entry`` and ``exit`` are tenths from the grip before and to the grip after, by row;
    ``inside`` are the moves from slot to slot, ``chosen`` the rows that were chosen.
    ``kind`` is its class in the piece's lattice, None where its grips are not those.
    """

    slots: Sequence[Slot]
    hands: Sequence[Hand]
    grips: tuple[Grips, ...]
    inside: tuple[Moves, ...]
    entry: IntArray
    exit: IntArray
    chosen: Path
    kind: int | None = None

    @cached_property
    def _free(self) -> tuple[list[IntArray], list[IntArray]]:
        """The passes over all grips."""
        return self._passes(tuple(np.ones(len(grips), dtype=bool) for grips in self.grips))

    def cost(self, path: Path) -> int:
        """Tenths of a path with its ways from and to the bars around it."""
        moves = zip(self.inside, path, path[1:], strict=False)
        total = int(self.entry[path[0]]) + int(self.exit[path[-1]]) + self.holding(path)
        return total + sum(inside.between(here, there) for inside, here, there in moves)

    def holding(self, path: Path) -> int:
        """Tenths of a path's grips alone."""
        pairs = zip(self.grips, path, strict=True)
        return sum(int(grips.cost[row]) for grips, row in pairs)

    def items(self, path: Path) -> list[Grip]:
        return [grips.items[row] for grips, row in zip(self.grips, path, strict=True)]

    def best(self, mask: Mask) -> Path | None:
        """The cheapest path within a mask."""
        forward, backward = self._passes(mask)
        total = forward[0] + backward[0]
        row = int(total.argmin())
        return self._through(forward, backward, 0, row) if total[row] < FORBIDDEN else None

    def best_through(self, wanted: Mapping[int, NDArray[np.bool_]]) -> Path | None:
        """The cheapest path of all that uses a wanted grip in one of some slots."""
        forward, backward = self._free
        found: tuple[int, int, int] | None = None
        for slot, wish in wanted.items():
            total = np.where(wish, forward[slot] + backward[slot], FORBIDDEN)
            row = int(total.argmin())
            if total[row] < FORBIDDEN:
                found = min(found or (FORBIDDEN, 0, 0), (int(total[row]), slot, row))
        return self._through(forward, backward, *found[1:]) if found else None

    def _passes(self, mask: Mask) -> tuple[list[IntArray], list[IntArray]]:
        """Least tenths up to and from every grip; a grip's own cost lies in the first."""
        unary = [
            np.where(keep, grips.cost, FORBIDDEN).astype(np.int32)
            for keep, grips in zip(mask, self.grips, strict=True)
        ]
        forward = [np.minimum(self.entry + unary[0], FORBIDDEN)]
        for moves, own in zip(self.inside, unary[1:], strict=True):
            forward.append(np.minimum(moves.forward(forward[-1]) + own, FORBIDDEN))
        backward = [np.minimum(self.exit, FORBIDDEN)]
        for moves, own in zip(reversed(self.inside), reversed(unary), strict=False):
            backward.append(moves.backward(np.minimum(backward[-1] + own, FORBIDDEN)))
        backward.reverse()
        return forward, backward

    def _through(
        self, forward: Sequence[IntArray], backward: Sequence[IntArray], slot: int, row: int
    ) -> Path:
        """The best path through one grip, followed to both ends."""
        path = [row]
        for place in range(slot - 1, -1, -1):
            moves = self.inside[place]
            first, last = np.searchsorted(moves.there, [path[0], path[0] + 1])
            here = moves.here[first:last]
            path.insert(0, int(here[(forward[place][here] + moves.cost[first:last]).argmin()]))
        for place in range(slot, len(self.inside)):
            moves = self.inside[place]
            order = moves.by_here
            first, last = np.searchsorted(moves.here[order], [path[-1], path[-1] + 1])
            part = order[first:last]
            there = moves.there[part]
            own = self.grips[place + 1].cost[there]
            rest = backward[place + 1][there] + own + moves.cost[part]
            # A grip that the mask leaves out cannot be reached from the start.
            rest = np.where(forward[place + 1][there] < FORBIDDEN, rest, FORBIDDEN)
            path.append(int(there[rest.argmin()]))
        return tuple(path)


def closed(
    net: Lattice, paths: dict[int, Path], place: int, slots: Sequence[Slot]
) -> BarBetween:
    """The bar at a place of the piece with the grips that the piece was solved with."""
    piece = net.piece
    kind = piece.order[place]
    grips = net.grips[kind]
    entry, after = net.entry, np.zeros(len(grips[-1]), dtype=np.int32)
    if place:
        before = paths[piece.order[place - 1]][-1]
        entry = _from_one(net.joints[piece.joints[place - 1]], before)
    if place + 1 < len(piece.order):
        first = paths[piece.order[place + 1]][0]
        after = _to_one(net.joints[piece.joints[place]], first)
    return BarBetween(
        slots=slots,
        hands=piece.hands,
        grips=grips,
        inside=net.inside[kind],
        entry=entry,
        exit=after,
        chosen=paths[kind],
        kind=kind,
    )


def opened(solved: Solved, place: int, slots: Sequence[Slot]) -> BarBetween | None:
    """The bar with tune, thumb and hand as chosen, and with every set of inner notes that a
    hand can add to them; None where the bar has room for none.
    """
    net, piece = solved.net, solved.net.piece
    kind = piece.order[place]
    bar = piece.classes[kind]
    if all(context.fill is None for context in bar.contexts):
        return None
    path = solved.paths[kind]
    grips = tuple(
        _open(solved.maker, context, own, row)
        for context, own, row in zip(bar.contexts, net.grips[kind], path, strict=True)
    )
    inside = tuple(
        solved.mover.between(here, there, step)
        for here, there, step in zip(grips, grips[1:], bar.steps, strict=False)
    )
    entry = solved.mover.hand_costs[grips[0].hand].astype(np.int32)
    after = np.zeros(len(grips[-1]), dtype=np.int32)
    if place:
        joint = piece.kinds[piece.joints[place - 1]]
        before = _one(net.grips[joint.before][-1], solved.paths[joint.before][-1])
        entry = _from_one(solved.mover.between(before, grips[0], joint.step), 0)
    if place + 1 < len(piece.order):
        joint = piece.kinds[piece.joints[place]]
        first = _one(net.grips[joint.after][0], solved.paths[joint.after][0])
        after = _to_one(solved.mover.between(grips[-1], first, joint.step), 0)
    chosen = tuple(
        next(i for i in range(len(wide)) if _same(wide.grip(i), own.grip(row)))
        for wide, own, row in zip(grips, net.grips[kind], path, strict=True)
    )
    return BarBetween(
        slots=slots,
        hands=piece.hands,
        grips=grips,
        inside=inside,
        entry=entry,
        exit=after,
        chosen=chosen,
    )


def _open(maker: GripMaker, context: Context, own: Grips, row: int) -> Grips:
    """The grips of a slot that differ from one row in inner notes alone."""
    wide = own
    if context.fill is not None:
        hand = (int(own.hand[row]),)
        wide = maker.grips(replace(context, hands=hand, inner_open=True))
    alike = np.ones(len(wide), dtype=bool)
    for name in ("hand", "octave", "tune", "bass", "bass_active"):
        alike &= getattr(wide, name) == getattr(own, name)[row]
    return wide.only(np.flatnonzero(alike))


def _one(grips: Grips, row: int) -> Grips:
    return grips.only(np.array([row], dtype=np.intp))


def _same(one: Grip, other: Grip) -> bool:
    """Whether two grips differ at most in how they were counted."""
    return (one.fills, one.third_heard) == (other.fills, other.third_heard)


def _from_one(moves: Moves, row: int) -> IntArray:
    reach = np.full(moves.rows[0], FORBIDDEN, dtype=np.int32)
    reach[row] = 0
    return moves.forward(reach)


def _to_one(moves: Moves, row: int) -> IntArray:
    rest = np.full(moves.rows[1], FORBIDDEN, dtype=np.int32)
    rest[row] = 0
    return moves.backward(rest)
