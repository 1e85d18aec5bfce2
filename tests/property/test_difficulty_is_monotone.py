"""Difficulty never rises when the music gets easier, on any notes whatever.

The notes need not be playable: what holds for all of them holds for music.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.judge import difficulty
from arranger.tables import default_player, level_named

LEARNT = ("to learn", "on the neck", "within a bar", "foreign to the scale", "notes in all")
LEVEL = level_named("advanced")
PLAYER = default_player(LEVEL)

time = st.integers(0, 31).map(lambda n: Fraction(n, 4))
length = st.integers(1, 12).map(lambda n: Fraction(n, 4))
voice = st.sampled_from(["melody", "bass", "inner"])


@st.composite
def a_line(draw):
    fret = draw(st.integers(0, 12))
    finger = draw(st.sampled_from("1234")) if fret else "0"
    slur = draw(st.sampled_from(["", "", "", "hammer-on"]))
    return (
        f"{draw(time)} {draw(length)} {draw(voice)} {draw(st.integers(1, 6))} {fret} {finger} "
        f"{draw(st.sampled_from('pima'))} {slur}"
    )


@st.composite
def a_barre_line(draw):
    """The first finger alone, so that barres of many kinds come together."""
    return (
        f"{draw(time)} {draw(length)} inner {draw(st.integers(1, 6))} "
        f"{draw(st.integers(1, 3))} 1 {draw(st.sampled_from('pima'))}"
    )


some_notes = st.lists(st.one_of(a_line(), a_barre_line()), min_size=1, max_size=14)


def score_of(arrangement) -> float:
    return difficulty(arrangement, LEVEL, PLAYER).score


@given(lines=some_notes, which=st.integers(0, 13))
@settings(max_examples=300, deadline=None)
def test_a_note_less_is_never_harder(piece, lines, which):
    """Bars stay: the piece is as long as before."""
    whole = piece("\n".join(lines))
    fewer = tuple(n for i, n in enumerate(whole.notes) if i != which % len(whole.notes))
    assert score_of(replace(whole, notes=fewer)) <= score_of(whole) + 1e-9


@given(lines=some_notes, share=st.floats(0.3, 1.0))
@settings(max_examples=150, deadline=None)
def test_slower_is_never_harder(piece, lines, share):
    whole = piece("\n".join(lines), tempo=100.0)
    slower = replace(whole, student_tempo=100.0 * share)
    assert score_of(slower) <= score_of(whole) + 1e-9


@given(fret=st.integers(1, 9), low=st.integers(2, 6))
@settings(max_examples=100, deadline=None)
def test_a_narrower_barre_is_never_harder(piece, fret, low):
    """A barre from string 1 to ``low``, then with its far end one string nearer."""
    wide = f"0 4 inner 1 {fret} 1 a \n 0 4 bass {low} {fret} 1 p"
    narrow = f"0 4 inner 1 {fret} 1 a \n 0 4 bass {low - 1} {fret} 1 p"
    assert score_of(piece(narrow)) <= score_of(piece(wide)) + 1e-9


@given(fret=st.integers(2, 9), low=st.integers(2, 6))
@settings(max_examples=100, deadline=None)
def test_a_barre_nearer_the_nut_is_never_harder(piece, fret, low):
    """The same two strings under one finger, a fret lower."""
    high = f"0 4 inner 1 {fret} 1 a \n 0 4 bass {low} {fret} 1 p"
    down = f"0 4 inner 1 {fret - 1} 1 a \n 0 4 bass {low} {fret - 1} 1 p"
    assert score_of(piece(down)) <= score_of(piece(high)) + 1e-9


@given(lines=some_notes)
@settings(max_examples=100, deadline=None)
def test_the_interval_holds_the_score(piece, lines):
    found = difficulty(piece("\n".join(lines)), LEVEL, PLAYER)
    assert 0 <= found.low <= found.score <= found.high <= 100


@given(lines=some_notes)
@settings(max_examples=100, deadline=None)
def test_reasons_sum_to_the_score_and_name_bars_that_exist(piece, lines):
    arrangement = piece("\n".join(lines))
    found = difficulty(arrangement, LEVEL, PLAYER)
    bars = {bar.bar for bar in arrangement.bars}
    assert 0 <= found.score <= 100
    # A point is told to two decimals, the score to one.
    assert sum(r.points for r in found.reasons) == pytest.approx(found.score, abs=0.15)
    learnt = [any(word in r.what for word in LEARNT) for r in found.reasons]
    assert learnt == sorted(learnt)
    for kind in (False, True):
        points = [
            r.points
            for r, is_kind in zip(found.reasons, learnt, strict=True)
            if is_kind is kind
        ]
        assert points == sorted(points, reverse=True)
    assert {reason.bar for reason in found.reasons} <= bars
    assert [bar.bar for bar in found.bars] == [bar.bar for bar in arrangement.bars]
    for bar in found.bars:
        assert sum(points for _, points in bar.features) == pytest.approx(bar.points, abs=0.12)
