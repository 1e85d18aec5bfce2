"""Moves and the dynamic program against trying every pair of grips and every path."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import compress
from types import SimpleNamespace

import numpy as np
import pytest
from few_grips import PIECES, all_rows, few, played_paths, whole
from numpy.typing import NDArray
from plain_moves import PlainMover

from arranger.neck import moves as moves_room
from arranger.neck.dynamic import Lattice, first_stop, prices, restricted
from arranger.neck.fretboard import Spot, neck_of
from arranger.neck.grips import NONE, RELEASED, Grip, Grips, IntArray, spot_code, tenths
from arranger.neck.hands import Hand
from arranger.neck.moves import FORBIDDEN, Fold, Mover, Moves, Step, connected
from arranger.neck.reach import THUMB
from arranger.tables import default_player, level_named
from arranger.tables.arranging import BassCosts, arranging
from arranger.tables.fingering import fingering


@pytest.fixture(scope="module", params=PIECES)
def net(request: pytest.FixtureRequest) -> Lattice:
    return whole(PIECES[request.param])


@pytest.fixture(scope="module")
def small(net: Lattice) -> Lattice:
    return few(net, 4)


def steps(net: Lattice) -> Iterator[tuple[Grips, Grips, Step, Moves]]:
    """Every step of the piece: the grips on both sides, and the moves found between them."""
    for kind, bar in enumerate(net.piece.classes):
        for slot, step in enumerate(bar.steps):
            moves = net.inside[kind][slot]
            yield net.grips[kind][slot], net.grips[kind][slot + 1], step, moves
    for joint, moves in zip(net.piece.kinds, net.joints, strict=True):
        yield net.grips[joint.before][-1], net.grips[joint.after][0], joint.step, moves


def mover(net: Lattice, bass: BassCosts | None = None) -> Mover:
    """What the moves of a net cost, whatever its level and pace."""
    return Mover(
        moves=fingering().move,
        shapes=fingering().shape,
        melody=arranging().melody,
        bass=bass or arranging().bass,
        octaves=net.piece.octaves,
        shift_factor=1.0,
        hand_costs=np.array([tenths(hand.cost) for hand in net.piece.hands], dtype=np.int32),
        shaped=np.array([hand.shape is not None for hand in net.piece.hands]),
    )


def may_go_on(before: Grip, after: Grip, step: Step) -> bool:
    """The rules of a step, said once more for one pair of grips."""
    hand_stays = step.may_change or step.chord_begins or before.hand == after.hand
    octave_stays = step.may_fold or before.octave == after.octave
    tune = bass = third = True
    if step.tune == "held" and after.tune is not None:
        tune = (before.tune, before.tune_finger) == (after.tune, after.tune_finger)
    if step.bass == "held":
        bass = before.bass == after.bass
        if after.bass is not None and after.bass_active:
            bass = bass and before.bass_active and before.bass_finger == after.bass_finger
    if not step.opens_bar:
        third = after.third_heard == (before.third_heard or after.gives_third)
    return hand_stays and octave_stays and tune and bass and third


# Moves ----------------------------------------------------------------------------------


def test_the_moves_are_the_pairs_that_the_rules_allow(net: Lattice) -> None:
    for before, after, step, _ in steps(net):
        expected = {
            (i, j)
            for i, here in enumerate(before.items)
            for j, there in enumerate(after.items)
            if may_go_on(here, there, step)
        }
        moves = mover(net).between(before, after, step)
        assert len(moves.here) == len(expected)
        assert set(zip(moves.here.tolist(), moves.there.tolist(), strict=True)) == expected


def test_rows_that_are_connected_have_a_move_where_the_third_does_not_matter(
    net: Lattice,
) -> None:
    """From the first grip of a bar on those are left that may follow; to the last grip of its
    second slot those that may lead to it.
    """
    for kind, bar in enumerate(net.grips):
        for step in net.piece.classes[kind].steps[:1]:
            whole_step = replace(step, opens_bar=True)  # nothing remembered
            before, after = bar[0], bar[1]
            first, last = before.only(np.array([0])), after.only(np.array([len(after) - 1]))
            (_, follow), _ = connected((first, after), (step,))
            (lead, _), _ = connected((before, last), (step,))
            follows = [may_go_on(first.items[0], one, whole_step) for one in after.items]
            leads = [may_go_on(one, last.items[0], whole_step) for one in before.items]
            assert list(follow.items) == [*compress(after.items, follows)]
            assert list(lead.items) == [*compress(before.items, leads)]


def test_a_matrix_of_moves_costs_what_its_pairs_do(net: Lattice) -> None:
    """Where any grip may follow any other the costs are added up as rows and columns."""
    pricing = mover(net)
    for before, after, step, _ in steps(net):
        moves = pricing.between(before, after, step)
        pairs = pricing._cost(before, after, moves.here, moves.there, step)
        assert moves.cost.tolist() == np.broadcast_to(pairs, len(moves.here)).tolist()


LEFT = [
    (string, fret, finger)
    for string in range(1, 7)
    for fret in range(6)
    for finger in (range(1, 6) if fret else (0,))
]
"""Strings, frets and fingers 1..4 or the thumb (5), 0 where open."""


def code(press: tuple[int, int, int]) -> int:
    return spot_code(Spot(*press[:2]), press[2])


def table_of(rule: Callable[[IntArray, IntArray], NDArray[np.bool_]]) -> NDArray[np.bool_]:
    """What a rule says of every two notes in a row, the earlier ones in rows."""
    codes = np.array([code(press) for press in LEFT], dtype=np.int32)
    return rule(codes[:, None], codes)


def test_fingers_that_cross_are_neighbours_on_neighbouring_strings_of_a_fret() -> None:
    for row, one in zip(table_of(moves_room._crossed), LEFT, strict=True):
        for found, other in zip(row, LEFT, strict=True):
            upper, lower = sorted((one, other))
            expected = (
                (lower[0] - upper[0], lower[1] - upper[1], lower[2] - upper[2]) == (1, 0, 1)
                and upper[1] > 0
                and lower[2] < THUMB
            )
            assert found == expected, (one, other)


def test_fingers_that_go_against_the_frets_are_on_one_string_a_fret_apart() -> None:
    for row, one in zip(table_of(moves_room._against), LEFT, strict=True):
        for found, other in zip(row, LEFT, strict=True):
            low, high = sorted((one, other))
            if THUMB in (low[2], high[2]):  # it has string 6, and no tune
                continue
            near = low[0] == high[0] and low[1] > 0 and high[1] - low[1] == 1
            assert found == (near and high[2] < low[2]), (one, other)


@pytest.mark.parametrize("rule", [moves_room._crossed, moves_room._against])
def test_silence_and_what_was_let_go_have_no_finger_to_cross(
    rule: Callable[[IntArray, IntArray], NDArray[np.bool_]],
) -> None:
    codes = np.array([NONE, *(code(press) for press in LEFT)], dtype=np.int32)
    let_go = codes[1:] // 8 * 8 + RELEASED
    assert not rule(codes, np.full_like(codes, NONE)).any()
    assert not rule(np.full_like(codes, NONE), codes).any()
    assert not moves_room._crossed(let_go[:, None], codes).any()


def test_what_crosses_or_goes_against_the_frets_costs_the_tune(net: Lattice) -> None:
    """From D on string 2 to G on string 1, and to D sharp; by 3, then by a finger."""
    move, pricing = fingering().move, mover(net)
    step = replace(next(steps(net))[2], tune="new", may_fold=False, seconds=0.5)
    before = SimpleNamespace(tune=np.array([code((2, 3, 3))]))
    after = [(1, 3, 4), (1, 3, 2), (1, 3, 3), (2, 4, 4), (2, 4, 2), (2, 4, 3)]
    goes_on = SimpleNamespace(
        tune=np.array([code(press) for press in after]),
        tune_finger=np.array([finger for _, _, finger in after]),
    )
    rows = np.zeros(len(after), dtype=np.intp), np.arange(len(after))
    found = pricing._tune(before, goes_on, *rows, step)  # type: ignore[arg-type]
    points = [0.0, move.crossed, move.legato_hop, 0.0, move.against, move.legato_slide]
    assert found.tolist() == [tenths(price) for price in points]


def any_step(random: np.random.Generator, step: Step) -> Step:
    """A step of the same kind in which all that a move may be charged for is drawn anew."""

    def one_of(*values: object) -> object:
        return values[random.integers(len(values))]

    intervals = one_of((), (7,), (-2,), (0,), (12, 0), (-12, 0), (5, -7))
    drawn = {
        "tune": one_of("new", "new", "silent"),
        "bass": one_of("new", "new", "silent"),
        "may_fold": one_of(True, True, False),
        "fold": Fold(int(random.integers(60)), intervals, float(random.integers(1, 4) / 2)),
        "alternates": one_of(True, False),
        "bass_step": one_of(None, 0, 2, -2, 5, -5, 7, -9, 12),
        "led_by": one_of((), (0, 7), (2, 5, 11)),
        "chord_begins": one_of(True, False),
        "may_change": one_of(True, False),
        "brief": one_of(True, False),
        "seconds": one_of(0.29, 0.30, 0.5, 0.80, 0.81),
    }
    return replace(step, **drawn)  # type: ignore[arg-type]


def standing(hands: tuple[Hand, ...], grips: Grips) -> Grips:
    """The grips where their hands stand."""
    low, high = np.array([(hand.low, hand.high) for hand in hands], dtype=np.int32)[
        grips.hand
    ].T
    return replace(grips, low=low, high=high)


@pytest.mark.parametrize("change", [0, 25])
def test_every_move_costs_what_a_guitarist_would_charge_for_it(
    net: Lattice, change: int
) -> None:
    """Grips and steps drawn from the piece's, the hands anywhere on the neck; each pair against
    the plain sum.
    """
    random = np.random.default_rng(4)
    hands = tuple(
        replace(hand, low=low, high=low + int(random.integers(2)))
        for hand in net.piece.hands
        for low in [int(random.integers(1, 8))]
    )
    pricing = replace(mover(net), shift_factor=1.8, change=change)
    plain = PlainMover(
        neck=neck_of(default_player(level_named("beginner")), 0),
        hands=hands,
        moves=pricing.moves,
        shapes=pricing.shapes,
        melody=pricing.melody,
        bass=pricing.bass,
        octaves=pricing.octaves,
        shift_factor=pricing.shift_factor,
        change=change,
    )
    for before, after, step, _ in steps(net):
        for _ in range(6):
            here, there = (
                standing(hands, grips.only(random.integers(len(grips), size=8)))
                for grips in (before, after)
            )
            drawn = any_step(random, step)
            moves = pricing.between(here, there, drawn)
            was, now = list(here.items), list(there.items)
            for i, j, cost in zip(moves.here, moves.there, moves.cost, strict=True):
                assert cost == plain.price(was[i], now[j], drawn), (was[i], now[j], drawn)


def test_the_thumb_should_not_take_a_string_that_a_finger_has_just_struck(
    net: Lattice,
) -> None:
    free = arranging().bass.model_copy(update={"cuts_off": 0.0})
    for before, after, step, _ in steps(net):
        dear, cheap = (mover(net, bass).between(before, after, step) for bass in (None, free))
        for k, more in enumerate((dear.cost - cheap.cost).tolist()):
            was, now = before.items[int(dear.here[k])], after.items[int(dear.there[k])]
            cut = step.bass == "new" and now.bass is not None
            struck = {spot.string for spot, _ in was.fills}
            struck |= {was.tune.string} if was.tune else set()
            cut = cut and now.bass is not None and now.bass.string in struck
            assert more == cut * tenths(arranging().bass.cuts_off)


def test_moves_are_sorted_and_said_once(net: Lattice) -> None:
    for _, _, _, moves in steps(net):
        pairs = list(zip(moves.there.tolist(), moves.here.tolist(), strict=True))
        assert pairs == sorted(set(pairs))
        assert np.all(np.diff(moves.here[moves.by_here]) >= 0)
        assert np.all(moves.cost >= 0)
        assert np.all(moves.cost < FORBIDDEN)


def test_the_matrix_and_single_moves_agree(small: Lattice) -> None:
    for before, after, _, moves in steps(small):
        matrix = moves.dense(np.arange(len(before)), np.arange(len(after)))
        assert matrix.tolist() == [
            [moves.between(i, j) for j in range(len(after))] for i in range(len(before))
        ]


def test_forward_and_backward_are_the_least_of_the_matrix(net: Lattice) -> None:
    random = np.random.default_rng(1)
    for before, after, _, moves in steps(net):
        matrix = moves.dense(np.arange(len(before)), np.arange(len(after))).astype(np.int64)
        reach = random.integers(0, 500, len(before)).astype(np.int32)
        rest = random.integers(0, 500, len(after)).astype(np.int32)
        forward = np.minimum((reach[:, None] + matrix).min(axis=0), FORBIDDEN)
        backward = np.minimum((rest[None, :] + matrix).min(axis=1), FORBIDDEN)
        assert moves.forward(reach).tolist() == forward.tolist()
        assert moves.backward(rest).tolist() == backward.tolist()


def test_some_rows_in_another_order(net: Lattice) -> None:
    """``only`` numbers the rows anew in the order in which they are named."""
    random = np.random.default_rng(2)
    for before, after, _, moves in steps(net):
        here = random.permutation(len(before))[: max(1, len(before) // 2)].astype(np.int32)
        there = random.permutation(len(after))[: max(1, len(after) // 2)].astype(np.int32)
        whole_matrix = moves.dense(np.arange(len(before)), np.arange(len(after)))
        assert np.array_equal(moves.dense(here, there), whole_matrix[np.ix_(here, there)])


# Prices ---------------------------------------------------------------------------------


def test_the_dynamic_program_finds_the_cheapest_path(small: Lattice) -> None:
    assert prices(small).best == min(cost for _, cost in played_paths(small))


def test_the_cost_of_a_path_is_the_sum_on_its_way(small: Lattice) -> None:
    for bars, cost in played_paths(small):
        assert small.cost(bars) == cost


def test_a_path_with_an_impossible_move_is_forbidden(small: Lattice) -> None:
    possible_paths = {tuple(bars) for bars, _ in played_paths(small)}
    random = np.random.default_rng(3)
    for _ in range(200):
        bars = [
            tuple(int(random.integers(len(grips))) for grips in small.grips[kind])
            for kind in small.piece.order
        ]
        assert (small.cost(bars) < FORBIDDEN) == (tuple(bars) in possible_paths)


def test_min_marginals_are_the_cheapest_paths_through_a_grip(small: Lattice) -> None:
    found = prices(small)
    cheapest: dict[tuple[int, int, int], int] = {}
    for bars, cost in played_paths(small):
        for bar, path in enumerate(bars):
            for slot, row in enumerate(path):
                known = cheapest.get((bar, slot, row), FORBIDDEN)
                cheapest[bar, slot, row] = min(known, cost)
    for bar, kind in enumerate(small.piece.order):
        for slot, grips in enumerate(small.grips[kind]):
            through = found.marginals(bar, slot)
            for row in range(len(grips)):
                known = cheapest.get((bar, slot, row))
                if known is None:
                    assert through[row] >= FORBIDDEN
                else:
                    assert through[row] == known


def test_prices_are_paid_once_a_class(small: Lattice) -> None:
    """A price of 5 on every grip of the first slot of class 0, however often that is played."""
    once = {(0, 0): np.full(len(small.grips[0][0]), 5, dtype=np.int32)}
    assert prices(small, once).best - prices(small).best == 5


def test_every_grip_of_the_lattice_lies_on_some_path_of_its_bar(net: Lattice) -> None:
    """Grips that lead nowhere were left out, but for the third that a bar remembers."""
    for kind, bar in enumerate(net.grips):
        left, pairs = connected(bar, net.piece.classes[kind].steps)
        for grips, kept in zip(bar, left, strict=True):
            assert len(kept) == len(grips) > 0
            assert np.all(grips.hand != NONE)
        for moves, found in zip(net.inside[kind], pairs, strict=True):
            if found is not None:
                known = set(zip(found[0].tolist(), found[1].tolist(), strict=True))
                assert known >= set(zip(moves.here.tolist(), moves.there.tolist(), strict=True))


def test_a_way_that_is_barred_is_told_by_its_bar(net: Lattice) -> None:
    """Two grips that each can be played, with no move from the one to the other: what is left
    of the piece stops in the first bar that holds them.
    """
    assert first_stop(net) is None
    for kind in dict.fromkeys(net.piece.order):
        for slot, moves in enumerate(net.inside[kind]):
            here, there = (np.arange(len(net.grips[kind][slot + n])) for n in (0, 1))
            barred = np.argwhere(moves.dense(here, there) >= FORBIDDEN)
            if len(barred):
                rows = all_rows(net)
                rows[kind, slot], rows[kind, slot + 1] = barred[0][:1], barred[0][1:]
                assert first_stop(restricted(net, rows)) == net.piece.order.index(kind)
                return
    pytest.skip("every grip of this piece leads to every other")
