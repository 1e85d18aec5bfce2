"""Fingers that stay down when their note has ended, and places that are fingered alike."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from arranger import finger_notes
from arranger.music.written_note import WrittenNote
from arranger.neck.fingered import habits_of, written_neck
from arranger.neck.presses import RELEASED, press
from arranger.neck.resting import first_of_each, lifted, rest_columns
from arranger.tables import default_player, instrument
from arranger.tables.habits import as_written, left_habits

LEVEL = as_written()
PLAYER = default_player(LEVEL)
HAND = habits_of(written_neck(PLAYER, instrument().tuning), LEVEL, PLAYER).features.hand


def line(*pitches, step=Fraction(1, 4)):
    return [
        WrittenNote(onset=at * step, length=step, midi=midi) for at, midi in enumerate(pitches)
    ]


def test_the_latest_notes_that_have_ended_rest():
    notes = line(60, 64, 67, 72)
    assert rest_columns(notes, (2, 1, 0), [3], 0) == [0, 1][: left_habits().rests]


def test_a_note_struck_again_does_not_rest_as_well():
    notes = line(60, 64, 60)
    assert rest_columns(notes, (1, 0), [2], 0) == [0]


def test_a_finger_does_not_rest_for_long():
    notes = line(60, 64, step=Fraction(3))
    assert rest_columns(notes, (0,), [1], 0) == []


@pytest.mark.parametrize(
    ("struck", "position", "stays"),
    [
        (press(1, 1, 1), 1, True),  # another finger on another string
        (press(2, 5, 4), 2, False),  # the same string
        (press(1, 5, 2), 4, False),  # the same finger elsewhere
        (press(1, 0, 0), 5, False),  # the hand has moved off
        (press(1, 1, 3), 1, False),  # fingers out of order
    ],
)
def test_a_finger_is_lifted_where_it_is_in_the_way(struck, position, stays):
    rests = press(2, 2, 2)
    codes = np.array([[struck, rests]], dtype=np.int32)
    found = lifted(codes, np.array([position], dtype=np.int32), 1, HAND)
    assert found.tolist() == [[struck, rests if stays else RELEASED]]


def test_grips_are_told_apart_by_presses_and_position():
    codes = np.array([[5, 7], [5, 7], [5, 8], [5, 7]], dtype=np.int32)
    assert first_of_each(codes).tolist() == [0, 2]
    assert first_of_each(codes, np.array([1, 1, 1, 2])).tolist() == [0, 3, 2]
    wide = np.tile(codes, 4)
    assert sorted(first_of_each(wide).tolist()) == [0, 2]


def test_what_comes_again_amid_the_same_notes_is_fingered_alike():
    figure = (57, 60, 64, 67, 69, 64, 60, 57)
    hands = finger_notes(line(*figure * 3))
    presses = [(note.string, note.finger) for note in hands.left.notes]
    inside = slice(left_habits().around, len(figure) - left_habits().around)
    assert presses[: len(figure)][inside] == presses[len(figure) : 2 * len(figure)][inside]
