"""Where tune and thumb lie: low on their strings, unless a shape has them elsewhere.

Expected behaviour: common practice, no source. In first position a hand takes the open string
and not the fifth fret of the string below it; students learn each note there first.
"""

from __future__ import annotations

import pytest

from arranger.neck.fretboard import Spot, neck_of
from arranger.neck.hands import Hand, Hands, free_hands, shape_hand
from arranger.neck.reach import HandRules
from arranger.neck.voicings import VoicingMaker
from arranger.tables import default_player, level_named
from arranger.tables.arranging import arranging
from arranger.tables.fingering import fingering
from arranger.tables.shapes import chord_shape

LEVEL = level_named("advanced")
PLAYER = default_player(LEVEL)
RULES = HandRules(neck_of(PLAYER, 0), PLAYER, LEVEL, fingering().hold)
TUNE, BASS = arranging().melody, arranging().bass
MAKER = VoicingMaker(RULES, Hands(), TUNE, BASS, 50)
FREE = free_hands(RULES, 0.0)[0]
D_SHAPE = shape_hand(chord_shape("D", "x5423x", "x4312x", 2), 0.0)
C_SHAPE = shape_hand(chord_shape("C", "x3555x", "x1333x", 2), 0.0)


# The thumb ------------------------------------------------------------------------------


def price(spot: Spot, hand: Hand = FREE) -> int:
    """Tenths for where the thumb's note lies, from a free hand or from a shape."""
    return MAKER._bass_price(spot, hand)


@pytest.mark.parametrize(("string", "fret"), [(6, 5), (6, 7), (5, 5), (5, 8)])
def test_past_the_next_open_string_a_bass_note_costs_more(string: int, fret: int) -> None:
    assert price(Spot(string, fret)) == round(10 * BASS.past_open)
    assert price(Spot(string, 4)) == 0


def test_past_the_fingers_open_string_it_costs_more_too() -> None:
    """The thumb's part stays below the open third string, which is the fingers'. Up to F3 it
    costs nothing to lie high, G3 is two semitones above.
    """
    assert price(Spot(4, 3)) == 0
    assert price(Spot(4, 5)) == round(10 * (BASS.past_open + 2 * BASS.high))


def test_a_shape_brings_its_bass_along() -> None:
    """D as the C shape moved up by two frets has its root on the fifth fret of string 5."""
    assert price(Spot(5, 5), D_SHAPE) == 0
    assert price(Spot(6, 5), D_SHAPE) > round(10 * BASS.past_open)


# The tune -------------------------------------------------------------------------------


def tune_price(spot: Spot, hand: Hand = FREE) -> int:
    """Tenths for where a tune note lies, from a free hand or from a shape."""
    return MAKER._tune_price(spot, hand)


@pytest.mark.parametrize(("string", "fret"), [(2, 5), (2, 8), (3, 4), (3, 5)])
def test_past_the_next_open_string_a_tune_note_costs_more(string: int, fret: int) -> None:
    assert tune_price(Spot(string, fret)) == round(10 * TUNE.past_open)
    assert tune_price(Spot(string, 3)) == 0


@pytest.mark.parametrize("fret", [0, 5, 12])
def test_the_first_string_has_no_other(fret: int) -> None:
    assert tune_price(Spot(1, fret)) == 0


def test_a_shape_brings_its_tune_along() -> None:
    assert tune_price(Spot(3, 5), C_SHAPE) == 0
    roams = round(10 * fingering().hold.melody_roams)
    assert tune_price(Spot(3, 7), C_SHAPE) == round(10 * TUNE.past_open) + roams
