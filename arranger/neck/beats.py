"""Beats as they are counted under the tab, and the moments they stand for."""

from __future__ import annotations

from fractions import Fraction

from arranger.music.reduction import Reduction
from arranger.music.score import Bar
from arranger.music.time import Beat


def onset_of(beat: Beat, bar: Bar, reduction: Reduction) -> Beat:
    """Where a beat as counted under the tab lies; a pick-up counts from the bar's end."""
    unit, lead = _counting(bar, reduction)
    return bar.start + (beat - 1) * unit - lead


def beat_of(onset: Beat, bar: Bar, reduction: Reduction) -> Beat:
    """The beat as counted under the tab of a moment in a bar."""
    unit, lead = _counting(bar, reduction)
    return (onset - bar.start + lead) / unit + 1


def _counting(bar: Bar, reduction: Reduction) -> tuple[Beat, Beat]:
    """How long a beat is, and how much of a pick-up bar is not played."""
    unit = Fraction(4, bar.denominator)
    if reduction.written_scale == 2 and bar.denominator == 4:
        unit /= 2
    full = Fraction(4 * bar.numerator, bar.denominator)
    return unit, full - bar.length if bar.number == 0 else Fraction(0)
