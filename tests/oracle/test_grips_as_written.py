"""Two views of one hand: the grips of a score as written, and what the judge lets pass."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from itertools import product

import numpy as np
import pytest

from arranger.judge import limits_of
from arranger.judge.grip import Press, grip_faults
from arranger.music.written_note import WrittenNote
from arranger.neck.chain import best_path, chain, field
from arranger.neck.fingered import fingered, habits_of, likeliest, press_gains, written_neck
from arranger.neck.holding import Holding, Widths
from arranger.neck.lattice import lattice
from arranger.neck.presses import FINGER, FRET, RELEASED, STRING
from arranger.tables import default_player, instrument
from arranger.tables.habits import as_written

LEVEL = as_written()
PLAYER = default_player(LEVEL)
TUNING = instrument().tuning
HABITS = habits_of(written_neck(PLAYER, TUNING), LEVEL, PLAYER)
CHORDS = [(67,), (52, 60), (40, 64), (53, 57, 60), (41, 53, 65), (48, 52, 55), (50, 62, 66)]


def chord(pitches, onset=0, length=1):
    return [
        WrittenNote(onset=Fraction(onset), length=Fraction(length), midi=midi)
        for midi in sorted(pitches, reverse=True)
    ]


def judged(pitches):
    """Every grip of the pitches, on any strings with any fingers, that the judge accepts."""
    limits = limits_of(LEVEL, PLAYER)
    places = [
        [
            Press(string, midi - opened, finger)
            for string, opened in enumerate(TUNING, 1)
            if 0 <= midi - opened <= LEVEL.max_fret
            for finger in (("1", "2", "3", "4") if midi > opened else ("0",))
        ]
        for midi in pitches
    ]
    for grip in product(*places):
        if len({press.string for press in grip}) == len(grip) and not grip_faults(grip, limits):
            yield grip


@pytest.mark.parametrize("pitches", CHORDS)
def test_grips_are_those_that_the_judge_accepts(pitches):
    """All but barres whose far strings lie out of another finger's reach: we measure to
    the string that is pressed, the judge to the nearest.
    """
    notes = chord(pitches)
    codes = Holding(HABITS.features.hand, HABITS, Widths()).grips(notes)
    ours = {
        tuple((int(STRING[c]), int(FRET[c]), str(int(FINGER[c]))) for c in row) for row in codes
    }
    theirs = {
        tuple((press.string, press.fret, press.finger) for press in grip)
        for grip in judged([note.midi for note in notes])
    }
    assert ours
    assert ours <= theirs
    for grip in theirs - ours:
        fingers = Counter(finger for _, _, finger in grip if finger != "0")
        assert max(fingers.values()) > 1, grip


def small_lattice():
    notes = [
        *chord((48, 64), 0, 2),
        *chord((67,), 1, 1),
        *chord((50, 65), 2, 1),
    ]
    return notes, lattice(notes, HABITS, Widths(stage=9, first=40)).stages


def whole_ways(stages):
    """Every path, with its score as the sum of grips and moves."""
    chained = chain(stages, HABITS)
    for path in product(*(range(len(stage)) for stage in stages)):
        score = sum(float(own[row]) for own, row in zip(chained.own, path, strict=True))
        score += sum(
            float(chained.moves[at][path[at - 1], path[at]]) for at in range(1, len(path))
        )
        if np.isfinite(score):
            yield path, score


def test_best_path_is_the_best_of_all():
    _, stages = small_lattice()
    chained = chain(stages, HABITS)
    path, score = best_path(chained.own, chained.moves)
    best, best_score = max(whole_ways(stages), key=lambda way: way[1])
    assert score == pytest.approx(best_score, abs=1e-3)
    assert tuple(path) == best


def test_shares_are_those_of_all_paths():
    """Forward-backward against adding up every path."""
    _, stages = small_lattice()
    found = field(chain(stages, HABITS))
    ways = list(whole_ways(stages))
    total = np.logaddexp.reduce([score for _, score in ways])
    assert found.log_sum == pytest.approx(total, abs=1e-3)
    for at, stage in enumerate(stages):
        shares = np.zeros(len(stage))
        for path, score in ways:
            shares[path[at]] += np.exp(score - total)
        assert found.shares(at) == pytest.approx(shares, abs=1e-4)


def test_the_fingering_has_the_most_presses_expected_of_a_guitarist():
    notes, stages = small_lattice()
    chained = chain(stages, HABITS)
    shares = field(chained)
    gains = [press_gains(stage, shares.shares(at)) for at, stage in enumerate(stages)]

    def worth(path):
        return sum(float(gain[row]) for gain, row in zip(gains, path, strict=True))

    path, _ = likeliest(chained, 0.0)
    assert worth(path) == pytest.approx(max(worth(way) for way, _ in whole_ways(stages)))
    assert len(fingered(notes, HABITS).notes) == len(notes)


def test_a_held_note_keeps_its_string_and_finger_in_every_path():
    _, stages = small_lattice()
    for path, _ in whole_ways(stages):
        for at in range(1, len(stages)):
            here, before = stages[at], stages[at - 1]
            for column, place in here.carried:
                now = here.codes[path[at], column]
                assert now in (RELEASED, before.codes[path[at - 1], place])
