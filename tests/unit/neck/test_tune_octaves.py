"""What moving the tune by octaves costs, step by step.

Expected behaviour: common practice, no source. A line that turns round is another tune; a
tune played in octaves may go on in either of the two.
"""

from __future__ import annotations

import numpy as np
import pytest

from arranger.neck.grips import tenths
from arranger.neck.moves import Fold, Mover
from arranger.tables.arranging import arranging

COSTS = arranging().melody
INSIDE, TURNED = tenths(COSTS.octave_inside), tenths(COSTS.contour_broken)
CLOSE, FAR = tenths(COSTS.close_interval), tenths(COSTS.two_octaves)


def price(change: int, *intervals: int, cost: int = INSIDE, weight: float = 1.0) -> int:
    """Tenths for a change of ``change`` semitones where the source steps ``intervals``."""
    mover = Mover.__new__(Mover)
    object.__setattr__(mover, "melody", COSTS)
    return int(mover._fold(np.array([change]), Fold(cost, intervals, weight))[0])


def test_a_line_that_stays_costs_nothing() -> None:
    assert price(0, 2) == price(0) == 0


@pytest.mark.parametrize(
    ("change", "step", "expected"),
    [
        (12, 7, INSIDE),  # on upwards, wider than it was
        (-12, 7, INSIDE + TURNED),
        (-12, 2, INSIDE + TURNED + CLOSE),
        (-24, 7, INSIDE + TURNED + FAR),
        (12, -12, INSIDE + TURNED),  # what fell an octave stays on its note
    ],
)
def test_what_makes_a_fold_dear(change: int, step: int, expected: int) -> None:
    assert price(change, step) == expected


def test_a_motif_counts_more() -> None:
    assert price(-12, 7, weight=1.5) == round(1.5 * price(-12, 7))


def test_the_octave_that_doubles_the_tune_is_a_way_on() -> None:
    """From C5 to C6 over C5: the lower one is the tune as well, the one above neither."""
    assert price(-12, 12, 0) == tenths(COSTS.octave_doubled) < price(-12, 12)
    assert price(12, 12, 0) == price(12, 12)


def test_no_way_on_is_dearer_for_a_doubled_tune() -> None:
    """Where a phrase begins an octave costs less than to change between the two notes."""
    begins = tenths(COSTS.octave_phrase)
    assert price(12, 7, 19, cost=begins) == price(12, 7, cost=begins) == begins
