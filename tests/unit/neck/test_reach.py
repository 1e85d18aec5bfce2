"""What a hand can hold at once: fingers in order, reach in mm, barres, the thumb."""

from __future__ import annotations

from dataclasses import replace

import pytest

from arranger.neck.fretboard import Spot, neck_of
from arranger.neck.reach import THUMB, HandRules
from arranger.tables import PlayerFile, level_named, player_of
from arranger.tables.fingering import fingering
from arranger.tables.shapes import chord_shape

COSTS = fingering().hold


def rules(level: str = "intermediate", *, capo: int = 0, **player: object) -> HandRules:
    """The hand of a level, with what a player file says otherwise."""
    played = level_named(level)
    student = player_of(PlayerFile.model_validate(player), played)
    return HandRules(neck_of(student, capo), student, played, COSTS)


# Fingers in order -----------------------------------------------------------------------


def test_nothing_fretted_costs_nothing() -> None:
    assert rules().hold([]) == 0
    assert rules().hold([(6, 0, 0), (1, 0, 0)]) == 0


@pytest.mark.parametrize("lower", [1, 2, 3])
def test_a_higher_finger_never_lies_on_a_lower_fret(lower: int) -> None:
    """Finger 2 behind finger 1 would cross it."""
    assert rules().hold([(4, 2, lower), (5, 3, lower + 1)]) is not None
    assert rules().hold([(4, 3, lower), (5, 2, lower + 1)]) is None


def test_fingers_side_by_side_in_one_fret_lie_low_string_first() -> None:
    """In A x02220 fingers 1 2 3 run from string 4 to string 2; turned round they cross."""
    straight = rules().hold([(4, 2, 1), (3, 2, 2), (2, 2, 3)])
    crossed = rules().hold([(4, 2, 3), (3, 2, 2), (2, 2, 1)])
    assert straight is not None
    assert crossed == pytest.approx(straight + 3 * COSTS.same_fret_reversed)


# Reach ----------------------------------------------------------------------------------


def test_reach_is_millimetres_so_the_same_frets_come_nearer_up_the_neck() -> None:
    """Frets 1 to 6 lie 154 mm apart at 650 mm, frets 5 to 10 122 mm; a medium hand spans
    150 mm between fingers 1 and 4. Fret formula; computed.
    """
    assert rules("advanced").hold([(6, 1, 1), (6, 6, 4)]) is None
    assert rules("advanced").hold([(6, 5, 1), (6, 10, 4)]) is not None


@pytest.mark.parametrize(
    ("level", "first_to_fifth"),
    [("beginner", 20.0), ("elementary", 12.0), ("intermediate", 3.0), ("advanced", 0.0)],
)
def test_a_student_pays_for_a_wide_stretch_and_for_no_usual_one(
    level: str, first_to_fifth: float
) -> None:
    """Fingers 1 and 4 on frets 1 and 5 are no beginner's; on frets 1 and 4 they are (common
    practice, no source). Points beside what any hand pays: at least; at most two.
    """

    def more(fret: int) -> float:
        presses = [(6, 1, 1), (1, fret, 4)]
        costs = fingering().hold_at(level)
        student = player_of(PlayerFile(), level_named(level))
        here = HandRules(neck_of(student, 0), student, level_named(level), costs).hold(presses)
        anyone = rules(level).hold(presses)
        assert here is not None
        assert anyone is not None
        return here - anyone

    assert more(5) >= first_to_fifth
    assert more(4) <= 2.0


def test_a_capo_brings_the_frets_nearer() -> None:
    assert rules("advanced", capo=4).hold([(6, 1, 1), (6, 6, 4)]) is not None


@pytest.mark.parametrize(("hand", "holds"), [("small", False), ("medium", True)])
def test_a_small_hand_holds_less(hand: str, *, holds: bool) -> None:
    """Fingers 1 and 2 on frets 1 and 3: 67 mm; small reaches 65, medium 70."""
    found = rules(reach=hand).hold([(6, 1, 1), (6, 3, 2)])
    assert (found is not None) == holds


def test_a_wider_stretch_costs_more() -> None:
    near = rules().hold([(5, 1, 1), (5, 3, 3)])
    far = rules().hold([(5, 1, 1), (5, 4, 3)])
    assert near is not None
    assert far is not None
    assert 0 < near < far


