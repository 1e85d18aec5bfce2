"""The tempo to aim at and the student's own."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from heard_pieces import heard

from arranger.music.analysis import Analysis
from arranger.reduce import reduce
from arranger.reduce.tempo import student_tempo, target_tempo
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


@pytest.mark.parametrize(("tune", "kept"), [("1/4", True), ("1/16", False)])
def test_no_level_plays_faster_than_a_harder_one(tune: str, kept: bool) -> None:
    """At 120 the intermediate level goes down to 81 to keep sixteenths .18 s apart; what it
    can never keep makes nobody slow. Common practice, no source.
    """
    notes = " ".join(f"{name}:{tune}" for name in ("C5", "D5", "E5", "F5") * 8)
    song = heard(notes, chords=f"C:{32 * Fraction(tune)}", tempo=120)
    levels = {name: level_named(name) for name in LEVEL_NAMES}
    tempos = {
        name: reduce(
            song, level=level, level_name=name, player=default_player(level)
        ).student_tempo
        for name, level in levels.items()
    }
    assert list(tempos.values()) == sorted(tempos.values())
    assert tempos["intermediate"] == (81 if kept else 102)
    assert tempos["elementary"] == (81 if kept else 90)
