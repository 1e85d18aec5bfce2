"""Splitting a length into note values loses nothing, whatever the meter."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from arranger.render.note_values import TYPES, split

_LENGTHS = dict(TYPES)
_GRIDS = st.sampled_from([2, 3, 4, 5, 6, 7, 8, 12, 16, 32])
_METERS = st.sampled_from([(Fraction(1), False), (Fraction(2), False), (Fraction(3, 2), True)])


@given(_GRIDS, st.integers(0, 200), st.integers(1, 200), _METERS)
def test_the_values_add_up_and_each_is_what_it_says(
    grid: int, first: int, steps: int, meter: tuple[Fraction, bool]
) -> None:
    start, end = Fraction(first, grid), Fraction(first + steps, grid)
    pulse, compound = meter
    values = split(start, end, pulse=pulse, compound=compound)
    assert sum(value.length for value in values) == end - start
    for value in values:
        dotted = _LENGTHS[value.type] * (2 - Fraction(1, 2**value.dots))
        assert value.length == dotted * value.normal / value.actual
        assert 0 <= value.dots <= 2


@given(st.integers(0, 15), st.integers(1, 16))
def test_no_value_hides_the_middle_of_a_bar_of_four(first: int, steps: int) -> None:
    """A value that begins off the beat never crosses beat three (common practice)."""
    start, end = Fraction(first, 4), Fraction(min(16, first + steps), 4)
    now = start
    for value in split(start, end, pulse=Fraction(1), compound=False):
        off_beat = now.denominator > 1
        assert not (off_beat and now < 2 < now + value.length)
        now += value.length
