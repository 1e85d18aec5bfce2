"""Which key lies best under the hand: every candidate is solved, and ranked by its bound.

Where there are many candidates they are first ranked by a plain version of the piece (tune
and thumb alone); the best of them are then solved with everything.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import partial
from math import sqrt

from arranger.music.each import Each, in_turn
from arranger.music.equal_bars import heads
from arranger.music.errors import InternalFault
from arranger.music.reduction import Reduction, Setting, Slot
from arranger.neck.dynamic import Lattice, least_cost
from arranger.neck.grip_maker import GripMaker
from arranger.neck.network import KnownBars, network, network_with, piece_in
from arranger.neck.outline import outline
from arranger.neck.piece import Piece
from arranger.tables.solving import SolvingTable, solving

PLAIN_VOICES = 2
"""Tune and thumb."""
RUN = 2
"""Bars that a sample takes together, so that it has joints of the piece in every strain."""


@dataclass(frozen=True, slots=True)
class RankedKey:
    """A key with what its arrangement costs at least, in points; ``plain`` where that is
    the bound of the plain version. ``dearer`` is the share by which it costs more than the
    best of the keys it was ranked with.
    """

    setting: Setting
    points: float
    plain: bool
    dearer: float = 0.0


def rank_keys(
    reduction: Reduction, maker: GripMaker, each: Each = in_turn
) -> tuple[list[RankedKey], list[Lattice]]:
    """Every key of the reduction, the cheapest first, and the lattices of those that are so
    close that only their solutions can tell them apart, in that order.

    ``each`` does tasks of which none needs another.
    """
    table = solving()
    settings = reduction.settings
    rest: list[RankedKey] = []
    bars = len(_different(reduction))
    if len(settings) > table.keys_in_full and len(settings) * bars > table.bars_in_full:
        estimated = _raced(reduction, maker, table, each)
        first = estimated[: table.keys_after_plain]
        count = sum(entry.dearer <= table.close_keys for entry in first)
        settings = tuple(entry.setting for entry in estimated[:count])
        rest = estimated[count:]
    solved: list[tuple[RankedKey, Lattice]] = []
    known: list[RankedKey] = []
    sketch = outline(reduction, maker.rules.level)
    for setting in settings:
        net = network(sketch, setting, maker, each=each)
        known.append(RankedKey(setting, _points(reduction, setting, net), plain=False))
        solved.append((known[-1], net))
        most = min(entry.points for entry in known) * (1 + table.even_keys)
        # The others are let go: a long piece fills much memory.
        solved = [(entry, net) for entry, net in solved if entry.points <= most]
    if not solved:
        raise InternalFault("there is no key to try")
    nets = [net for _, net in sorted(solved, key=lambda pair: _order(pair[0]))]
    return [*_in_order(known), *rest], nets


def _raced(
    reduction: Reduction, maker: GripMaker, table: SolvingTable, each: Each
) -> list[RankedKey]:
    """Keys ranked by plain versions of growing length, those left behind dropping out.

    A race (Maron and Moore 1994): what a key costs more than the best over some of the bars
    tells what it costs more over all of them, the better the more bars there were; the error
    of such a mean falls with sqrt(1/n - 1/N) for n of N bars, drawn without return.
    """
    plain = maker.plainer(voices=PLAIN_VOICES)
    trying = list(reduction.settings)
    known: dict[Setting, KnownBars] = {}
    dropped: list[RankedKey] = []
    ranked: list[RankedKey] = []
    different = len(_different(reduction))
    for bars, most in table.plain_rounds:
        bare = bare_bars(reduction, sample(reduction, bars))
        # Hands get their numbers here, before any of the tasks.
        sketch = outline(bare, maker.rules.level)
        pieces = {key: piece_in(sketch, key, plain) for key in trying}
        asked = [
            partial(_plain, bare, key, piece, plain, known.get(key, {}))
            for key, piece in pieces.items()
        ]
        found = dict(zip(trying, each(asked), strict=True))
        known = {key: bars for key, (_, bars) in found.items()}  # a later round has them too
        ranked = _in_order(entry for entry, _ in found.values())
        unsure = _unsure(bars, different)
        far = max(table.close_keys, table.far_keys * unsure)
        kept = sum(entry.dearer <= far for entry in ranked[:most])
        dropped = [*ranked[kept:], *dropped]
        ranked = ranked[:kept]
        trying = [entry.setting for entry in ranked]
        if kept == 1 or not unsure:
            break
    return [*ranked, *dropped]


def _unsure(bars: int, different: int) -> float:
    """How unsure a mean over ``bars`` of the different bars is, without its unit; 0 where all
    of them are heard.
    """
    return sqrt(1 / bars - 1 / different) if 0 < bars < different else 0.0


def _plain(
    bare: Reduction, key: Setting, piece: Piece, maker: GripMaker, known: KnownBars
) -> tuple[RankedKey, KnownBars]:
    """A key by the plain version of some bars, and what was made of these bars."""
    net, made = network_with(known, bare, piece, maker)
    return RankedKey(key, _points(bare, key, net), plain=True), made


def taken(ranked: list[RankedKey], solved: list[float]) -> list[RankedKey]:
    """The keys with the one first that is cheapest now that the first of them are ``solved``:
    the points of their solutions and of the keys themselves.

    Bounds rise by what the solution of that key lies above its own, so that all compare.
    """
    bounds = ranked[: len(solved)]
    known = [
        replace(entry, points=points) for entry, points in zip(bounds, solved, strict=True)
    ]
    least, best = min(zip(solved, bounds, strict=True), key=lambda pair: pair[0])
    rest = [
        replace(entry, points=entry.points + (0 if entry.plain else least - best.points))
        for entry in ranked[len(solved) :]
    ]
    return [*_in_order(known), *rest]


def bare_bars(reduction: Reduction, bars: frozenset[int]) -> Reduction:
    """Some bars of the piece with tune and thumb alone: no inner notes, no owed thirds.

    A bar that comes after a gap is a beginning: what sounds on into it has no grip to come
    from, and would forbid keys for no fault of theirs.
    """
    slots: list[Slot] = []
    sung = struck = False
    last = -1
    for slot in reduction.slots:
        if slot.bar not in bars:
            continue
        if slot.bar > last + 1:
            sung = struck = False
        sung, struck = sung or slot.melody_begins, struck or slot.stroke_begins
        melody, stroke = slot.melody if sung else None, slot.stroke if struck else None
        slots.append(replace(slot, fill=None, melody=melody, stroke=stroke))
        last = slot.bar
    wishes = tuple(replace(wish, third=None) for wish in reduction.bar_wishes)
    return replace(reduction, slots=tuple(slots), bar_wishes=wishes)


def sample(reduction: Reduction, most: int) -> frozenset[int]:
    """Indices of bars that stand for the piece: evenly spread runs of its different bars, each
    as often as it is played, so that a hook weighs what it does in the piece.

    All bars, where there are no more than ``most`` different ones or it is 0.
    """
    same_as = reduction.analysis.same_as
    different = _different(reduction)
    if not most or len(different) <= most:
        return frozenset(range(len(same_as)))
    runs = [different[at : at + RUN] for at in range(0, len(different), RUN)]
    count = max(1, most // RUN)
    chosen = {bar for place in range(count) for bar in runs[place * len(runs) // count]}
    return frozenset(bar for bar, head in enumerate(heads(same_as)) if head in chosen)


def _different(reduction: Reduction) -> list[int]:
    """The bars that are the first of their kind."""
    return [bar for bar, same in enumerate(reduction.analysis.same_as) if same is None]


def _points(reduction: Reduction, setting: Setting, net: Lattice) -> float:
    """The bound of a key's dynamic program, and what the key costs by itself."""
    return least_cost(net) / 10 + key_points(reduction, setting)


def key_points(reduction: Reduction, setting: Setting) -> float:
    """Points that a key costs by itself in the whole piece: its signature and its chords."""
    return setting.key_cost * len(reduction.analysis.score.bars)


def _in_order(entries: Iterable[RankedKey]) -> list[RankedKey]:
    """Keys ranked together, the cheapest first."""
    ranked = sorted(entries, key=_order)
    least = ranked[0].points or 1.0
    return [replace(entry, dearer=entry.points / least - 1) for entry in ranked]


def _order(entry: RankedKey) -> tuple[float, int]:
    return entry.points, entry.setting.key.tonic
