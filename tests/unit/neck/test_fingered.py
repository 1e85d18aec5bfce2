"""What a guitarist expects of a score fingered as written; common practice, no source."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest

from arranger import finger_notes
from arranger.music.written_note import WrittenNote

PIMA = "pima"


def played(*onsets, step=Fraction(1), length=None):
    """Both hands for chords of MIDI notes, one every ``step`` quarters."""
    notes = [
        WrittenNote(onset=at * step, length=length or step, midi=midi)
        for at, chord in enumerate(onsets)
        for midi in chord
    ]
    return finger_notes(notes)


def shape(hands):
    """The first chord as a diagram: frets from string 6 to string 1, x where not played."""
    frets = {note.string: str(note.fret) for note in hands.left.notes}
    return "".join(frets.get(string, "x") for string in range(6, 0, -1))


def right_hand(hands):
    order = sorted(hands.left.notes, key=lambda n: (hands.notes[n.note].onset, -n.string))
    return "".join(PIMA[hands.right[note.note]] for note in order)


@pytest.mark.parametrize(
    ("pitches", "diagram"),
    [
        ((43, 47, 50, 55, 59, 67), "320003"),
        ((50, 57, 62, 65), "xx0231"),
        ((41, 48, 53, 57, 60, 65), "133211"),
        ((40, 47, 52, 56, 59, 64), "022100"),
        ((45, 52, 57, 60, 64), "x02210"),
    ],
)
def test_chords_that_lie_one_way_are_found(pitches, diagram):
    assert shape(played(pitches)) == diagram


def test_a_full_barre_is_the_first_fingers():
    hands = played((41, 48, 53, 57, 60, 65))
    fingers = [note.finger for note in sorted(hands.left.notes, key=lambda n: -n.string)]
    assert fingers == [1, 3, 4, 2, 1, 1]


def test_an_arpeggio_goes_p_i_m_a():
    assert right_hand(played((45,), (57,), (60,), (64,), step=Fraction(1, 4))) == "pima"


def test_repeated_notes_alternate():
    fingers = right_hand(played(*[(64,)] * 6, step=Fraction(1, 4)))
    assert all(one != other for one, other in pairwise(fingers))


def test_a_chord_of_four_is_plucked_p_i_m_a():
    assert right_hand(played((45, 57, 60, 64))) == "pima"


def test_more_notes_than_fingers_are_swept_by_the_thumb():
    assert right_hand(played((40, 47, 52, 56, 59, 64))) == "pppima"


def test_two_notes_that_lie_only_on_the_low_string_cannot_sound_together():
    hands = played((40, 42))
    assert len(hands.left.notes) == 1
    assert len(hands.left.unplayable) == 1
    assert hands.left.unplayable[0].why


def test_below_the_guitar_and_above_the_neck_are_named():
    hands = played((39,), (64,), (95,))
    whys = [lost.why for lost in hands.left.unplayable]
    assert whys == [
        "it lies below the lowest string",
        "it lies above the last fret of the hand",
    ]


def test_a_held_note_in_the_way_is_let_go_but_not_before_the_next_onset():
    """E and then F on the low string: the E, held too long, ends where the F begins."""
    notes = [
        WrittenNote(onset=Fraction(0), length=Fraction(4), midi=40),
        WrittenNote(onset=Fraction(1), length=Fraction(1), midi=67),
        WrittenNote(onset=Fraction(2), length=Fraction(1), midi=41),
    ]
    hands = finger_notes(notes)
    low = next(note for note in hands.left.notes if note.note == 0)
    assert low.length == 2
    assert hands.left.let_go == (0,)


def test_with_a_capo_frets_count_from_it():
    plain = finger_notes([WrittenNote(onset=Fraction(0), length=Fraction(1), midi=66)])
    capo = finger_notes([WrittenNote(onset=Fraction(0), length=Fraction(1), midi=66)], capo=2)
    assert plain.left.notes[0].fret != 0
    assert capo.left.notes[0].fret == 0


def test_pins_are_kept():
    pinned = WrittenNote(onset=Fraction(0), length=Fraction(1), midi=64, string=2, finger=4)
    note = finger_notes([pinned]).left.notes[0]
    assert (note.string, note.fret, note.finger) == (2, 5, 4)