def test_a_stretch_costs_a_power_of_its_share_of_the_reach() -> None:
    """Frets 1 and 3 on one string: L·(2^(-1/12) − 2^(-3/12)) mm; the cube is ours."""
    hand = rules()
    apart = hand.neck.scale_length * (2 ** (-1 / 12) - 2 ** (-3 / 12))
    share = apart / hand.player.reach.between(1, 3)
    assert hand.hold([(6, 1, 1), (6, 3, 3)]) == pytest.approx(
        COSTS.stretch * share**COSTS.stretch_power
    )


def test_what_lies_just_within_reach_is_held() -> None:
    """Fingers 1 and 2 over three strings and two frets, and not a hair more."""
    hand = rules()
    apart = hand.neck.distance(Spot(5, 1), Spot(2, 3))
    for most, holds in ((apart, True), (apart - 0.001, False)):
        reach = hand.player.reach.model_copy(update={"f12": most})
        player = hand.player.model_copy(update={"reach": reach})
        stretched = replace(hand, player=player, _known={}, _pairs={})
        assert (stretched.hold([(5, 1, 1), (2, 3, 2)]) is not None) == holds


# Barres ---------------------------------------------------------------------------------


def barre(width: int, fret: int, finger: int = 1) -> list[tuple[int, int, int]]:
    """A finger over ``width`` strings from string 1 up."""
    return [(string, fret, finger) for string in range(1, width + 1)]


@pytest.mark.parametrize(
    ("level", "widest", "highest"),
    [("beginner", 1, 3), ("elementary", 2, 3), ("intermediate", 6, 5)],
)
def test_the_first_finger_lies_over_as_many_strings_as_the_level_says(
    level: str, widest: int, highest: int
) -> None:
    for width in range(2, 7):
        held = rules(level).hold(barre(width, 1))
        assert (held is not None) == (width <= widest)
    if widest > 1:
        assert rules(level).hold(barre(2, highest)) is not None
        assert rules(level).hold(barre(2, highest + 1)) is None


@pytest.mark.parametrize(
    ("techniques", "widest"),
    [((), 1), (("half barre",), 3), (("full barre",), 6)],
)
def test_the_player_file_has_the_last_word_on_barres(
    techniques: tuple[str, ...], widest: int
) -> None:
    """A beginner who can barre may, up to fret 5; one whose file names none may not."""
    for level in ("beginner", "intermediate"):
        hand = rules(level, techniques=techniques)
        for width in range(2, 7):
            assert (hand.hold(barre(width, 1)) is not None) == (width <= widest)


@pytest.mark.parametrize("finger", [2, 3, 4])
def test_small_barres_lie_over_at_most_three_strings(finger: int) -> None:
    assert rules("elementary").hold(barre(2, 3, finger)) is None
    assert rules("intermediate").hold(barre(3, 3, finger)) is not None
    assert rules("intermediate").hold(barre(4, 3, finger)) is None


def test_one_finger_is_not_in_two_frets() -> None:
    assert rules().hold([(1, 1, 1), (2, 2, 1)]) is None


def test_a_wide_barre_costs_more_than_a_half_one() -> None:
    assert rules().hold(barre(3, 1)) == COSTS.barre
    assert rules().hold(barre(4, 1)) == COSTS.full_barre


def test_each_barre_of_a_grip_is_paid_for() -> None:
    """First and third finger over two strings each, and what the four pairs stretch."""
    first, third = [(1, 2, 1), (2, 2, 1)], [(3, 4, 3), (4, 4, 3)]
    hand = rules("advanced")
    pairs = [hand.hold([one, other]) for one in first for other in third]
    stretches = sum(cost for cost in pairs if cost is not None)
    assert hand.hold(first + third) == pytest.approx(2 * COSTS.barre + stretches)


def test_a_barre_beside_the_thumb_is_paid_for_too() -> None:
    hand = rules("advanced", techniques=("thumb over", "half barre"))
    grip = [(6, 2, THUMB), (1, 2, 1), (2, 2, 1)]
    assert hand.hold(grip) == pytest.approx(COSTS.thumb_over + COSTS.barre)


def test_no_string_rings_open_under_a_barre() -> None:
    """Between the barre's ends nothing sounds below its fret; beside it a string may."""
    assert rules().hold([(1, 2, 1), (4, 2, 1), (3, 0, 0)]) is None
    assert rules().hold([(1, 2, 1), (4, 2, 1), (3, 3, 2)]) is not None
    assert rules().hold([(1, 2, 1), (4, 2, 1), (5, 0, 0)]) is not None


# The thumb over the neck ----------------------------------------------------------------


