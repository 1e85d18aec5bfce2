"""Sorted moments of a piece, among which others are looked up again and again."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from math import lcm

from arranger.music.time import Beat

_FINEST = 2**60
"""Parts of a quarter: beyond, whole numbers are no quicker to compare than fractions."""


class Moments:
    """``times``, in rising order, as whole numbers of the largest part of a quarter that they
    are all multiples of: to compare two fractions takes ten times as long.
    """

    def __init__(self, times: Sequence[Beat]) -> None:
        self._parts = _common(times)
        self._whole: Sequence[Beat | int] = times
        if self._parts:
            self._whole = [time.numerator * (self._parts // time.denominator) for time in times]

    def before(self, moment: Beat) -> int:
        """How many of them lie before a moment."""
        whole: Beat | int = moment
        if self._parts:
            above, below = moment.as_integer_ratio()
            whole = -(-above * self._parts // below)  # rounded up
        return bisect_left(self._whole, whole)

    def until(self, moment: Beat) -> int:
        """How many of them lie before a moment or at it."""
        whole: Beat | int = moment
        if self._parts:
            above, below = moment.as_integer_ratio()
            whole = above * self._parts // below
        return bisect_right(self._whole, whole)


def _common(times: Sequence[Beat]) -> int:
    """The least common denominator; 0 where it is too large to be of use."""
    parts = 1
    for time in times:
        if parts % time.denominator:
            parts = lcm(parts, time.denominator)
            if parts > _FINEST:
                return 0
    return parts
