"""Moments counted among others agree with plain comparison of fractions."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from arranger.music.moments import Moments

BEATS = st.builds(Fraction, st.integers(-60, 60), st.integers(1, 24))
FINE = st.builds(Fraction, st.integers(0, 2**70), st.integers(1, 2**40))


@given(st.lists(BEATS), st.lists(BEATS, min_size=1))
def test_on_any_grid(times: list[Fraction], asked: list[Fraction]) -> None:
    agree(sorted(times), [*asked, *times])


@given(st.lists(FINE, max_size=6), st.lists(FINE, min_size=1))
def test_finer_than_any_grid(times: list[Fraction], asked: list[Fraction]) -> None:
    agree(sorted(times), [*asked, *times])


def agree(times: list[Fraction], asked: list[Fraction]) -> None:
    moments = Moments(times)
    assert [moments.before(moment) for moment in asked] == [
        bisect_left(times, moment) for moment in asked
    ]
    assert [moments.until(moment) for moment in asked] == [
        bisect_right(times, moment) for moment in asked
    ]
