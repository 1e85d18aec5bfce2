"""Onsets and lengths as written; grace notes and rolled chords by name."""

from __future__ import annotations

from fractions import Fraction

import pytest

from arranger.read import read

BASS = [(4.0 * k, 4.0, 48) for k in range(4)]


def onsets(score, hand="right"):
    return [note.onset for note in score.notes if note.hand == hand]


@pytest.mark.parametrize("parts", [2, 3, 4, 5, 6, 7, 8])
def test_every_division_of_a_quarter_is_exact(make_midi, parts):
    right = [(k / parts, 1 / parts, 72 + k % 3) for k in range(parts * 4)]
    score = read(make_midi(right, BASS[:1], meters=[(0, "4/4")]))
    assert onsets(score) == [Fraction(k, parts) for k in range(parts * 4)]


def test_triplets_beside_sixteenths_in_the_other_beat(make_midi):
    right = [(0, 1 / 3, 72), (1 / 3, 1 / 3, 74), (2 / 3, 1 / 3, 76)]
    right += [(1 + k / 4, 1 / 4, 77) for k in range(4)]
    score = read(make_midi(right, BASS[:1], meters=[(0, "4/4")]))
    expected = ["0", "1/3", "2/3", "1", "5/4", "3/2", "7/4"]
    assert [str(onset) for onset in onsets(score)] == expected


def test_the_grid_starts_anew_at_each_signature(make_midi):
    """A tail of a hundredth of a quarter before a signature shifts nothing."""
    crooked = 4 + 0.07
    right = [(k, 1, 72) for k in range(4)] + [(crooked + k, 1, 74) for k in range(8)]
    meters = [(0, "4/4"), (crooked, "3/4"), (crooked + 3, "4/4")]
    score = read(make_midi(right, BASS[:1], meters=meters))
    assert onsets(score) == [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]


def test_a_grace_note_stolen_before_the_beat_is_named(make_midi):
    right = [(0, 0.885, 72), (0.885, 0.113, 75), (1, 1, 76), (2, 2, 72)]
    score = read(make_midi(right, BASS[:1], meters=[(0, "4/4")]))
    grace = [note for note in score.notes if note.ornament == "grace"]
    assert [(note.midi, str(note.onset), str(note.length)) for note in grace] == [
        (75, "7/8", "1/8")
    ]
    assert [str(n.onset) for n in score.notes if n.hand == "right" and not n.ornament] == [
        "0",
        "1",
        "2",
    ]


def test_two_grace_notes_keep_their_order(make_midi):
    right = [(0, 0.885, 72), (0.885, 0.054, 74), (0.942, 0.054, 76), (1, 1, 77), (2, 2, 72)]
    score = read(make_midi(right, BASS[:1], meters=[(0, "4/4")]))
    grace = [(note.midi, note.onset) for note in score.notes if note.ornament == "grace"]
    assert grace == [(74, Fraction(3, 4)), (76, Fraction(7, 8))]


def test_sixty_fourths_are_no_grace_notes(make_midi):
    right = [(k / 16, 1 / 16, 72 + k % 5) for k in range(16)] + [(1, 1, 72)]
    score = read(make_midi(right, BASS[:1], meters=[(0, "4/4")]))
    assert not [note for note in score.notes if note.ornament]


def test_a_rolled_chord_stands_at_its_first_note(make_midi):
    left = [(0, 2, 48), (0.09, 1.91, 55), (0.18, 1.82, 64)]
    right = [(k, 1, 72) for k in range(8)]
    score = read(make_midi(right, left, meters=[(0, "4/4")]))
    chord = [(n.onset, n.midi, n.ornament) for n in score.notes if n.hand == "left"]
    assert chord == [(0, 64, "roll"), (0, 55, "roll"), (0, 48, None)]


def test_staccato_gaps_are_closed_to_the_next_note(make_midi):
    """Playback at 95 % of the written value."""
    right = [(k / 2, 0.475, 72 + k % 3) for k in range(8)]
    left = [(k, 0.95, 48) for k in range(4)]
    score = read(make_midi(right, left, meters=[(0, "4/4")]))
    assert {str(n.length) for n in score.notes if n.hand == "right"} == {"1/2"}
    assert {str(n.length) for n in score.notes if n.hand == "left"} == {"1"}


def test_written_rests_stay_in_a_file_with_written_lengths(make_midi):
    right = [(k, 0.875, 72) for k in range(4)]
    score = read(make_midi(right, BASS[:1], meters=[(0, "4/4")]))
    assert {str(n.length) for n in score.notes if n.hand == "right"} == {"7/8"}


def test_a_note_struck_again_ends_there(make_midi):
    right = [(0, 2, 72), (1, 1, 72), (2, 2, 74)]
    score = read(make_midi(right, BASS[:1], meters=[(0, "4/4")]))
    assert [(n.onset, n.length) for n in score.notes if n.midi == 72] == [(0, 1), (1, 1)]


def test_a_unison_of_two_voices_in_one_hand_is_one_note(make_midi):
    right = [(0, 1, 72), (0, 2, 72), (2, 2, 74)]
    score = read(make_midi(right, BASS[:1], meters=[(0, "4/4")]))
    assert [n.length for n in score.notes if n.midi == 72] == [2]


def test_notes_are_sorted_and_numbered(make_midi, march):
    score = read(make_midi(*march, meters=[(0, "2/4")]))
    assert [note.index for note in score.notes] == list(range(len(score.notes)))
    order = [(note.onset, -note.midi) for note in score.notes]
    assert order == sorted(order)
