"""The hand that fingers scores as written holds published chord shapes, and no others.

Source: an open chord collection (2,069 shapes with fingers; ``chords/`` of the open data, its
origin in SOURCES.csv there), self-contradictory shapes left out. Skipped when the data is
not at hand. The grips that no hand can hold are common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest
from test_published_shapes import at_hand, published

from arranger.judge import any_hand, hand_faults
from arranger.neck.fingered import written_neck
from arranger.neck.presses import hand_tables, press, under_a_barre
from arranger.tables import instrument, load
from arranger.tables.habits import as_written
from arranger.tables.player import PlayerFile, Reaches, player_of

LEVEL = as_written()


def holds(player, frets, fingers):
    """Whether the tables allow the shape (string 6 first)."""
    hand = hand_tables(written_neck(player, instrument().tuning), LEVEL, player)
    codes = [
        press(6 - place, fret, int(finger or 0) if fret else 0)
        for place, (fret, finger) in enumerate(zip(frets, fingers, strict=True))
        if fret is not None
    ]
    pairs = [hand.fits[one, other] for at, one in enumerate(codes) for other in codes[at + 1 :]]
    return all(pairs) and not under_a_barre(np.array([codes], dtype=np.int32))[0]


@at_hand
def test_published_shapes_can_be_held():
    player = player_of(PlayerFile(reach="large"), LEVEL)
    shapes = [
        (name, frets, fingers)
        for name, frets, fingers in published()
        if not any(f is not None and f > 15 for f in frets)
        and all((not fret) or finger for fret, finger in zip(frets, fingers, strict=True))
    ]
    refused = [shape for shape in shapes if not holds(player, *shape[1:])]
    assert len(shapes) > 1900
    assert 1 - len(refused) / len(shapes) >= 0.985, refused[:20]


# Frets and fingers from string 6 to string 1 (x: not played), and why no hand holds them.
IMPOSSIBLE = {
    "one finger on two frets": ((None, 1, 3, None, None, None), "-11---"),
    "a higher finger behind a lower one": ((None, 3, 1, None, None, None), "-12---"),
    "seven frets from first to second finger": ((None, 1, 8, None, None, None), "-12---"),
    "nine frets from first to fourth finger": ((1, None, None, None, None, 10), "1----4"),
    "an open string under a barre": ((None, 2, 0, 2, None, None), "-1-1--"),
    "a lower note under a barre": ((None, 5, 3, 5, None, None), "-313--"),
    "a barre of the little finger over five strings": ((None, 5, 5, 5, 5, 5), "-44444"),
    "a barre of the second finger over six strings": ((3, 3, 3, 3, 3, 3), "222222"),
    "third and fourth finger five frets apart": ((None, None, 1, 6, None, None), "--34--"),
    "first finger ahead of the third": ((None, None, 5, 3, None, None), "--13--"),
}


@pytest.mark.parametrize("why", IMPOSSIBLE)
def test_impossible_grips_are_refused_by_both_and_explained(why):
    frets, row = IMPOSSIBLE[why]
    fingers = tuple(None if mark == "-" else mark for mark in row)
    player = player_of(PlayerFile(reach="large"), LEVEL)
    assert not holds(player, frets, fingers)
    faults = hand_faults(frets, fingers, limits=any_hand(load("reach", Reaches).large))
    assert faults
    assert all(fault.text for fault in faults)
