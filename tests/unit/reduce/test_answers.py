"""Two voices alone: the thumb gives the third that a bar owes."""

from __future__ import annotations

from fractions import Fraction

from heard_pieces import heard

from arranger.music.analysis import Analysis
from arranger.music.reduction import Stroke
from arranger.reduce import reduce
from arranger.tables import default_player, level_named

C, E, G = 0, 4, 7


def thumb(analysis: Analysis, level_name: str = "beginner") -> tuple[Stroke, ...]:
    level = level_named(level_name)
    player = default_player(level)
    return reduce(analysis, level=level, level_name=level_name, player=player).strokes


def told(strokes: tuple[Stroke, ...]) -> list[tuple[Fraction, list[int]]]:
    """Onsets with the tones offered, the cheapest first."""
    return [
        (stroke.onset, [choice.pitch_class for choice in stroke.choices]) for stroke in strokes
    ]


def hymn(tune: str, bass: str) -> Analysis:
    return heard(tune, bass, inner="E3:4", chords="C:4", texture="hymn", tempo=60.0)


def test_a_long_bass_note_leaves_the_thumb_time_for_the_third() -> None:
    root, answer = thumb(hymn("G4:2 C5:2", "C3:4"))
    assert told((root, answer)) == [(0, [C, G]), (1, [E])]
    assert root.end == answer.onset
    assert answer.end == 4
    assert answer.rest_cost == 0, "it is offered, not asked for"
    assert answer.alternates


def test_no_answer_where_the_tune_sings_the_third() -> None:
    assert len(thumb(hymn("E5:2 C5:2", "C3:4"))) == 1


def test_no_answer_where_a_finger_may_play_it() -> None:
    assert len(thumb(hymn("G4:2 C5:2", "C3:4"), "elementary")) == 1


def test_a_tone_struck_again_may_be_the_third() -> None:
    first, again = thumb(hymn("G4:2 C5:2", "C3:2 C3:2"))
    assert told((first,)) == [(0, [C, G])]
    assert told((again,)) == [(2, [C, G, E])]


def test_a_moving_bass_is_left_alone() -> None:
    strokes = thumb(hymn("G4:2 C5:2", "C3:1 G3:1 E3:2"))
    assert [tones[0] for _, tones in told(strokes)] == [C, G, E]


def test_a_steady_thumb_chooses_its_third_itself() -> None:
    stride = heard("G4:4", "C3:1 r:1 G2:1 r:1", chords="C:4", tempo=60.0)
    assert [stroke.onset for stroke in thumb(stride)] == [0, 1, 2, 3]


def test_a_slow_hymn_has_time_for_the_third_within_a_beat() -> None:
    """A bass note for every beat, a beat of three seconds: the third comes half way."""
    slow = heard(
        "G4:2 C5:2",
        "C3:1 G3:1 C3:1 G3:1",
        inner="E3:4",
        chords="C:4",
        texture="hymn",
        tempo=20.0,
    )
    assert told(thumb(slow))[:2] == [(0, [C, G]), (Fraction(1, 2), [E])]


def test_a_short_bass_note_may_be_followed_by_the_third() -> None:
    """The source's hand rests, the harmony goes on: the thumb is free."""
    root, answer = thumb(hymn("G4:2 C5:2", "C3:1/2 r:7/2"))
    assert told((root, answer)) == [(0, [C, G]), (1, [E])]
    assert root.length == Fraction(1, 2)
