"""The tune for a level: what stays on a grid in seconds, what is filler."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from heard_pieces import heard

from arranger.music.analysis import Analysis, TextureSpan
from arranger.music.arrangement import Dropped
from arranger.music.reduction import MelodyNote
from arranger.reduce.tune import grid_step, song_of, tune


def span(beat: str) -> TextureSpan:
    return TextureSpan(
        start=Fraction(0), end=Fraction(4), texture="stride", thumb_beat=Fraction(beat)
    )


def kept(
    analysis: Analysis, *, gap: float = 0.5, seconds: float = 1.0
) -> tuple[tuple[MelodyNote, ...], tuple[Dropped, ...]]:
    """Seconds a quarter 1: a gap of .5 s is a grid of eighths."""
    return tune(song_of(analysis, breath=0.5), seconds_a_quarter=seconds, gap=gap)


def onsets(melody: tuple[MelodyNote, ...]) -> list[Fraction]:
    return [note.onset for note in melody]


# The grid -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("beat", "seconds", "gap", "step"),
    [
        ("1", 1.0, 0.5, "1/2"),  # a quarter of 1 s: an eighth lasts .5 s
        ("1", 1.0, 0.3, "1/2"),  # a sixteenth would last .25 s
        ("1", 1.0, 0.25, "1/4"),
        ("1", 0.4, 0.3, "1"),  # an eighth would last .2 s: the beat itself
        ("1", 0.1, 0.3, "1"),  # never coarser than the thumb's beat
        ("1/2", 1.0, 0.3, "1/2"),
        ("3/2", 1.0, 0.5, "1/2"),  # 6/8: first thirds
        ("3/2", 1.0, 0.25, "1/4"),  # then halves
        ("3/2", 1.0, 0.6, "3/2"),
        ("3", 1.0, 1.0, "1"),  # a 3/4 bar in one
    ],
)
def test_the_grid_is_the_finest_part_of_the_beat_that_lasts_long_enough(
    beat: str, seconds: float, gap: float, step: str
) -> None:
    assert grid_step(span(beat), seconds, gap) == Fraction(step)


def test_a_level_without_a_gap_has_no_grid() -> None:
    assert grid_step(span("1"), 1.0, 0.0) is None


# What stays -----------------------------------------------------------------------------


def test_notes_on_the_grid_stay() -> None:
    melody, dropped = kept(heard("C5:1/2 D5:1/2 E5:1 F5:2", chords="C:4"))
    assert onsets(melody) == [0, Fraction(1, 2), 1, 2]
    assert dropped == ()


def test_filler_goes_and_the_note_before_is_held_through_it() -> None:
    """Sixteenths at one a quarter second: those off the eighths are filler."""
    melody, dropped = kept(heard("C5:1/4 D5:1/4 E5:1/2 F5:3", chords="C:4"))
    assert [(n.onset, n.length) for n in melody][:2] == [
        (0, Fraction(1, 2)),
        (Fraction(1, 2), Fraction(1, 2)),
    ]
    assert [(d.onset, d.midi) for d in dropped] == [(Fraction(1, 4), 74)]
    assert "grid" in dropped[0].why


def test_a_note_that_had_ended_is_not_held_through_filler() -> None:
    """C5 stops before the dropped note: a rest stays a rest."""
    melody, dropped = kept(heard("C5:1/8 r:1/8 D5:1/4 E5:1/2 F5:3", chords="C:4"))
    assert len(dropped) == 1
    assert melody[0].length == Fraction(1, 8)


def test_a_note_held_across_a_grid_point_stays() -> None:
    """The syncopation of a rag: off the grid, but it sounds at the next grid point."""
    melody, dropped = kept(heard("C5:1/4 E5:1/2 D5:1/4 C5:3", chords="C:4"))
    assert Fraction(1, 4) in onsets(melody)
    assert [d.onset for d in dropped] == [Fraction(3, 4)]


def test_at_every_grid_point_the_source_tune_still_sounds() -> None:
    """Grid fidelity 1: what sounds at an eighth sounds there still."""
    source = heard(
        "C5:1/4 E5:1/2 D5:1/4 C5:1/4 D5:1/4 E5:3/4 F5:1/4 G5:1/4 A5:1/4 G5:1", chords="C:4"
    )
    melody, _ = kept(source)
    notes = [source.score.notes[index] for index in source.melody]
    for point in (Fraction(n, 2) for n in range(8)):
        said = [n.midi for n in notes if n.onset <= point < n.end]
        assert [n.midi for n in melody if n.onset <= point < n.end] == said


def test_a_pickup_that_opens_a_phrase_is_kept_up_to_its_first_grid_point() -> None:
    """Three quick notes into a phrase stay; the same notes inside a line do not."""
    line = "C5:3/4 D5:1/4 E5:1/4 F5:1/4 G5:1/2 A5:2"
    inside, _ = kept(heard(line, chords="C:4"))
    opening, _ = kept(heard(line, chords="C:4", phrases=("0", "3/4")))
    assert Fraction(3, 4) not in onsets(inside)
    assert Fraction(3, 4) in onsets(opening)
    assert Fraction(5, 4) not in onsets(opening)  # after its first grid point: filler


BEFORE_THE_BAR = "G4:7/2 C5:1/4 D5:1/4 E5:4"
"""Two sixteenths lead over the bar line; the first is on the grid of eighths."""


@pytest.mark.parametrize(
    ("phrases", "seconds", "stays"),
    [
        (("0", "7/2"), 1.6, True),  # .40 s apart: four fifths of a gap of .5 s
        (("0", "7/2"), 1.2, False),  # .30 s: too near even so
        (("0",), 1.6, False),  # the same notes inside a phrase are filler
        (("0", "1"), 1.6, False),  # a phrase that begins three beats early is no pick-up
    ],
)
def test_a_pickup_to_a_bar_is_kept_whole_where_it_is_little_too_quick(
    phrases: tuple[str, ...], seconds: float, stays: bool
) -> None:
    """A hook is known by how it is led up to (common practice, no source)."""
    line = BEFORE_THE_BAR if phrases != ("0", "1") else "G4:1 A4:5/2 C5:1/4 D5:1/4 E5:4"
    melody, _ = kept(heard(line, chords="C:8", phrases=phrases), seconds=seconds)
    assert Fraction(7, 2) in onsets(melody)
    assert (Fraction(15, 4) in onsets(melody)) is stays


def test_triplets_with_room_are_kept_off_the_grid() -> None:
    """Quarter triplets last .67 s: playable at a gap of .5 s, though off the eighths."""
    melody, dropped = kept(heard("C5:2/3 D5:2/3 E5:2/3 F5:2", chords="C:4"))
    assert len(melody) == 4
    assert dropped == ()


def test_quick_triplets_keep_what_sounds_on_the_grid() -> None:
    """Eighth triplets: the second sounds at the eighth and stays, the third is filler."""
    melody, dropped = kept(heard("C5:1/3 D5:1/3 E5:1/3 F5:3", chords="C:4"))
    assert onsets(melody) == [0, Fraction(1, 3), 1]
    assert [d.onset for d in dropped] == [Fraction(2, 3)]


def test_no_grid_keeps_every_note() -> None:
    melody, dropped = kept(heard("C5:1/16 D5:1/16 E5:1/8 F5:15/4", chords="C:4"), gap=0)
    assert len(melody) == 4
    assert dropped == ()


# How it is joined -----------------------------------------------------------------------


def test_joints_of_the_tune() -> None:
    """A phrase begins, a line goes on, a rest of half a quarter is a breath."""
    melody, _ = kept(heard("C5:1 D5:1/2 r:1/2 E5:1 F5:1", chords="C:4", phrases=("0", "3")))
    assert [note.joint for note in melody] == ["phrase", "inside", "breath", "phrase"]


def test_a_tune_note_never_outlasts_the_next() -> None:
    """Two notes pedalled into each other are one line."""
    long = heard("C5:1 E5:3", chords="C:4")
    notes = list(long.score.notes)
    first = long.melody[0]
    notes[first] = replace(notes[first], length=Fraction(4))
    pedalled = replace(long, score=replace(long.score, notes=tuple(notes)))
    assert kept(pedalled)[0][0].length == 1


def test_an_echo_in_another_octave_begins_anew() -> None:
    """An opening that comes down in octaves, bar by bar, may change its octave at each."""
    head = "D{0}:1/2 E{0}:1/2 C{0}:1/2 A{1}:1/2"
    opening = " ".join(head.format(octave, octave - 1) for octave in (6, 5, 4))
    melody, _ = kept(heard(opening, chords="C:4", phrases=("0",)))
    begins = [note.onset for note in melody if note.joint == "phrase"]
    assert begins == [0, 2, 4]


def test_a_scale_is_no_echo() -> None:
    """Four notes that return an octave higher make an echo; a line that climbs on does not."""
    scale = "C4:1/2 D4:1/2 E4:1/2 F4:1/2 G4:1/2 A4:1/2 B4:1/2 C5:1/2"
    melody, _ = kept(heard(scale, chords="C:4", phrases=("0",)))
    assert [note.joint for note in melody] == ["phrase", *["inside"] * 7]


def test_the_same_again_in_its_octave_is_no_echo() -> None:
    again = "C5:1/2 D5:1/2 E5:1/2 C5:1/2 " * 2
    melody, _ = kept(heard(again.strip(), chords="C:4", phrases=("0",)))
    assert [note.joint for note in melody] == ["phrase", *["inside"] * 7]
