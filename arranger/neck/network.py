"""Grips and moves of a piece in one key: everything the solver chooses from."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import NamedTuple

import numpy as np

from arranger.music.each import Each, in_turn
from arranger.music.reduction import Reduction, Setting
from arranger.neck.burden import NO_BURDEN, Burden
from arranger.neck.dynamic import BarLattice, Lattice, bar_lattice, lattice
from arranger.neck.fretboard import neck_of
from arranger.neck.grip_maker import GripMaker
from arranger.neck.grips import Context, Grips, Held, tenths
from arranger.neck.hands import Hands
from arranger.neck.moves import Mover, Step
from arranger.neck.outline import BarClass, Outline
from arranger.neck.pace import UNHURRIED, Pace
from arranger.neck.piece import Piece, PieceBuilder
from arranger.neck.reach import HandRules
from arranger.tables import Level, Player
from arranger.tables.arranging import arranging
from arranger.tables.fingering import fingering
from arranger.tables.hand import hand
from arranger.tables.solving import solving

KnownBars = dict[BarClass, BarLattice]


class Onward(NamedTuple):
    """Which voices go on sounding over a step, and whether the hand may change its shape."""

    tune: bool
    bass: bool
    changes: bool

    @staticmethod
    def by(step: Step) -> Onward | None:
        """None where nothing goes on, so that what was before does not matter."""
        tune, bass = step.tune == "held", step.bass == "held"
        if not (tune or bass):
            return None
        return Onward(tune, bass, step.chord_begins or step.may_change)


KnownGrips = dict[tuple[Context, Onward | None, Grips | None], Grips]


def grip_maker(
    reduction: Reduction, level: Level, player: Player, burden: Burden = NO_BURDEN
) -> GripMaker:
    """The maker of grips for one student; keys of a piece share what it has found."""
    table, effort, common = arranging(), solving(), hand()
    neck = neck_of(player, reduction.capo)
    return GripMaker(
        rules=HandRules(neck, player, level, burden.hold(fingering().hold_at(reduction.level))),
        hands=Hands(),
        melody_costs=table.melody,
        bass_costs=table.bass,
        fill_costs=table.fill,
        lowest_tune=effort.lowest_tune,
        bass_below=common.bass_below_melody,
        inner_below=common.inner_below_melody,
        ceiling=tenths(effort.ceiling),
        burden=burden,
    )


def network(
    sketch: Outline, setting: Setting, maker: GripMaker, *, each: Each = in_turn
) -> Lattice:
    """Grips and moves of the whole piece in one key.

    ``each`` does tasks of which none needs another.
    """
    piece = piece_in(sketch, setting, maker)
    mover = mover_of(sketch.reduction, piece, UNHURRIED, maker.burden)
    halves = [piece.classes[::2], piece.classes[1::2]]
    found = each([partial(_made, half, maker, mover, {}) for half in halves])
    made = {bar: one for bars in found for bar, one in bars.items()}
    return lattice(piece, [made[bar] for bar in piece.classes], mover)


def piece_in(sketch: Outline, setting: Setting, maker: GripMaker) -> Piece:
    """The piece in one key. Its hands get their numbers here and nowhere else."""
    return PieceBuilder(
        sketch=sketch,
        setting=setting,
        rules=maker.rules,
        shapes=fingering().shape,
        lowest_tune=maker.lowest_tune,
        hands=maker.hands,
    ).build()


def network_with(
    known: KnownBars, reduction: Reduction, piece: Piece, maker: GripMaker
) -> tuple[Lattice, KnownBars]:
    """Grips and moves of a piece of which some bars were made before, by the same maker in the
    same key; and what was made of all its bars.
    """
    mover = mover_of(reduction, piece, UNHURRIED, maker.burden)
    made = _made(piece.classes, maker, mover, known)
    return lattice(piece, list(made.values()), mover), made


def at_pace(
    reduction: Reduction, net: Lattice, pace: Pace, burden: Burden = NO_BURDEN
) -> Lattice:
    """The same grips with moves that cost what the pace asks."""
    mover = mover_of(reduction, net.piece, pace, burden)
    bars = [
        bar_lattice(bar, grips, mover)
        for bar, grips in zip(net.piece.classes, net.grips, strict=True)
    ]
    return lattice(net.piece, bars, mover)


def mover_of(reduction: Reduction, piece: Piece, pace: Pace, burden: Burden) -> Mover:
    """What moves between the grips of a piece cost at a pace."""
    table, costs = arranging(), fingering()
    return Mover(
        moves=burden.moves(costs.move),
        shapes=costs.shape,
        melody=table.melody,
        bass=table.bass,
        octaves=piece.octaves,
        shift_factor=float(getattr(costs.level, reduction.level)) * pace.shift,
        change=pace.change,
        hand_costs=np.array([tenths(held.cost) for held in piece.hands], dtype=np.int32),
        shaped=np.array([held.shape is not None for held in piece.hands], dtype=np.bool_),
    )


def _made(
    bars: Sequence[BarClass], maker: GripMaker, mover: Mover, known: KnownBars
) -> KnownBars:
    grips: KnownGrips = {}
    return {
        bar: known[bar]
        if bar in known
        else bar_lattice(bar, _bar_grips(bar, maker, grips), mover)
        for bar in bars
    }


def _bar_grips(bar: BarClass, maker: GripMaker, known: KnownGrips) -> tuple[Grips, ...]:
    """The grips of a bar's slots, each going on from what the slot before may hold.

    ``known`` gathers them: bars that differ often have slots in common.
    """
    found: list[Grips] = []
    for context, step in zip(bar.contexts, (None, *bar.steps), strict=True):
        onward = None if step is None else Onward.by(step)
        key = (context, onward, None if onward is None else found[-1])
        if key not in known:
            held = None if onward is None else Held.after(found[-1], **onward._asdict())
            known[key] = maker.grips(context, held)
        found.append(known[key])
    return tuple(found)
