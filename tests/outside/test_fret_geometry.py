"""Where frets lie, against handbook values.

Sources, by value: the 647.7 mm scale table and fret 1 at 650 mm are printed in a luthier's
handbook table (read); the others at 650 mm are computed from the formula
``L * (1 - 2 ** (-n / 12))`` that the same handbook states.
"""

from __future__ import annotations

from dataclasses import replace
from math import hypot

import pytest

from arranger.judge import any_hand
from arranger.judge.grip import Hold, apart
from arranger.tables import load
from arranger.tables.player import Reaches

LIMITS = any_hand(load("reach", Reaches).medium)


def along(fret: int, scale_length: float = 650.0, capo: int = 0) -> float:
    return replace(LIMITS, scale_length=scale_length, capo=capo).along(fret)


@pytest.mark.parametrize(("fret", "mm"), [(1, 36.48), (4, 134.09), (5, 163.05), (12, 325.00)])
def test_frets_at_650_mm(fret, mm):
    assert along(fret) == pytest.approx(mm, abs=0.005)


@pytest.mark.parametrize(
    ("fret", "mm"),
    [
        (1, 36.35), (2, 70.66), (3, 103.05), (4, 133.62), (5, 162.47), (6, 189.71),
        (7, 215.41), (8, 239.67), (9, 262.58), (10, 284.19), (12, 323.85),
    ],
)  # fmt: skip
def test_frets_at_647_7_mm(fret, mm):
    assert along(fret, 647.7) == pytest.approx(mm, abs=0.011)


@pytest.mark.parametrize(
    ("low", "high", "mm"), [(1, 4, 97.6), (5, 8, 77.5), (9, 12, 61.5), (1, 5, 126.6)]
)
def test_wire_to_wire_at_650_mm(low, high, mm):
    """Computed: the four-fret box shrinks 37 % from first to ninth position."""
    one, other = Hold("1", low, (3,)), Hold("4", high, (3,))
    assert apart(one, other, LIMITS) == pytest.approx(mm, abs=0.05)


def test_a_capo_moves_the_frets():
    assert along(4, capo=4) - along(1, capo=4) == pytest.approx(77.5, abs=0.05)


def test_strings_are_nine_mm_apart():
    """Common practice, no source."""
    one, other = Hold("1", 1, (6,)), Hold("4", 1, (1,))
    assert apart(one, other, LIMITS) == pytest.approx(45.0)


def test_a_barre_counts_from_its_nearest_string():
    barre = Hold("1", 1, (6, 1))
    assert apart(barre, Hold("4", 4, (3,)), LIMITS) == pytest.approx(97.6, abs=0.05)
    half = Hold("1", 1, (2, 1))
    assert apart(half, Hold("4", 4, (5,)), LIMITS) == pytest.approx(hypot(97.6, 27.0), abs=0.05)
