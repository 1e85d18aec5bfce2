"""Where the tune lies: near the nut, unless a shape has it elsewhere.

Expected behaviour: common practice, no source. Students learn each note in first position
before they learn it at the fifth fret of the string below.
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
TUNE = arranging().melody
C_SHAPE = chord_shape("C", "x3555x", "x1333x", 2)


def price(spot: Spot, *, shape: bool = False) -> int:
    """Tenths for where a tune note lies, from a free hand or from the shape."""
    rules = HandRules(neck_of(PLAYER, 0), PLAYER, LEVEL, fingering().hold)
    maker = VoicingMaker(rules, Hands(), TUNE, arranging().bass, 50)
    hand = shape_hand(C_SHAPE, 0.0) if shape else free_hands(rules, 0.0)[0]
    return maker._tune_price(spot, hand)


@pytest.mark.parametrize(("string", "fret"), [(2, 5), (2, 8), (3, 4), (3, 5)])
def test_past_the_next_open_string_a_tune_note_costs_more(string: int, fret: int) -> None:
    assert price(Spot(string, fret)) == round(10 * TUNE.past_open)
    assert price(Spot(string, 3)) == 0


@pytest.mark.parametrize("fret", [0, 5, 12])
def test_the_first_string_has_no_other(fret: int) -> None:
    assert price(Spot(1, fret)) == 0


def test_a_shape_brings_its_tune_along() -> None:
    assert price(Spot(3, 5), shape=True) == 0
    roams = round(10 * fingering().hold.melody_roams)
    assert price(Spot(3, 7), shape=True) == round(10 * TUNE.past_open) + roams
