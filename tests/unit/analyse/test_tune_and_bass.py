"""The tune is what a listener would sing; the bass is what the thumb would follow."""

from __future__ import annotations

from little_scores import midi, score_of

from arranger.analyse import analyse
from arranger.music.pitch import note_name
from arranger.music.score import Score

STRIDE = "C3:1/2 E3+G3+C4:1/2 G2:1/2 E3+G3+C4:1/2 "


def tune(score: Score) -> list[str]:
    return [note_name(score.notes[index].midi) for index in analyse(score).melody]


def bass(score: Score) -> list[str]:
    return [note_name(score.notes[index].midi) for index in analyse(score).bass]


def test_octaves_count_once_on_top() -> None:
    score = score_of("E4+E5:1 D4+D5:1 C4+C5:2", STRIDE * 2, meter=(2, 4))
    assert tune(score) == ["E5", "D5", "C5"]


def test_hold_rule_inner_notes_under_a_held_note_are_not_the_tune() -> None:
    score = score_of("G5:2 E5:2", STRIDE * 2, under="r:1/2 E4:1/2 G4:1 r:2", meter=(2, 4))
    assert tune(score) == ["G5", "E5"]


def test_left_hand_alone_under_a_held_note_is_not_the_tune() -> None:
    score = score_of("G5:4", STRIDE * 2, meter=(2, 4))
    assert tune(score) == ["G5"]


def test_drop_rule_left_hand_far_below_is_not_the_tune() -> None:
    """The right hand rests; the bass goes on, and is not sung."""
    score = score_of("G5:1 r:1 E5:2", STRIDE * 2, meter=(2, 4))
    assert tune(score) == ["G5", "E5"]


def test_tune_in_the_left_hand_under_repeated_chords() -> None:
    left = "F3:3/2 A3:1/2 C4:3/2 A3:1/2 " * 2 + "Bb3:1 D4:1/2 F4:1/2 D4:1/2 C4:3/2 " * 2
    right = "r:1/2 A4+C5:1/2 A4+C5:1/2 A4+C5:1/2 " * 8
    found = analyse(score_of(right, left))
    assert {span.texture for span in found.textures} == {"tune-left"}
    assert all(found.score.notes[index].hand == "left" for index in found.melody)


def test_bass_of_a_stride_leaves_the_chords_out() -> None:
    score = score_of("E5:2 G5:2", STRIDE * 2, meter=(2, 4))
    assert bass(score) == ["C3", "G2", "C3", "G2"]


def test_no_note_is_both_and_no_two_begin_together() -> None:
    line = "D5:1/2 E5:1/2 C5:1/2 A4:1/2 "
    found = analyse(
        score_of(line * 2, line.replace("5", "3").replace("4", "2") * 2, meter=(2, 4))
    )
    assert not set(found.melody) & set(found.bass)
    for voice in (found.melody, found.bass):
        onsets = [found.score.notes[index].onset for index in voice]
        assert onsets == sorted(set(onsets))
    assert found.score.notes[found.melody[0]].midi == midi("D5")


def test_a_hymn_that_moves_in_chords_has_its_bass_on_every_beat() -> None:
    """No chord answers the bass where as many tones are struck with it, nor where the lowest
    is doubled at the octave.
    """
    octaves = score_of(
        "G4+Eb4:1 Ab4+F4:1 G4+D4:1 Eb4+C4:1 " * 2, "C2+C3:1 F1+F2:1 G1+G2:1 C2+G2+C3:1 " * 2
    )
    assert bass(octaves) == ["C2", "F1", "G1", "C2"] * 2
    tenths = score_of(
        "C5:3/2 E5:3/2 B4:3/2 D5:3/2 A4:3/2 B4:3/2 C5:3",
        "A3+E4:3/2 C4+E4:3/2 G3+E4:3/2 B3+E4:3/2 F3+E4:3/2 G3+E4:3/2 A3+E4:3",
        meter=(6, 8),
    )
    assert bass(tenths) == ["A3", "C4", "G3", "B3", "F3", "G3", "A3"]
