"""Techniques named, counted and placed, on bars small enough to count by hand."""

from __future__ import annotations

import pytest

from arranger.judge import techniques
from arranger.tables import default_player, level_named


def used(arrangement):
    level = level_named("advanced")
    return {
        use.name: (use.times, use.bars)
        for use in techniques(arrangement, level, default_player(level))
    }


@pytest.mark.parametrize(
    ("lines", "name"),
    [
        ("0 4 bass 6 1 1 p \n 0 4 melody 1 1 1 a", "full barre"),
        ("0 4 inner 3 1 1 i \n 0 4 melody 1 1 1 a", "half barre"),
        (
            "0 4 inner 3 3 3 i \n 0 4 melody 2 3 3 a",
            "small barre by a finger other than the first",
        ),
        ("0 4 bass 6 1 T p", "thumb over the neck"),
    ],
)
def test_what_is_held_counts_once_while_it_stays_down(piece, lines, name):
    assert used(piece(lines)) == {name: (1, (1,))}
    assert used(piece(lines.replace("0 4", "0 6"))) == {name: (1, (1,))}


def test_slurs_with_and_without_the_thumb(piece):
    slurred = piece("0 1 melody 1 0 0 a \n 1 1 melody 1 3 3 a hammer-on \n 1 1 bass 6 0 0 p")
    assert used(slurred) == {"hammer-on": (1, (1,)), "slur under a thumb note": (1, (1,))}
    finger = "0 1 melody 1 0 0 a \n 1 1 melody 1 3 3 a hammer-on \n 1 1 inner 3 0 0 i"
    assert used(piece(finger)) == {"hammer-on": (1, (1,))}
    assert used(piece("0 1 melody 1 3 3 a \n 1 1 melody 1 0 0 a pull-off")) == {
        "pull-off": (1, (1,))
    }


def test_a_shift_is_where_no_position_explains_the_fingers(piece):
    stays = "0 1 melody 1 1 1 a \n 1 1 melody 1 4 4 m \n 2 1 melody 1 5 4 a"
    assert used(piece(stays)) == {}
    goes = (
        "0 1 melody 1 1 1 a \n 1 1 melody 1 4 4 m \n 4 1 melody 1 5 1 a \n 5 1 melody 1 8 4 m"
    )
    assert used(piece(goes)) == {"shift of position": (1, (2,))}


def test_open_strings_need_none(piece):
    assert used(piece("0 4 bass 6 0 0 p \n 0 4 melody 1 0 0 a")) == {}
