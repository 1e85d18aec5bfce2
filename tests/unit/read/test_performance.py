"""Music played without a click: beats followed, notes on them."""

from __future__ import annotations

import math
import random
from fractions import Fraction
from itertools import pairwise

import pytest

from arranger.music.errors import UnreadableInput
from arranger.read import read

FILE_QUARTER = 0.5  # seconds, at the 120 that a file without tempo means


def played(notes, beat, *, rubato=0.0, jitter=0.0, seed=5):
    """``notes`` (in beats) as played with a beat of ``beat`` s, in the file's quarters."""
    dice = random.Random(seed)

    def seconds(at):
        return 0.3 + beat * (at + rubato * 8 * math.sin(at / 8) / 8)

    result = []
    for onset, length, midi in notes:
        start = seconds(onset) + dice.gauss(0, jitter)
        end = max(start + 0.05, seconds(onset + length) - 0.03)
        result.append((start / FILE_QUARTER, (end - start) / FILE_QUARTER, midi))
    return result


@pytest.mark.parametrize(("beat", "rubato"), [(0.61, 0.0), (0.53, 0.08), (0.58, 0.1)])
def test_beats_are_followed_and_notes_put_on_them(make_midi, march, beat, rubato):
    right, left = march
    longer = [(at + 16 * k, length, midi) for k in range(2) for at, length, midi in right]
    lower = [(at + 16 * k, length, midi) for k in range(2) for at, length, midi in left]
    path = make_midi(
        played(longer, beat, rubato=rubato, jitter=0.01),
        played(lower, beat, rubato=rubato, jitter=0.01, seed=6),
    )
    score = read(path)
    assert "performed" in {warning.code for warning in score.warnings}
    onsets = [note.onset for note in score.notes if note.hand == "right"]
    steps = [after - before for before, after in pairwise(onsets)]
    assert steps.count(Fraction(1, 2)) >= 0.95 * len(steps)
    assert score.tempo == pytest.approx(60 / beat, rel=0.12)


def test_a_file_played_with_a_click_is_read_by_its_own_beats(make_midi, march):
    dice = random.Random(1)
    loose = [
        [(max(0, at + dice.gauss(0, 0.02)), length * 0.9, midi) for at, length, midi in hand]
        for hand in march
    ]
    score = read(make_midi(*loose, meters=[(0, "2/4")]))
    assert "performed" not in {warning.code for warning in score.warnings}
    assert [n.onset for n in score.notes if n.hand == "right"] == [
        Fraction(k, 2) for k in range(32)
    ]


def test_notes_that_keep_no_time_are_refused_politely(make_midi):
    dice = random.Random(2)
    at, notes = 0.0, []
    for _ in range(200):
        at += dice.expovariate(2.0)
        notes.append((at, 0.3, dice.randrange(48, 84)))
    with pytest.raises(UnreadableInput, match="keep no time"):
        read(make_midi(merged=notes))


def test_a_missing_meter_is_heard(make_midi):
    right = [(k + beat, 1, 76 - beat) for k in range(0, 48, 3) for beat in range(3)]
    left = []
    for bar in range(16):
        at, root = bar * 3, (48, 43, 41, 43)[bar % 4]
        left += [(at, 1, root - 12), (at + 1, 1, root + 7), (at + 2, 1, root + 7)]
    score = read(make_midi(right, left))
    assert {bar.numerator for bar in score.bars} == {3}


def test_a_meter_of_the_user_overrules_the_file(make_midi, march):
    score = read(make_midi(*march, meters=[(0, "3/4")]), meter="2/4")
    assert {(bar.numerator, bar.denominator) for bar in score.bars} == {(2, 4)}
