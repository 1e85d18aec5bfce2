"""The piece cut into slots, and what every bar owes."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest
from heard_pieces import heard

from arranger.music.analysis import Analysis
from arranger.music.errors import UsageError
from arranger.music.reduction import BarWish, Reduction
from arranger.reduce import reduce
from arranger.reduce.slots import bar_wishes
from arranger.reduce.tune import song_of, tune
from arranger.tables import default_player, level_named
from arranger.tables.arranging import arranging

COSTS = arranging().fill
C, E = 0, 4


def reduced(analysis: Analysis, level: str = "beginner", capo: int | None = None) -> Reduction:
    played = level_named(level)
    return reduce(
        analysis, level=played, level_name=level, player=default_player(played), capo=capo
    )


def wishes(analysis: Analysis) -> tuple[BarWish, ...]:
    melody, _ = tune(song_of(analysis, breath=0.5), seconds_a_quarter=1.0, gap=0.0)
    return bar_wishes(analysis, melody, COSTS)


# Slots ----------------------------------------------------------------------------------

TWO_BARS = heard("G5:2 E5:2 | D5:4", "C3:1 r:1 G2:1 r:1 | G2:1 r:1 D3:1 r:1", chords="C:4 G7:4")


@pytest.mark.parametrize("level", ["beginner", "intermediate"])
def test_slots_cover_the_piece_in_order_without_gaps(level: str) -> None:
    slots = reduced(TWO_BARS, level).slots
    assert slots[0].onset == 0
    assert slots[-1].end == 8
    assert all(one.end == other.onset for one, other in pairwise(slots))
    assert [slot.strong for slot in slots] == [slot.onset in (0, 4) for slot in slots]


def test_a_slot_knows_what_begins_and_what_sounds_on() -> None:
    slots = reduced(TWO_BARS).slots
    assert [slot.onset for slot in slots] == list(range(8))
    assert [slot.melody for slot in slots] == [0, 0, 1, 1, 2, 2, 2, 2]
    assert [slot.melody_begins for slot in slots] == [
        True, False, True, False, True, False, False, False,
    ]  # fmt: skip
    assert all(slot.stroke_begins for slot in slots)


def test_a_shape_changes_with_the_harmony() -> None:
    slots = reduced(TWO_BARS).slots
    assert [slot.onset for slot in slots if slot.chord_begins] == [0, 4]
    assert [slot.chord.name() for slot in slots if slot.chord_begins] == ["C", "G7"]


def test_a_harmony_just_before_a_stroke_is_taken_up_with_it() -> None:
    """The chord turns an eighth before beat 3: the hand changes on beat 3."""
    slots = reduced(heard("G5:4", "C3:1 r:1 G2:1 r:1", chords="C:3/2 G7:5/2")).slots
    assert [slot.onset for slot in slots if slot.chord_begins] == [0, 2]
    assert slots[1].chord.name() == "C"
    assert slots[2].chord.name() == "G7"


def test_inner_notes_are_wished_for_where_the_source_has_them() -> None:
    piece = heard("G5:4", "C3:1 r:1 G2:1 r:1", "r:1 C4:1 r:1 C4:1", chords="C:4")
    slots = reduced(piece).slots
    wished = {slot.onset for slot in slots if slot.fill and C in slot.fill.pitch_classes}
    assert wished == {1, 3}
    assert {slot.fill.cost for slot in slots if slot.onset in wished} == {COSTS.weak_beat}


def test_tones_foreign_to_the_harmony_are_not_wished_for() -> None:
    piece = heard("E5:4", "C3:1 r:1 G2:1 r:1", "r:1 C4+D4:1 r:2", chords="C:4")
    (fill,) = [slot.fill for slot in reduced(piece).slots if slot.fill]
    assert fill.pitch_classes == (C,)


def test_inner_notes_do_not_double_the_tune() -> None:
    piece = heard("C5:4", "C3:1 r:1 G2:1 r:1", "r:1 C4+E4:1 r:1 C4+E4:1", chords="C:4")
    wished = {slot.onset: slot.fill.pitch_classes for slot in reduced(piece).slots if slot.fill}
    assert wished == {0: (E,), 1: (E,), 2: (E,), 3: (E,)}  # the third is owed all through


def test_inner_notes_keep_to_the_beats_of_their_phrase() -> None:
    """Three bars of four have their chord on beat 2: the one on beat 4 is no pattern."""
    usual, odd = "r:1 C4:1 r:2", "r:3 C4:1"
    piece = heard(
        "E5:4 E5:4 E5:4 E5:4", "C3:4 C3:4 C3:4 C3:4", f"{usual} {odd} {usual} {usual}",
        chords="C:16",
    )  # fmt: skip
    wished = [slot.onset for slot in reduced(piece).slots if slot.fill]
    assert wished == [1, 9, 13]


def test_the_rest_before_an_entry_stays_a_rest() -> None:
    """On the first beat an inner note would be heard as the tune's first."""
    tune = "r:1/2 E5:1/2 E5:1 E5:2"
    piece = heard(tune, "C3:1 r:1 G2:1 r:1", "G4:1 G4:1 r:1 G4:1", chords="C:4")
    wished = [slot.onset for slot in reduced(piece).slots if slot.fill]
    assert 0 not in wished
    assert 1 in wished


def test_a_capo_that_leaves_no_neck_is_refused() -> None:
    assert reduced(TWO_BARS, capo=3).capo == 3
    with pytest.raises(UsageError, match="leaves no neck") as refused:
        reduced(TWO_BARS, capo=10)
    assert refused.value.exit_code == 2


# The third ------------------------------------------------------------------------------


def test_a_bar_owes_the_third_of_its_chord() -> None:
    (wish,) = wishes(heard("G5:4", chords="C:4"))
    assert (wish.third, wish.cost) == (E, COSTS.third)


def test_not_when_the_tune_sings_it() -> None:
    """In whatever octave: the ear does not ask twice."""
    (wish,) = wishes(heard("G5:3 E4:1", chords="C:4"))
    assert (wish.third, wish.cost) == (None, 0.0)


def test_the_third_is_owed_while_the_main_chord_lasts() -> None:
    """C for three beats, G7 for one: E is owed on the first three."""
    (wish,) = wishes(heard("G5:4", chords="C:3 G7:1"))
    assert [wish.covers(Fraction(beat)) for beat in range(4)] == [True, True, True, False]


def test_a_tune_that_sings_it_after_the_chord_has_gone_does_not_count() -> None:
    (wish,) = wishes(heard("G5:3 E5:1", chords="C:3 G7:1"))
    assert wish.third == E


def test_a_note_held_into_the_bar_counts() -> None:
    _, second = wishes(heard("B4:5 G5:3", chords="C:4 G7:4"))
    assert second.third is None


def test_of_two_equal_harmonies_the_first_is_the_main_one() -> None:
    (wish,) = wishes(heard("G5:4", chords="C:2 G7:2"))
    assert (wish.third, wish.start, wish.end) == (E, 0, 2)


@pytest.mark.parametrize("name", ["C5", "Csus4", "-"])
def test_a_chord_without_a_third_owes_none(name: str) -> None:
    (wish,) = wishes(heard("G5:4", chords=f"{name}:4"))
    assert wish.third is None