def test_the_thumb_comes_over_only_for_a_player_who_has_it() -> None:
    assert rules().hold([(6, 1, THUMB)]) is None
    assert rules(techniques=("thumb over",)).hold([(6, 1, THUMB)]) == COSTS.thumb_over


@pytest.mark.parametrize(
    ("string", "fret", "holds"), [(6, 5, True), (6, 6, False), (5, 1, False)]
)
def test_the_thumb_reaches_string_six_up_to_fret_five(
    string: int, fret: int, *, holds: bool
) -> None:
    hand = rules("advanced", techniques=("thumb over",))
    assert (hand.hold([(string, fret, THUMB)]) is not None) == holds


@pytest.mark.parametrize(
    ("thumb", "finger", "holds"),
    [(1, 4, True), (1, 5, False), (2, 1, True), (3, 1, False)],
)
def test_the_thumb_stays_near_the_fingers(thumb: int, finger: int, *, holds: bool) -> None:
    """Frets 1 to 4 are 98 mm, 1 to 5 127; the thumb may be one fret ahead, not two.
    Common practice, no source.
    """
    hand = rules("advanced", techniques=("thumb over",))
    assert (hand.hold([(6, thumb, THUMB), (1, finger, 3)]) is not None) == holds


@pytest.mark.parametrize(
    ("way", "thumb", "finger"), [("thumb_behind", 1, 4), ("thumb_ahead", 3, 2)]
)
def test_the_thumb_lies_just_as_far_as_it_may(way: str, thumb: int, finger: int) -> None:
    hand = rules("advanced", techniques=("thumb over",))
    along = hand.neck.distance(Spot(1, thumb), Spot(1, finger))
    for most, holds in ((along, True), (along - 0.001, False)):
        table = hand.table.model_copy(update={way: most})
        lying = replace(hand, table=table, _known={}, _pairs={})
        assert (lying.hold([(6, thumb, THUMB), (1, finger, 3)]) is not None) == holds


def test_the_way_across_the_strings_does_not_count_for_the_thumb() -> None:
    """At 664.5 mm frets 1 and 4 lie 99.8 mm apart, a string further 100.2: it may be 100."""
    hand = rules("advanced", techniques=("thumb over",), scale_length=664.5)
    for string in range(1, 6):
        assert hand.hold([(6, 1, THUMB), (string, 4, 3)]) is not None


def test_a_finger_near_the_thumb_costs_nothing_more() -> None:
    hand = rules("advanced", techniques=("thumb over",))
    assert hand.hold([(6, 2, THUMB), (4, 2, 1)]) == COSTS.thumb_over


# Levels ---------------------------------------------------------------------------------


def test_the_little_finger_of_a_beginner_reaches_further_on_string_one() -> None:
    hand = rules("beginner")
    assert hand.allows_spot(Spot(1, 5))
    assert not hand.allows_spot(Spot(1, 6))
    assert hand.allows_spot(Spot(2, 4))
    assert not hand.allows_spot(Spot(2, 5))


def test_shapes_of_a_level() -> None:
    open_c = chord_shape("C", "x32010", "x32010", 1)
    full_f = chord_shape("F", "133211", "134211", 3)
    small_f = chord_shape("F", "xx3211", "xx3211", 2)
    for level, shapes in {
        "beginner": (True, False, False),
        "elementary": (True, False, True),
        "intermediate": (True, True, True),
    }.items():
        allowed = tuple(rules(level).allows_shape(s) for s in (open_c, full_f, small_f))
        assert allowed == shapes


def test_a_shape_lies_on_the_strings_it_is_written_for() -> None:
    """F with the thumb on string 6; fret 5 of string 1 is a beginner's, of string 2 not."""
    thumb = chord_shape("F", "1x321x", "Tx321x", 3)
    assert rules("intermediate", techniques=("thumb over",)).allows_shape(thumb)
    assert not rules("intermediate").allows_shape(thumb)
    beginner = rules("beginner")
    assert beginner.allows_shape(chord_shape("A", "xxxxx5", "xxxxx4", 1))
    assert not beginner.allows_shape(chord_shape("E", "xxxx5x", "xxxx4x", 1))


def test_the_same_question_in_another_order_has_the_same_answer() -> None:
    grip = [(5, 3, 3), (4, 2, 2), (2, 1, 1)]
    hand = rules()
    assert hand.hold(grip) == hand.hold(grip[::-1]) == rules().hold(grip[::-1])
