"""What printed fingers say of the notes without one; common practice, no source: a teacher
numbers a bar once and means it wherever the bar comes again.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from arranger import finger_notes
from arranger.music.written_note import WrittenNote
from arranger.neck.chain import field
from arranger.neck.fingered import fingered, habits_of, printed_weights, written_neck
from arranger.neck.holding import Widths
from arranger.neck.lattice import lattice
from arranger.neck.presses import press
from arranger.neck.printed import (
    AGAIN,
    ALIKE,
    BESIDE,
    NEAR,
    SAME,
    WEIGHTS,
    Printed,
    as_printed,
)
from arranger.tables import default_player, instrument
from arranger.tables.habits import as_written

HABITS = habits_of(
    written_neck(default_player(as_written()), instrument().tuning),
    as_written(),
    default_player(as_written()),
)


def line(*pitches, fingers=()):
    """Quarters, one after the other, the first of them with printed fingers (None: without)."""
    said = (*fingers, *[None] * (len(pitches) - len(fingers)))
    return [
        WrittenNote(onset=Fraction(at), length=Fraction(1), midi=midi, finger=finger)
        for at, (midi, finger) in enumerate(zip(pitches, said, strict=True))
    ]


def spoken(notes, at):
    """The row of features of each press of the note at ``at``."""
    chained = lattice(notes, HABITS, Widths()).chain
    fingers = {i: note.finger for i, note in enumerate(notes) if note.finger is not None}
    printed = Printed(notes, fingers, chained.stages, field(chained))
    return printed.features(at, notes[at].midi)


def fingers_of(notes):
    return [note.finger for note in finger_notes(notes).left.notes]


def test_the_table_has_a_weight_for_all_that_is_said():
    assert printed_weights().shape == (ALIKE + len(NEAR) + 1 + 2 * len(BESIDE),) == (WEIGHTS,)


def test_a_page_without_fingers_is_as_it_was():
    notes = line(60, 62, 64)
    chained = lattice(notes, HABITS, Widths()).chain
    assert as_printed(notes, chained, printed_weights()) is chained


def test_what_comes_again_in_the_same_surroundings_speaks_loudest():
    other_chord, *same = printed_weights()[:ALIKE]
    assert len(same) == SAME + 1
    assert min(same) > max(0, other_chord)
    assert max(same) == same[-1]


@pytest.mark.parametrize(
    ("pitches", "same"),
    [
        ((64, 62, 60, 65, 62, 67), 0),
        ((60, 62, 67, 60, 62, 65), 1),
        ((60, 62, 64, 60, 62, 64), 2),
    ],
)
def test_a_pitch_that_comes_again_counts_by_what_is_the_same_beside_it(pitches, same):
    rows = spoken(line(*pitches, fingers=(None, 4)), 4)
    with_four, with_one = rows[press(3, 7, 4)], rows[press(3, 7, 1)]
    assert np.flatnonzero(with_four[:AGAIN]).tolist() == [1 + same, ALIKE]
    assert not with_one[:AGAIN].any()


def test_another_chord_with_the_same_pitch_counts_as_such():
    chord = WrittenNote(onset=Fraction(4), length=Fraction(1), midi=48)
    notes = [*line(60, 62, 64, 65, 62, fingers=(None, 4)), chord]
    rows = spoken(notes, 4)
    assert np.flatnonzero(rows[press(3, 7, 4)][:AGAIN]).tolist() == [0, ALIKE]


def test_fingers_of_the_same_onset_say_nothing():
    together = [
        WrittenNote(onset=Fraction(0), length=Fraction(1), midi=midi, finger=finger)
        for midi, finger in ((64, 4), (60, 1))
    ]
    assert not spoken(together, 0).any()


def test_the_hand_stays_where_the_finger_before_stands():
    notes = line(72, 69, fingers=(4,))  # the little finger on c'': the hand lies at fret 5
    place = AGAIN + BESIDE.index(1)
    rows = spoken(notes, 1)[:, place]
    assert rows[press(1, 5, 1)] > rows[press(1, 5, 3)]


def test_a_bar_that_comes_again_gets_the_fingers_printed_at_first():
    bar = (64, 65, 67, 65)
    free = fingers_of(line(*bar, *bar))
    printed = (1, 2, 4, 2)  # in the fifth position, where the first one would be usual
    assert free[4:] != list(printed)
    assert fingers_of(line(*bar, *bar, fingers=printed)) == [*printed, *printed]


def test_printed_fingers_are_kept():
    notes = line(64, 65, 67, 69, 71, 72, fingers=(2, 3, None, 1))
    found = fingered(notes, HABITS).notes
    assert [note.finger for note in found][:2] == [2, 3]
    assert found[3].finger == 1
