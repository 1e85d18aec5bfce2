"""Where the hand may be under a harmony: in a shape, or free at a position."""

from __future__ import annotations

import pytest

from arranger.music.chord import Chord
from arranger.neck.fretboard import Spot, neck_of
from arranger.neck.hands import Hand, free_hands, hands_for, shape_hand
from arranger.neck.reach import HandRules
from arranger.tables import default_player, level_named
from arranger.tables.fingering import fingering
from arranger.tables.shapes import chord_shape

COSTS = fingering().shape
C, F = Chord(0, "", 0), Chord(5, "", 5)


def rules(level: str) -> HandRules:
    played = level_named(level)
    student = default_player(played)
    return HandRules(neck_of(student, 0), student, played, fingering().hold)


def under(chord: Chord | None, level: str = "beginner") -> dict[str | None, Hand]:
    """The hands of a level under a chord, by the frets of their shape (None: free)."""
    hand_rules = rules(level)
    return {
        "".join("x" if fret is None else str(fret) for fret in hand.shape.frets)
        if hand.shape
        else None: hand
        for hand in hands_for(chord, hand_rules, hand_rules.neck, COSTS)
    }


def test_the_open_c_shape_on_the_neck() -> None:
    hand = shape_hand(chord_shape("C", "x32010", "x32010", 1), 0.0)
    assert hand.planted == ((1, Spot(2, 1)), (2, Spot(4, 2)), (3, Spot(5, 3)))
    assert (hand.low, hand.high) == (1, 1)
    assert hand.finger_at(Spot(5, 3)) == 3
    assert hand.finger_at(Spot(3, 0)) is None
    assert hand.finger_at(Spot(5, 2)) is None


def test_a_barre_is_planted_once_and_presses_every_string() -> None:
    hand = shape_hand(chord_shape("F", "133211", "134211", 3), 0.0)
    assert dict(hand.planted)[1] == Spot(6, 1)
    assert {hand.finger_at(Spot(string, 1)) for string in (6, 2, 1)} == {1}


def test_the_thumb_says_nothing_of_where_the_first_finger_stands() -> None:
    hand = shape_hand(chord_shape("F", "1x321x", "Tx321x", 3), 0.0)
    assert hand.finger_at(Spot(6, 1)) == 5
    assert (hand.low, hand.high) == (1, 1)


@pytest.mark.parametrize(
    ("frets", "fingers", "low", "high"),
    [
        ("x02220", "x01230", 1, 2),  # fingers 1, 2 and 3 in fret 2: at 2, 1 or before
        ("x3555x", "x1234x", 2, 4),  # the little finger back in the fret of the others
        ("3x543x", "Tx321x", 3, 3),  # the thumb says nothing
        ("020000", "010000", 2, 2),
        ("000000", "000000", 1, 1),  # nothing pressed: in first position
    ],
)
def test_a_shape_that_shares_a_fret_leaves_open_where_the_hand_stands(
    frets: str, fingers: str, low: int, high: int
) -> None:
    hand = shape_hand(chord_shape("A", frets, fingers, 1), 0.0)
    assert (hand.low, hand.high) == (low, high)


@pytest.mark.parametrize(("level", "last"), [("beginner", 2), ("elementary", 3)])
def test_free_hands_stand_at_every_position_of_the_level(level: str, last: int) -> None:
    """Up to where the first three fingers still lie on the level's frets."""
    hands = free_hands(rules(level), 4.0)
    assert [(hand.low, hand.high) for hand in hands] == [(n, n) for n in range(1, last + 1)]
    assert all(hand.shape is None and hand.cost == 4.0 for hand in hands)


def test_without_a_harmony_the_hand_is_free_and_that_costs_nothing() -> None:
    assert [hand.cost for hand in under(None).values()] == [0.0]


def test_a_beginner_has_the_open_c_and_a_free_hand_that_costs_more() -> None:
    hands = under(C)
    assert hands.keys() == {"x32010", None}
    assert hands["x32010"].cost == 0
    assert hands[None].cost == COSTS.free_hand


def test_barres_come_with_the_level_and_cost_what_their_grade_says() -> None:
    assert "xx3211" not in under(F)
    assert under(F, "elementary")["xx3211"].cost == COSTS.grade_two
    assert under(F, "intermediate")["133211"].cost == COSTS.grade_three


def test_a_plainer_shape_serves_at_a_price() -> None:
    """Under C7 the open C leaves out the seventh; under C nothing adds one."""
    hands = under(Chord(0, "7", 0))
    assert hands["x32310"].cost == 0
    assert hands["x32010"].cost == COSTS.plainer
    assert "x32310" not in under(C)


def test_no_shape_stands_for_a_chord_with_another_root() -> None:
    """Am holds two tones of C and is still no C: a wrong bass is worse than two notes."""
    assert "x02210" not in under(C)


def test_the_voicing_book_has_the_last_word() -> None:
    book = chord_shape("C", "x32013", "x32014", 1)
    hand_rules = rules("beginner")
    hands = hands_for(C, hand_rules, hand_rules.neck, COSTS, book)
    assert hands[0].shape == book
    assert hands[0].cost == 0
    assert all(h.shape is None for h in hands[1:])
    assert {h.cost for h in hands[1:]} == {COSTS.free_hand + COSTS.beside_book}
