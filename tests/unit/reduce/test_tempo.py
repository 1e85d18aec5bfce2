"""The tempo to aim at and the student's own."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from heard_pieces import heard

from arranger.music.analysis import Analysis
from arranger.music.reduction import Reduction
from arranger.reduce import reduce
from arranger.reduce.tempo import FOR_THE_TUNE, NO_FASTER, student_tempo, target_tempo
from arranger.tables import LEVEL_NAMES, default_player, level_named
from arranger.tables.arranging import arranging

TABLE = arranging().tempo


def stride(
    *, meter: tuple[int, int] = (4, 4), beat: str = "1", tempo: float = 100, stated: bool = True
) -> Analysis:
    return heard("C5:4", chords="C:4", meter=meter, beat=beat, tempo=tempo, tempo_stated=stated)


def test_a_tempo_that_the_file_states_is_the_target() -> None:
    assert target_tempo(stride(tempo=83), TABLE) == 83


def test_an_unstated_tempo_of_a_rag_in_two_four() -> None:
    """Median of 36 rags in 2/4 as encoded by scholars: 100 quarters a minute."""
    assert target_tempo(stride(meter=(2, 4), beat="1/2", stated=False), TABLE) == 100


def test_an_unstated_tempo_of_anything_else() -> None:
    assert target_tempo(stride(stated=False), TABLE) == TABLE.unstated
    hymn = heard("C5:4", chords="C:4", texture="hymn", meter=(2, 4), tempo_stated=False)
    assert target_tempo(hymn, TABLE) == TABLE.unstated


def test_a_pickup_does_not_hide_the_meter() -> None:
    rag = heard(
        "C5:1/2 C5:2", chords="C:5/2", meter=(2, 4), pickup="1/2", beat="1/2",
        tempo_stated=False,
    )  # fmt: skip
    assert target_tempo(rag, TABLE) == TABLE.unstated_stride_2_4


@pytest.mark.parametrize(
    ("target", "beat", "expected"),
    [
        (100, "1", 60),  # the level's share: .60 of 100; the thumb has 1 s
        (100, "1/2", 60),  # 60 x 1/2 / .48 s = 62 leaves the share as it is
        (140, "1/2", 62),  # the thumb's .48 s rule: 62, not 84
        (200, "1/2", 80),  # never below .40 of the target
        (200, "3/2", 120),  # a thumb on dotted quarters has time
    ],
)
def test_a_beginner_plays_slower(target: float, beat: str, expected: float) -> None:
    """Beginner: .60 of the target, .48 s between thumb notes, at least .40 of the target."""
    level = level_named("beginner")
    assert student_tempo(stride(beat=beat), level, target, TABLE) == expected


def test_the_commonest_thumb_beat_counts() -> None:
    """A bar that begins with a beat of quick thumb notes is not played slower for them."""
    slow = stride(beat="1")
    whole = slow.textures[0]
    mixed = replace(
        slow,
        textures=(
            replace(whole, end=Fraction(1), thumb_beat=Fraction(1, 4)),
            replace(whole, start=Fraction(1)),
        ),
    )
    level = level_named("beginner")
    assert student_tempo(mixed, level, 100, TABLE) == student_tempo(slow, level, 100, TABLE)


def test_the_student_never_stands_still() -> None:
    assert student_tempo(stride(), level_named("beginner"), 1, TABLE) == 1


def test_an_advanced_player_plays_as_written() -> None:
    assert student_tempo(stride(), level_named("advanced"), 100, TABLE) == 100


def arranged(length: str) -> dict[str, Reduction]:
    """Four bars at 120 whose tune has notes of one length, at every level."""
    notes = " ".join(f"{name}:{length}" for name in ("C5", "D5", "E5", "F5") * 16)
    song = heard(notes, chords=f"C:{64 * Fraction(length)}", tempo=120)
    levels = {name: level_named(name) for name in LEVEL_NAMES}
    return {
        name: reduce(song, level=level, level_name=name, player=default_player(level))
        for name, level in levels.items()
    }


@pytest.mark.parametrize("length", ["1", "1/2", "1/4", "1/6", "1/16"])
def test_no_level_plays_faster_than_a_harder_one(length: str) -> None:
    """Common practice, no source."""
    tempos = [one.student_tempo for one in arranged(length).values()]
    assert tempos == sorted(tempos)


def test_the_tempo_falls_until_the_tune_can_be_played() -> None:
    """Sixteenths at 120: .25 s at 60 for elementary, .18 s at 81 for intermediate, in steps
    of a twentieth. A beginner, who leaves every other one out, goes no faster.
    """
    found = arranged("1/4")
    assert [one.student_tempo for one in found.values()] == [60, 60, 81, 120]
    assert [len(one.melody) for one in found.values()] == [32, 64, 64, 64]
    said = {name: one.decisions[0].text for name, one in found.items()}
    assert FOR_THE_TUNE in said["elementary"]
    assert FOR_THE_TUNE in said["intermediate"]
    assert NO_FASTER in said["beginner"]
    assert said["advanced"] == "tempo for this student 120 of 120 quarters a minute"


@pytest.mark.parametrize(("length", "tempo"), [("1/16", 81), ("1/64", 102)])
def test_a_tune_too_fast_at_any_tempo_slows_a_student_only_where_it_is_of_use(
    length: str, tempo: float
) -> None:
    """At 81 a quarter of the sixty-fourths is left instead of an eighth: .05 or more is of
    use. Of notes that are four times as fast a sixteenth is no better than a half of it.
    """
    found = arranged(length)["intermediate"]
    assert found.student_tempo == tempo
