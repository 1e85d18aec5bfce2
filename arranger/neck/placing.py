"""Reduction -> Arrangement: strings, frets and fingers for every note, with a proof."""

from __future__ import annotations

from collections.abc import Collection
from functools import partial

import numpy as np

from arranger.music.arrangement import Arrangement, Decision, KeyChoice, Proof
from arranger.music.each import Each, in_turn
from arranger.music.reduction import Reduction, Setting
from arranger.neck.bar_between import Solved
from arranger.neck.burden import Burden, Priced, burden_of
from arranger.neck.dynamic import Lattice, Path, restricted
from arranger.neck.fretboard import Neck, neck_of
from arranger.neck.grip_maker import GripMaker
from arranger.neck.grips import IntArray, tenths
from arranger.neck.key_ranking import RankedKey, key_points, rank_keys, taken
from arranger.neck.marked import beside_book, check_bars, check_way, marked_rows, window
from arranger.neck.narrowing import Narrowing
from arranger.neck.network import at_pace, grip_maker, mover_of, network
from arranger.neck.others import other_ways
from arranger.neck.outline import outline
from arranger.neck.pace import UNHURRIED, Pace, slower, travels
from arranger.neck.proof import Effort, Proven, prove
from arranger.neck.shape_branches import Parting
from arranger.neck.shape_budget import NO_LIMIT, ShapeBudget
from arranger.neck.written import Chosen, arrangement
from arranger.tables import Level, Player
from arranger.tables.fingering import ShapeCosts, fingering
from arranger.tables.solving import solving


def place(
    reduction: Reduction,
    *,
    level: Level,
    player: Player,
    others: Collection[int] = (),
    priced: Priced | None = None,
    each: Each = in_turn,
) -> Arrangement:
    """The arrangement of a reduction for one student.

    ``others`` are the bars (printed numbers) for which other ways to play are looked for;
    ``priced`` is what playing asks of the student at a price, for an easier arrangement;
    ``each`` does tasks of which none needs another.

    Every key of ``reduction.settings`` is ranked by the bound of its dynamic program;
    the best is then solved to the end. Marks on bars and notes are kept in a second
    solve, in which only their own windows may change.

    Raises
    ------
    UsageError : a mark or a voicing of the teacher's cannot be kept; says where and why.
    """
    check_bars(reduction, others)
    burden = burden_of(reduction, priced)
    maker = grip_maker(reduction, level, player, burden)
    ranked, nets = rank_keys(reduction, maker, each)
    ranked, (net, proven, pace) = _best_key(
        reduction, level, ranked, nets, burden=burden, each=each
    )
    setting = ranked[0].setting
    whole = net, proven.paths
    if reduction.marks.marked_bars:
        net, proven, whole = _with_marks(
            reduction, setting, level, maker, before=(net, proven), pace=pace
        )
    chosen = _chosen(reduction, net, proven)
    return arrangement(
        reduction,
        setting,
        neck=neck_of(player, reduction.capo),
        hands=net.piece.hands,
        chosen=chosen,
        level=level,
        player=player,
        proof=Proof(
            objective=proven.objective / 10, bound=proven.bound / 10, seconds=proven.work
        ),
        decisions=(
            _key_decision(ranked),
            *_added(reduction, setting, chosen, neck_of(player, reduction.capo)),
            *beside_book(reduction, setting, net, chosen),
        ),
        keys=_keys(ranked),
        others=other_ways(
            Solved(
                reduction,
                setting,
                *whole,
                maker=maker,
                mover=mover_of(reduction, whole[0].piece, pace, burden),
                level=level,
                player=player,
                budget=shape_budget(level, fingering().shape),
            ),
            others,
        ),
    )


def _best_key(
    reduction: Reduction,
    level: Level,
    ranked: list[RankedKey],
    nets: list[Lattice],
    *,
    burden: Burden,
    each: Each,
) -> tuple[list[RankedKey], tuple[Lattice, Proven, Pace]]:
    """The keys with the cheapest first, and its solution.

    Where the bounds of several are close, all of them are solved: a key may need more shapes
    or more travels than its bound can know.
    """
    solved = each([partial(_paced, reduction, level, net, burden) for net in nets])
    points = [
        proven.objective / 10 + key_points(reduction, entry.setting)
        for entry, (proven, _) in zip(ranked, solved, strict=False)
    ]
    best = points.index(min(points))
    proven, pace = solved[best]
    net = nets[best] if pace == UNHURRIED else at_pace(reduction, nets[best], pace, burden)
    return taken(ranked, points), (net, proven, pace)


def _paced(
    reduction: Reduction, level: Level, net: Lattice, burden: Burden
) -> tuple[Proven, Pace]:
    """The solution and its pace; where the hand travels more than the level allows, the first
    with dearer travels that keeps to it, or the last that was tried.
    """
    budget = shape_budget(level, fingering().shape)
    trying, pace = effort(), UNHURRIED
    proven = prove(net, budget, trying)
    found = travels(net, proven.paths)
    if not found.beyond(level):
        return proven, pace
    for pace in slower(found, level, solving().paces):
        paced = at_pace(reduction, net, pace, burden)
        proven = prove(paced, budget, trying)
        if not travels(paced, proven.paths).beyond(level):
            break
    return proven, pace


