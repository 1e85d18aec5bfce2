"""Swung eighths become straight; straight ones stay; dotted ones are asked about."""

from __future__ import annotations

import random
from fractions import Fraction

import pytest

from arranger.read import read

SECONDS_A_QUARTER = 0.5
BARS = 8


def swung(ratio: float, jitter: float, seed: int = 3):
    """Eighths long:short = ratio over a bass in quarters, each onset up to jitter s off."""
    dice = random.Random(seed)
    late = ratio / (1 + ratio)

    def off() -> float:
        return dice.uniform(-jitter, jitter) / SECONDS_A_QUARTER

    right, left = [], []
    for beat in range(BARS * 4):
        right += [
            (max(0, beat + off()), late * 0.95, 72 + beat % 5),
            (max(0, beat + late + off()), (1 - late) * 0.95, 74 + beat % 4),
        ]
        left.append((max(0, beat + off()), 0.95, 48 - beat % 3))
    return right, left


@pytest.mark.parametrize("ratio", [1.5, 2.0])
@pytest.mark.parametrize("jitter", [0.0, 0.015])
def test_swing_is_found_and_written_straight(make_midi, ratio, jitter):
    score = read(make_midi(*swung(ratio, jitter), meters=[(0, "4/4")]))
    assert score.swing == pytest.approx(ratio, rel=0.15)
    onsets = [n.onset for n in score.notes if n.hand == "right"]
    assert onsets == [Fraction(k, 2) for k in range(BARS * 8)]
    assert "swing" in {warning.code for warning in score.warnings}


@pytest.mark.parametrize("jitter", [0.0, 0.015])
def test_straight_eighths_do_not_swing(make_midi, jitter):
    score = read(make_midi(*swung(1.0, jitter), meters=[(0, "4/4")]))
    assert score.swing == 1.0
    onsets = [n.onset for n in score.notes if n.hand == "right"]
    assert onsets == [Fraction(k, 2) for k in range(BARS * 8)]


@pytest.mark.parametrize("jitter", [0.0, 0.015])
def test_three_to_one_may_be_dotted_and_the_user_decides(make_midi, jitter):
    path = make_midi(*swung(3.0, jitter), meters=[(0, "4/4")])
    asked = read(path)
    assert asked.swing == 1.0
    assert "swing-or-dotted" in {warning.code for warning in asked.warnings}
    assert Fraction(3, 4) in {note.onset for note in asked.notes}
    told = read(path, straight=False)
    assert told.swing == pytest.approx(3.0, rel=0.15)
    assert {note.onset.denominator for note in told.notes} == {1, 2}


def test_straight_leaves_triplets_as_they_are(make_midi):
    score = read(make_midi(*swung(2.0, 0.0), meters=[(0, "4/4")]), straight=True)
    assert score.swing == 1.0
    assert Fraction(2, 3) in {note.onset for note in score.notes}


def test_running_triplets_are_no_swing(make_midi):
    right = [(k / 3, 1 / 3, 72 + k % 5) for k in range(96)]
    left = [(float(k), 1.0, 48) for k in range(32)]
    score = read(make_midi(right, left, meters=[(0, "4/4")]))
    assert score.swing == 1.0
