"""The plucking fingers of a bar: alternating when fast, in the order p i m a, near home."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arranger.neck.right_hand import FINGERS, Moment, plucking
from arranger.tables.fingering import fingering

COSTS = fingering().right
FAST, SLOW = COSTS.repeat_seconds / 2, COSTS.repeat_seconds * 3


def line(strings: str, seconds: float) -> list[Moment]:
    """A line of single notes: ``line("1121", 0.2)`` names the strings."""
    return [
        Moment((int(string),), None if place == 0 else seconds)
        for place, string in enumerate(strings)
    ]


def fingers(strings: str, seconds: float) -> str:
    return "".join(pluck[0] for pluck in plucking(line(strings, seconds), COSTS))


def test_an_empty_bar_needs_no_finger() -> None:
    assert plucking([], COSTS) == []


def test_each_finger_has_its_string() -> None:
    """I m a on strings 3 2 1: common practice, no source."""
    assert fingers("321", SLOW) == "ima"
    assert plucking([Moment((3, 2, 1), None)], COSTS) == [("i", "m", "a")]
    assert plucking([Moment((3, 2), None)], COSTS) == [("i", "m")]
    assert plucking([Moment((2, 1), None)], COSTS) == [("m", "a")]


@pytest.mark.parametrize("string", "1234")
def test_a_note_repeated_fast_alternates(string: str) -> None:
    """No finger plucks twice in a row: common practice, no source."""
    played = fingers(string * 8, FAST)
    assert all(one != other for one, other in pairwise(played))


def test_a_note_repeated_slowly_may_keep_its_finger() -> None:
    assert fingers("3333", SLOW) == "iiii"


def test_the_gap_of_the_level_is_where_fast_begins() -> None:
    assert fingers("33", COSTS.repeat_seconds) == "ii"
    assert fingers("33", COSTS.repeat_seconds - 0.001) != "ii"


def test_a_scale_in_eighths_at_a_beginners_tempo_alternates() -> None:
    """No editor prints a finger twice in a row in eighths: open data, see the table. Eighths
    at 72 quarters a minute are .42 s apart.
    """
    scale = fingers("222233", 60 / 72 / 2)
    assert all(one != other for one, other in pairwise(scale))


moments = st.lists(
    st.builds(
        lambda strings, seconds: Moment(tuple(sorted(strings, reverse=True)), seconds),
        st.sets(st.integers(1, 5), min_size=1, max_size=3),
        st.sampled_from([FAST, SLOW]),
    ),
    min_size=1,
    max_size=8,
)


@given(moments)
def test_fingers_of_one_moment_are_different_and_in_order(bar: list[Moment]) -> None:
    """Low string first: i before m before a."""
    for moment, pluck in zip(bar, plucking(bar, COSTS), strict=True):
        assert len(pluck) == len(moment.strings)
        places = [FINGERS.index(finger) for finger in pluck]
        assert places == sorted(set(places))
