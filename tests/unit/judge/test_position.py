"""When the hand goes elsewhere on the neck, from which position and to which.

Expected behaviour: common practice, no source. A position is named by the fret at which the
first finger lies; a finger lies in its own fret or one beside it. Of the positions that
explain what was fretted the hand leaves the one nearest to where it goes.
"""

from __future__ import annotations

import pytest

from arranger.judge.hearing import hear
from arranger.judge.position import shifts
from arranger.tables import default_player, level_named


def shifted(piece, frets_and_fingers):
    """From where to where: ``"1-1 5-4"`` are fret and finger of notes on string 1."""
    pairs = [pair.split("-") for pair in frets_and_fingers.split()]
    lines = "\n".join(f"{n} 1 melody 1 {fret} {left} a" for n, (fret, left) in enumerate(pairs))
    level = level_named("advanced")
    return [
        (shift.before, shift.after)
        for shift in shifts(hear(piece(lines), level, default_player(level)))
    ]


@pytest.mark.parametrize(
    "notes",
    [
        "1-1 2-2 3-3 4-4",
        "1-1 5-4",  # the little finger one fret on
        "1-1 3-1",  # both from the second position
        "3-1 1-1",
        "1-1 1-3",  # the third finger far back, beside the first
        "1-1 0-0 1-1",
    ],
)
def test_the_hand_stays_where_one_position_explains_all(piece, notes):
    assert shifted(piece, notes) == []


@pytest.mark.parametrize(
    ("notes", "before", "after"),
    [
        ("1-1 4-1", 2, 4),  # one fret more than it can stay for
        ("4-1 1-1", 3, 1),
        ("1-1 5-1", 2, 5),
        ("1-1 8-4", 2, 5),  # the little finger in fret 8: the first would lie in 5
        ("1-2 5-1", 1, 5),
        ("1-4 5-1", 1, 5),  # no position lies below the first
        ("5-1 1-4", 4, 1),
    ],
)
def test_a_shift_goes_from_the_nearest_position_to_the_next(piece, notes, before, after):
    assert shifted(piece, notes) == [(before, after)]
