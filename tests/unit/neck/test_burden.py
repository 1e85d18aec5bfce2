"""What playing asks, priced: at no price nothing changes, at a price the piece gets easier."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from arranger.judge import difficulty, violations
from arranger.music.arrangement import Arrangement
from arranger.music.reduction import Reduction
from arranger.neck import Priced, place
from arranger.neck.burden import NO_BURDEN, burden_of
from arranger.neck.fretboard import Spot
from arranger.neck.grips import Grip
from arranger.neck.network import grip_maker, network
from arranger.neck.outline import outline
from arranger.reduce import reduce
from arranger.run.understand import understand
from arranger.tables import default_player, level_named
from arranger.tables.burden import burden_table
from arranger.tables.fingering import fingering

WALTZ = Path(__file__).parents[3] / "corpus" / "augustin_waltz.mid"
LEVEL = level_named("intermediate")
PLAYER = default_player(LEVEL)


@cache
def reduction() -> Reduction:
    return reduce(
        understand(WALTZ), level=LEVEL, level_name="intermediate", player=PLAYER, key="G"
    )


@cache
def plain() -> Arrangement:
    return place(reduction(), level=LEVEL, player=PLAYER)


@cache
def priced(price: float) -> Arrangement:
    return place(reduction(), level=LEVEL, player=PLAYER, priced=Priced(price, plain()))


def test_no_price_is_no_burden() -> None:
    assert burden_of(reduction(), None) == NO_BURDEN
    costs = fingering()
    assert NO_BURDEN.hold(costs.hold) == costs.hold
    assert NO_BURDEN.moves(costs.move) == costs.move
    assert replace(priced(0.0), proof=plain().proof) == plain()


def test_a_place_seldom_used_costs_more_than_one_in_the_hand() -> None:
    burden = burden_of(reduction(), Priced(10_000.0, plain()))
    uses = Counter((note.string, note.fret) for note in plain().notes if note.fret)
    (often, _), *_, (seldom, _) = uses.most_common()
    unused = next(Spot(1, fret) for fret in range(1, 20) if (1, fret) not in uses)
    assert burden.begun(Spot(*often)) < burden.begun(Spot(*seldom)) <= burden.begun(unused)
    assert burden.begun(Spot(1, 0)) == burden.note < burden.begun(Spot(*often))


def test_factors_are_of_work_alone() -> None:
    """Times, shares and what only tells the shape are no points of holding or moving."""
    burden = burden_of(reduction(), Priced(10_000.0, plain()))
    hold, move = fingering().hold, fingering().move
    assert burden.hold(hold).barre > hold.barre
    assert burden.hold(hold).not_in_shape == hold.not_in_shape
    assert burden.hold(hold).stretch_power == hold.stretch_power
    assert burden.moves(move).shift > move.shift
    assert burden.moves(move).fast_seconds == move.fast_seconds


@pytest.mark.parametrize("step", [8, 14, 20])
def test_a_price_makes_the_piece_easier_and_keeps_the_rules(step: int) -> None:
    price = burden_table().price.at(step)
    easier = priced(price)
    assert not violations(easier, LEVEL, PLAYER)
    before = difficulty(plain(), LEVEL, PLAYER).score
    assert difficulty(easier, LEVEL, PLAYER).score < before
    assert len(easier.notes) <= len(plain().notes)


def test_the_proof_is_of_the_priced_piece() -> None:
    """Every note and move costs more, so the best there is costs more."""
    proof = priced(burden_table().price.at(14)).proof
    assert proof.bound <= proof.objective
    assert proof.objective > plain().proof.objective


def test_every_stroke_is_priced_once_with_inner_notes_or_without() -> None:
    """The same grips with a price for strokes: dearer by it wherever something is plucked."""
    asked = 500
    costs = []
    for burden in (NO_BURDEN, replace(NO_BURDEN, strike=asked)):
        maker = grip_maker(reduction(), LEVEL, PLAYER, burden)
        net = network(outline(reduction(), maker.rules.level), reduction().settings[0], maker)
        found: dict[tuple[int, int, Grip], tuple[int, bool]] = {}
        for kind, bar in enumerate(net.piece.classes):
            for slot, context in enumerate(bar.contexts):
                for grip in net.grips[kind][slot].items:
                    plucked = bool(
                        grip.fills
                        or (context.tune_begins and grip.tune)
                        or (context.stroke_begins and grip.bass)
                    )
                    found[kind, slot, replace(grip, cost=0)] = grip.cost, plucked
        costs.append(found)
    free, dear = costs
    both = free.keys() & dear.keys()
    assert len(both) > len(free) / 2
    assert any(grip.fills for *_, grip in both)
    for grip in both:
        cost, plucked = free[grip]
        assert dear[grip] == (cost + plucked * asked, plucked)
