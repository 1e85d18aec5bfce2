"""Reduction -> Arrangement: strings, frets and fingers for every note, with a proof."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from arranger.music.arrangement import Arrangement, Decision, Proof
from arranger.music.reduction import Reduction, Setting
from arranger.neck.dynamic import Lattice, lattice, prices, restricted
from arranger.neck.fretboard import neck_of
from arranger.neck.grips import GripMaker, Grips, Held, IntArray, tenths
from arranger.neck.marked import beside_book, check_bars, marked_rows, window
from arranger.neck.moves import Mover
from arranger.neck.piece import BarClass, PieceBuilder
from arranger.neck.proof import Effort, Proven, prove
from arranger.neck.reach import HandRules
from arranger.neck.shape_budget import ShapeBudget
from arranger.neck.written import Chosen, arrangement
from arranger.tables import Level, Player
from arranger.tables.arranging import arranging
from arranger.tables.fingering import ShapeCosts, fingering
from arranger.tables.hand import hand
from arranger.tables.solving import solving

NO_WISH = 10**6
"""Shapes wished for where a level sets no number."""


def place(reduction: Reduction, *, level: Level, player: Player) -> Arrangement:
    """The arrangement of a reduction for one student.

    Every key of ``reduction.settings`` is ranked by the bound of its dynamic program;
    the best is then solved to the end. Marks on bars and notes are kept in a second
    solve, in which only their own windows may change.

    Raises
    ------
    UsageError : a mark or a voicing of the teacher's cannot be kept; says where and why.
    """
    check_bars(reduction)
    ranked = rank_keys(reduction, level, player)
    setting, net = ranked[0].setting, ranked[0].net
    proven = prove(net, shape_budget(level, fingering().shape), _effort())
    if reduction.marks.marked_bars:
        net, proven = _with_marks(reduction, setting, level, player, before=(net, proven))
    chosen = _chosen(reduction, net, proven)
    return arrangement(
        reduction,
        setting,
        neck=neck_of(player, reduction.capo),
        hands=net.piece.hands,
        chosen=chosen,
        level=level,
        player=player,
        costs=fingering(),
        proof=Proof(
            objective=proven.objective / 10, bound=proven.bound / 10, seconds=proven.work
        ),
        decisions=(_key_decision(ranked), *beside_book(reduction, setting, net, chosen)),
    )


def _effort() -> Effort:
    table = solving()
    return Effort(
        rounds=table.rounds,
        width=tenths(table.width),
        model_width=tenths(table.model_width),
        model_moves=table.model_moves,
        work=table.work,
        seconds=table.seconds,
    )


def _with_marks(
    reduction: Reduction,
    setting: Setting,
    level: Level,
    player: Player,
    *,
    before: tuple[Lattice, Proven],
) -> tuple[Lattice, Proven]:
    """The solution with the marks kept; outside their windows it stays as it was."""
    alone = window(reduction)
    net = network(reduction, setting, level, player, alone=alone)
    known = dict(zip(before[0].piece.classes, range(len(before[0].piece.classes)), strict=True))
    rows: dict[tuple[int, int], IntArray] = {}
    for kind, bar in enumerate(net.piece.classes):
        for slot, grips in enumerate(net.grips[kind]):
            if bar.alone is None:
                path = before[1].paths[known[bar]]
                rows[kind, slot] = np.array([path[slot]], dtype=np.int32)
            else:
                rows[kind, slot] = np.arange(len(grips), dtype=np.int32)
    narrowed = restricted(net, marked_rows(net, reduction, rows))
    return narrowed, prove(narrowed, shape_budget(level, fingering().shape), _effort())


@dataclass(frozen=True, slots=True, eq=False)
class RankedKey:
    """A key that was tried: ``bound`` is the least its arrangement costs, in tenths."""

    setting: Setting
    net: Lattice
    bound: int


def rank_keys(reduction: Reduction, level: Level, player: Player) -> list[RankedKey]:
    """Every key of the reduction, the cheapest first."""
    bars = len(reduction.analysis.score.bars)
    ranked = []
    for setting in reduction.settings:
        net = network(reduction, setting, level, player)
        reading = tenths(setting.reading_cost * bars)
        ranked.append(RankedKey(setting, net, prices(net).best + reading))
    ranked.sort(key=lambda entry: (entry.bound, entry.setting.key.tonic))
    return ranked


def network(
    reduction: Reduction,
    setting: Setting,
    level: Level,
    player: Player,
    *,
    alone: frozenset[int] = frozenset(),
) -> Lattice:
    """Grips and moves of the whole piece in one key; bars ``alone`` share no decisions."""
    table, costs, effort, common = arranging(), fingering(), solving(), hand()
    rules = HandRules(neck_of(player, reduction.capo), player, level, costs.hold)
    piece = PieceBuilder(
        reduction=reduction,
        setting=setting,
        rules=rules,
        table=table,
        shapes=costs.shape,
        lowest_tune=effort.lowest_tune,
        alone=alone,
    ).build()
    maker = GripMaker(
        rules=rules,
        hands=piece.hands,
        melody_costs=table.melody,
        bass_costs=table.bass,
        fill_costs=table.fill,
        lowest_tune=effort.lowest_tune,
        bass_below=common.bass_below_melody,
        inner_below=common.inner_below_melody,
        ceiling=tenths(effort.ceiling),
    )
    grips = tuple(_bar_grips(bar, maker) for bar in piece.classes)
    mover = Mover(
        moves=costs.move,
        shapes=costs.shape,
        melody=table.melody,
        bass=table.bass,
        octaves=piece.octaves,
        shift_factor=float(getattr(costs.level, reduction.level)),
        hand_costs=np.array([tenths(held.cost) for held in piece.hands], dtype=np.int32),
    )
    return lattice(piece, grips, mover)


def _bar_grips(bar: BarClass, maker: GripMaker) -> tuple[Grips, ...]:
    """The grips of a bar's slots, each going on from what the slot before may hold."""
    found = [maker.grips(bar.contexts[0])]
    for context, step in zip(bar.contexts[1:], bar.steps, strict=True):
        held = Held.after(
            found[-1],
            tune=step.tune == "held",
            bass=step.bass == "held",
            changes=step.chord_begins or step.may_change,
        )
        found.append(maker.grips(context, held))
    return tuple(found)


def shape_budget(level: Level, costs: ShapeCosts) -> ShapeBudget:
    """What different shapes cost at a level, in tenths."""
    return ShapeBudget(
        new=tenths(costs.new),
        beyond=tenths(costs.beyond_wish),
        wanted=level.shapes_wanted or NO_WISH,
        most=level.shapes_most or None,
    )


def _chosen(reduction: Reduction, net: Lattice, proven: Proven) -> list[Chosen]:
    slots = iter(reduction.slots)
    return [
        Chosen(next(slots), net.grips[kind][place].items[row])
        for kind in net.piece.order
        for place, row in enumerate(proven.paths[kind])
    ]


def _key_decision(ranked: list[RankedKey]) -> Decision:
    best = ranked[0]
    others = ", ".join(
        f"{entry.setting.key.short} +{(entry.bound - best.bound) / 10:.0f}"
        for entry in ranked[1:4]
    )
    after = f"; next best (points more): {others}" if others else ""
    return Decision(
        text=f"key {best.setting.key.name}: {best.setting.reason}{after}", option="--key"
    )
