"""What makes a tab easier is carried out and graded anew; the hardest bars are told once."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from arranger.judge import difficulty, easier, hardest_bars
from arranger.tables import default_player, level_named

LEVEL = level_named("advanced")
PLAYER = default_player(LEVEL)
INNER = """
    0 1 bass 6 1 1 p \n 0 1 inner 4 3 3 i \n 0 1 inner 3 2 2 m \n 0 1 melody 1 4 4 a
    1 1 bass 6 0 0 p \n 1 1 melody 1 0 0 a
    2 1 inner 3 5 1 m \n 2 1 melody 1 8 4 a
    3 1 inner 3 7 3 m hammer-on \n 3 1 melody 1 0 0 a
    4 4 melody 1 0 0 a
"""
STEEP = "\n".join(
    f"{2 * n}/4 1/2 bass {string} {fret} {left} p \n {2 * n}/4 1/2 melody 1 {high} 4 a"
    for n, (string, fret, left, high) in enumerate([(6, 1, 1, 4), (5, 8, 1, 11)] * 8)
)


def graded(arrangement):
    return difficulty(arrangement, LEVEL, PLAYER)


def test_inner_notes_may_go_but_not_one_from_which_a_slur_goes_on(piece):
    """String 3 is struck on the third beat and hammered on the fourth: without the stroke there
    is nothing to hammer on from, without the hammer-on there is.
    """
    found = easier(piece(INNER, tempo=120.0), LEVEL, PLAYER, [1, 2])
    assert {easing.what for easing in found if easing.what.startswith("bar")} == {
        "bar 1: leave out the inner note on string 4, beat 1",
        "bar 1: leave out the inner note on string 3, beat 1",
        "bar 1: leave out the inner note on string 3, beat 4",
        "bar 1: leave out all 3 inner notes",
    }
    saved = [easing.points for easing in found]
    assert saved == sorted(saved, reverse=True)
    before = graded(piece(INNER, tempo=120.0)).score
    assert saved == [pytest.approx(before - easing.score) for easing in found]


def test_a_step_slower_is_graded_at_that_tempo(piece):
    """A fifth slower; a beginner's piece has no easier band to go to."""
    quick = piece(INNER, tempo=120.0)
    (slower,) = (e for e in easier(quick, LEVEL, PLAYER, []) if "slower" in e.what)
    assert slower.what == "slower, 96 quarter notes a minute in place of 120"
    assert slower.score == graded(replace(quick, student_tempo=96.0)).score


def test_the_band_below_is_reached_at_the_quickest_tempo_that_will_do(piece):
    hard = piece(STEEP, tempo=90.0)
    band = graded(hard).band
    (slower,) = (e for e in easier(hard, LEVEL, PLAYER, []) if "which makes it" in e.what)
    tempo = int(re.findall(r"\d+", slower.what)[0])
    at = [graded(replace(hard, student_tempo=float(n))).band for n in (tempo, tempo + 1)]
    assert at[0] != band == at[1]
    assert slower.what.endswith(f"which makes it {at[0]}")


def test_the_hardest_bars_come_first_and_equal_ones_once(piece):
    """The second bar comes again as the third, the first is marked as the same as another."""
    again = "\n".join(f"{4 * bar} 4 melody 1 {fret} 4 a" for bar, fret in ((1, 5), (2, 5)))
    tab = piece(f"{INNER.replace('4 4 melody 1 0 0 a', '')}\n{again}\n12 4 melody 1 0 0 a")
    bars = [reason.bar for reason in hardest_bars(tab, LEVEL, PLAYER)]
    assert bars[0] == 1
    assert hardest_bars(tab, LEVEL, PLAYER, 1) == hardest_bars(tab, LEVEL, PLAYER)[:1]
    same = replace(tab.bars[0], same_as=2)
    rest = hardest_bars(replace(tab, bars=(same, *tab.bars[1:])), LEVEL, PLAYER)
    assert [reason.bar for reason in rest] == bars[1:]
    points = [reason.points for reason in rest]
    assert points == sorted(points, reverse=True)
