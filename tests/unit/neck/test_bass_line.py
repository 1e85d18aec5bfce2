"""How a bass line goes on: near steps keep their way, roots may go up or down.

Expected behaviour: common practice, no source. A fourth up and the fifth below it lead to
the same root; a scale that jumps an octave is no line any more.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from arranger.neck.moves import Mover
from arranger.tables.arranging import arranging


def line(taken: int, wanted: int) -> int:
    """Tenths for a step ``taken`` where the source has ``wanted``, in semitones."""
    mover = Mover.__new__(Mover)
    object.__setattr__(mover, "bass", arranging().bass)
    return int(mover._line(np.array([taken]), wanted)[0])


@pytest.mark.parametrize(("up", "down"), [(5, -7), (7, -5), (9, -3), (-5, 7), (12, 0)])
def test_a_wide_leap_may_be_inverted(up: int, down: int) -> None:
    assert line(up, up) == line(down, up) == 0


@pytest.mark.parametrize("step", [-4, -2, -1, 1, 2, 4])
def test_a_near_step_keeps_its_way(step: int) -> None:
    """An octave off it turns round, or leaps: both are dearer than the step itself."""
    other = step - 12 if step > 0 else step + 12
    assert line(step, step) == 0
    assert line(other, step) > 0


def test_a_repeated_tone_stays_on_its_pitch() -> None:
    assert line(0, 0) == 0
    assert line(-12, 0) > 0


@given(st.integers(-36, 36), st.integers(-12, 12))
def test_the_same_line_upside_down_costs_the_same(taken: int, wanted: int) -> None:
    assert line(taken, wanted) == line(-taken, -wanted)