def effort() -> Effort:
    """How hard the program tries, in tenths where its table has points."""
    table = solving()
    width = tenths(table.width)
    return Effort(
        rounds=table.rounds,
        turns=table.turns,
        step=10 * table.shape_step,
        width=width,
        model_width=tenths(table.model_width),
        model_moves=table.model_moves,
        work=table.work,
        seconds=table.seconds,
        narrowing=Narrowing(
            before=table.rounds,
            rounds=table.narrowings,
            shrunk=table.shrunk,
            width=width,
            parting=Parting(table.looks, table.pricings, table.follow),
        ),
    )


def _with_marks(
    reduction: Reduction,
    setting: Setting,
    level: Level,
    maker: GripMaker,
    *,
    before: tuple[Lattice, Proven],
    pace: Pace,
) -> tuple[Lattice, Proven, tuple[Lattice, dict[int, Path]]]:
    """The solution with the marks kept; outside their windows it stays as it was.

    Also the lattice before it was narrowed by the marks, with the same paths in it.
    """
    alone = window(reduction)
    net = network(outline(reduction, level, alone=alone), setting, maker)
    net = at_pace(reduction, net, pace, maker.burden)
    known = dict(zip(before[0].piece.classes, range(len(before[0].piece.classes)), strict=True))
    rows: dict[tuple[int, int], IntArray] = {}
    for kind, bar in enumerate(net.piece.classes):
        for slot, grips in enumerate(net.grips[kind]):
            if bar.alone is None:
                path = before[1].paths[known[bar]]
                rows[kind, slot] = np.array([path[slot]], dtype=np.int32)
            else:
                rows[kind, slot] = np.arange(len(grips), dtype=np.int32)
    kept = marked_rows(net, reduction, rows)
    narrowed = restricted(net, kept)
    check_way(narrowed, reduction)
    budget = shape_budget(level, fingering().shape)
    proven = prove(narrowed, budget, effort())
    paths = {
        kind: tuple(int(kept[kind, slot][row]) for slot, row in enumerate(path))
        for kind, path in proven.paths.items()
    }
    return narrowed, proven, (net, paths)


def shape_budget(level: Level, costs: ShapeCosts) -> ShapeBudget:
    """What different shapes cost at a level, in tenths."""
    return ShapeBudget(
        new=tenths(costs.new),
        beyond=tenths(costs.beyond_wish),
        wanted=level.shapes_wanted or NO_LIMIT,
        most=level.shapes_most or None,
    )


def _chosen(reduction: Reduction, net: Lattice, proven: Proven) -> list[Chosen]:
    slots = iter(reduction.slots)
    return [
        Chosen(next(slots), net.grips[kind][place].items[row])
        for kind in net.piece.order
        for place, row in enumerate(proven.paths[kind])
    ]


def _added(
    reduction: Reduction, setting: Setting, chosen: list[Chosen], neck: Neck
) -> tuple[Decision, ...]:
    """The bars in which the thumb plays a tone that the source does not have."""
    bars: dict[int, None] = {}
    for one in chosen:
        if one.slot.stroke is None or not one.slot.stroke_begins or one.grip.bass is None:
            continue
        tone = (neck.midi(one.grip.bass) - setting.transposition) % 12
        stroke = reduction.strokes[one.slot.stroke]
        if any(choice.added and choice.pitch_class == tone for choice in stroke.choices):
            bars[reduction.analysis.score.bars[one.slot.bar].number] = None
    if not bars:
        return ()
    where = f"bar{'s' if len(bars) > 1 else ''} {', '.join(str(bar) for bar in bars)}"
    text = f"bass notes added that lead to the next chord, in {where}"
    return (Decision(text=text, option="--plain-bass"),)


def _keys(ranked: list[RankedKey]) -> tuple[KeyChoice, ...]:
    """The keys tried, the best first."""
    return tuple(
        KeyChoice(
            key=entry.setting.key,
            transposed_by=entry.setting.transposition,
            dearer=entry.dearer,
            solved=not entry.plain,
            reason=entry.setting.reason,
        )
        for entry in ranked
    )


def _key_decision(ranked: list[RankedKey]) -> Decision:
    """The key taken, the keys that came next, and by how much where that is known."""
    best = ranked[0]
    others = [
        entry.setting.key.short
        + ("" if entry.plain else f" (+{entry.points - best.points:.0f} points)")
        for entry in ranked[1:4]
    ]
    after = f"; next came {', '.join(others)}" if others else ""
    return Decision(
        text=f"key {best.setting.key.name}: {best.setting.reason}{after}", option="--key"
    )
