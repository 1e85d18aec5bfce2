"""Lattices of real bars with so few grips that every solution can be tried."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from itertools import product
from unittest.mock import patch

import numpy as np
from heard_pieces import heard

from arranger.music.analysis import Analysis
from arranger.neck import placing
from arranger.neck.dynamic import Lattice, Path, Place, least_marginals, prices, restricted
from arranger.neck.eliminate import Optimum
from arranger.neck.folding import Folded, Paths, Rows
from arranger.neck.grips import IntArray
from arranger.neck.moves import FORBIDDEN
from arranger.neck.shape_budget import ShapeBudget
from arranger.reduce import reduce
from arranger.tables import default_player, level_named

PIECES: dict[str, Analysis] = {
    "two bars": heard(
        "C4:1 E4:1 G4:2 | F4:2 D4:2",
        "C3:1 r:1 G2:1 r:1 | G2:1 r:1 D3:1 r:1",
        chords="C:4 G7:4",
    ),
    "a bar that returns": heard(
        "G4:1 E4:1 | F4:2 | G4:1 E4:1 | C4:2",
        "C3:1 r:1 | G2:1 r:1 | C3:1 r:1 | C3:1 r:1",
        chords="C:2 G7:2 C:2 C:2",
        meter=(2, 4),
    ),
    "one slot a bar, said twice": heard(
        "E4:2 | E4:2 | D4:2 | C4:2",
        "C3:2 | C3:2 | G2:2 | C3:2",
        chords="C:4 G7:2 C:2",
        meter=(2, 4),
        texture="hymn",
        beat="2",
    ),
    "a bass held under the tune, a tune held over the bar": heard(
        "E4:1 G4:3 | F4:1 D4:1",
        "E3:2 | G2:2 | G2:2",  # E on string 4 or 6: two spots that may be let go
        chords="C:4 G7:2",
        meter=(2, 4),
        beat="2",
    ),
    "three harmonies": heard(
        "E4:2 | F4:2 | D4:2 | E4:2",
        "A2:1 r:1 | D3:1 r:1 | G2:1 r:1 | C3:1 r:1",
        chords="Am:2 Dm:2 G7:2 C:2",
        meter=(2, 4),
    ),
}


def whole(analysis: Analysis) -> Lattice:
    """The lattice that ``place`` solves for a beginner in C, with all of its grips."""
    level = level_named("beginner")
    player = default_player(level)
    reduction = reduce(analysis, level=level, level_name="beginner", player=player, key="C")
    with patch.object(placing, "prove", wraps=placing.prove) as proving:
        placing.place(reduction, level=level, player=player)
    net: Lattice = proving.call_args.args[0]
    return net


def all_rows(net: Lattice) -> dict[Place, IntArray]:
    return {
        (kind, slot): np.arange(len(grips), dtype=np.int32)
        for kind, bar in enumerate(net.grips)
        for slot, grips in enumerate(bar)
    }


def folded_optimum(
    net: Lattice, rows: Rows, prices: dict[Place, IntArray]
) -> tuple[Optimum, Paths]:
    """The cheapest folded solution over ``rows``, with a price for each row of some places."""
    return Folded(net, rows, prices).optimum(prices)


def few(net: Lattice, most: int) -> Lattice:
    """The same bars with the ``most`` most useful grips of each slot, of different hands
    as far as there are any.
    """
    marginals = least_marginals(net, prices(net))
    kept = {}
    for (kind, slot), costs in marginals.items():
        hands = net.grips[kind][slot].hand
        seen: dict[int, int] = {}
        ranked = []
        for row in np.argsort(costs, kind="stable"):
            turn = seen[int(hands[row])] = seen.get(int(hands[row]), 0) + 1
            ranked.append((turn, int(costs[row]), int(row)))
        chosen = sorted(row for _, _, row in sorted(ranked)[:most])
        kept[kind, slot] = np.array(chosen, dtype=np.int32)
    return restricted(net, kept)


@cache
def folded_paths(net: Lattice) -> list[tuple[dict[int, Path], int]]:
    """Every choice of a path for every different bar, with what it costs as played."""
    found = []
    for choice in product(*(_bar_paths(net, kind) for kind in range(len(net.grips)))):
        cost = net.cost([choice[kind] for kind in net.piece.order])
        if cost < FORBIDDEN:
            found.append((dict(enumerate(choice)), cost))
    return found


def _bar_paths(net: Lattice, kind: int) -> list[Path]:
    """The paths that a hand can play within a bar."""
    return [
        path
        for path in product(*(range(len(grips)) for grips in net.grips[kind]))
        if all(
            moves.between(path[slot], path[slot + 1]) < FORBIDDEN
            for slot, moves in enumerate(net.inside[kind])
        )
    ]


def played_paths(net: Lattice) -> Iterator[tuple[list[Path], int]]:
    """Every choice of a path for every bar as played, by following the moves."""
    piece = net.piece

    def go_on(bars: list[list[int]], cost: int) -> Iterator[tuple[list[Path], int]]:
        place, slot = len(bars) - 1, len(bars[-1]) - 1
        kind, row = piece.order[place], bars[-1][-1]
        cost += int(net.grips[kind][slot].cost[row])
        if slot + 1 < len(net.grips[kind]):
            moves, same_bar = net.inside[kind][slot], True
        elif place + 1 < len(piece.order):
            moves, same_bar = net.joints[piece.joints[place]], False
        else:
            yield [tuple(bar) for bar in bars], cost
            return
        for move in np.flatnonzero(moves.here == row):
            after = int(moves.there[move])
            longer = [*bars[:-1], [*bars[-1], after]] if same_bar else [*bars, [after]]
            yield from go_on(longer, cost + int(moves.cost[move]))

    for row in range(len(net.entry)):
        yield from go_on([[row]], int(net.entry[row]))


def shapes_held(net: Lattice, paths: dict[int, Path]) -> set[object]:
    """The different chord shapes of a folded solution, asked of the hands themselves."""
    held = {
        net.piece.hands[net.grips[kind][slot].hand[row]].shape
        for kind, path in paths.items()
        for slot, row in enumerate(path)
    }
    return held - {None}


def least_within(net: Lattice, budget: ShapeBudget) -> int:
    """The cost of the best folded solution within a shape budget, by trying them all."""
    costs = []
    for paths, cost in folded_paths(net):
        shapes = len(shapes_held(net, paths))
        if budget.most is None or shapes <= budget.most:
            over = max(0, shapes - budget.wanted)
            costs.append(cost + budget.new * shapes + budget.beyond * over)
    return min(costs)
