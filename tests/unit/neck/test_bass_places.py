"""Where the thumb's notes lie: low on their strings, unless a shape has them elsewhere.

Expected behaviour: common practice, no source. In first position the thumb takes the open
string and not the fifth fret of the string below it.
"""

from __future__ import annotations

import pytest

from arranger.neck.fretboard import Spot, neck_of
from arranger.neck.hands import Hands, free_hands, shape_hand
from arranger.neck.reach import HandRules
from arranger.neck.voicings import VoicingMaker
from arranger.tables import default_player, level_named
from arranger.tables.arranging import arranging
from arranger.tables.fingering import fingering
from arranger.tables.shapes import chord_shape

LEVEL = level_named("advanced")
PLAYER = default_player(LEVEL)
BASS = arranging().bass
D_SHAPE = chord_shape("D", "x5423x", "x4312x", 2)


def price(spot: Spot, *, shape: bool = False) -> int:
    """Tenths for where the thumb's note lies, from a free hand or from the shape."""
    rules = HandRules(neck_of(PLAYER, 0), PLAYER, LEVEL, fingering().hold)
    maker = VoicingMaker(rules, Hands(), arranging().melody, BASS, 50)
    hand = shape_hand(D_SHAPE, 0.0) if shape else free_hands(rules, 0.0)[0]
    return maker._bass_price(spot, hand)


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
    assert price(Spot(5, 5), shape=True) == 0
    assert price(Spot(6, 5), shape=True) > round(10 * BASS.past_open)
