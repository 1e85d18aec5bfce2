"""Slurs of a page: one string, the left hand alone; common practice, no source."""

from __future__ import annotations

from fractions import Fraction

import pytest

from arranger import finger_notes
from arranger.music.written_note import WrittenNote
from arranger.neck.presses import press
from arranger.neck.slurs_written import asked_slurs, played_slur
from arranger.tables import default_player
from arranger.tables.habits import as_written


def line(*pitches, slurred=(), how="slur", step=Fraction(1, 2)):
    """A melody; ``slurred`` are places of notes to which a slur leads."""
    return [
        WrittenNote(
            onset=at * step, length=step, midi=midi, slur=how if at in slurred else None
        )
        for at, midi in enumerate(pitches)
    ]


def strings(hands):
    return [note.string for note in hands.left.notes]


@pytest.mark.parametrize(
    ("was", "now", "how", "found"),
    [
        ((1, 0, 0), (1, 3, 3), "slur", "hammer-on"),
        ((1, 3, 3), (1, 0, 0), "slur", "pull-off"),
        ((2, 1, 1), (2, 3, 3), "slur", "hammer-on"),
        ((2, 3, 1), (2, 1, 3), "slur", None),  # to a lower fret by a higher finger
        ((2, 1, 1), (2, 3, 1), "slur", None),  # the same finger would have to slide
        ((2, 1, 1), (2, 3, 1), "slide", "slide"),
        ((2, 0, 0), (2, 3, 1), "slide", None),  # nothing to slide from
        ((2, 1, 1), (1, 3, 3), "slur", None),  # two strings
        ((2, 1, 1), (2, 7, 4), "slur", None),  # six frets are no hand's
    ],
)
def test_how_the_left_hand_gets_there(was, now, how, found):
    assert played_slur(press(*was), press(*now), how) == found


def test_a_slur_comes_from_the_note_that_ends_there():
    notes = line(64, 65, 67, slurred=(1,))
    assert {at: slur.origin for at, slur in asked_slurs(notes).items()} == {1: 0}
    assert not asked_slurs(line(64, 64, slurred=(1,)))


def test_a_slur_keeps_its_string_where_plucked_notes_change_it():
    pitches = (62, 64, 62, 64)  # an open first string is next to every plucked d
    slurred = finger_notes(line(*pitches, slurred=(1, 3)))
    assert strings(slurred) == [2, 2, 2, 2]
    assert slurred.slurs == {1: "hammer-on", 3: "hammer-on"}
    assert strings(finger_notes(line(*pitches)))[1] == 1


def test_what_is_slurred_is_not_plucked_anew():
    hands = finger_notes(line(64, 65, 64, 67, slurred=(1, 2)))
    assert hands.slurs == {1: "hammer-on", 2: "pull-off"}
    assert hands.right[0] == hands.right[1] == hands.right[2]


def test_a_slide_is_one_fingers():
    hands = finger_notes(line(67, 69, slurred=(1,), how="slide"))
    one, other = hands.left.notes
    assert hands.slurs == {1: "slide"}
    assert (one.string, one.finger) == (other.string, other.finger)


def test_a_slur_no_string_holds_is_plucked_and_told():
    hands = finger_notes(line(40, 76, slurred=(1,)))
    assert not hands.slurs
    assert hands.plucked == (1,)


def test_a_player_who_does_not_slur_under_the_thumb_plucks():
    player = default_player(as_written())
    player = player.model_copy(
        update={"techniques": player.techniques - {"hammer-on under thumb"}}
    )
    bass = WrittenNote(onset=Fraction(1, 2), length=Fraction(1, 2), midi=45)
    hands = finger_notes([*line(64, 65, slurred=(1,)), bass], player=player)
    assert not hands.slurs
