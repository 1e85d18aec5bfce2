"""Equal bars are reduced alike, whatever comes before and after them."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from heard_pieces import heard

from arranger.music.analysis import Analysis
from arranger.music.reduction import Reduction
from arranger.reduce import reduce
from arranger.reduce.equal_bars import EqualBars
from arranger.tables import default_player, level_named

QUICK = "E5:1/4 D5:1/4 C5:1/2 G4:1 E5:1 C5:1"
SLOW = "C5:2 E5:2"


def reduced(analysis: Analysis) -> Reduction:
    level = level_named("beginner")
    player = default_player(level)
    return reduce(analysis, level=level, level_name="beginner", player=player)


def test_most_of_the_equal_bars_decide_and_of_two_the_first() -> None:
    bars = EqualBars(heard(f"{QUICK} " * 3, chords="C:12"))
    votes = {Fraction(0): "a", Fraction(4): "b", Fraction(8): "b", Fraction(1): "x"}
    assert bars.agreed(votes) == votes | {Fraction(0): "b"}
    assert bars.agreed({Fraction(4): "b", Fraction(0): "a"}) == {0: "a", 4: "a"}


def test_a_phrase_that_begins_in_one_of_two_equal_bars_keeps_no_other_notes() -> None:
    """Notes that open a phrase stay; here one bar opens it, and its equals do not."""
    piece = heard(
        f"{QUICK} {SLOW} {QUICK} {SLOW} {QUICK}",
        "C3:1 G3:1 C3:1 G3:1 " * 5,
        chords="C:20",
        phrases=("0", "33/4"),
        tempo=160.0,
    )
    kept = {note.onset for note in reduced(piece).melody}
    first, third, fifth = (
        {onset - start for onset in kept if start <= onset < start + 4} for start in (0, 8, 16)
    )
    assert first == third == fifth


def test_one_pattern_of_inner_notes_for_equal_bars_of_two_phrases() -> None:
    """The first phrase has inner notes on two, the second elsewhere; the bar comes in both."""
    there, elsewhere = "r:1 E4:1 r:2 ", "r:3 E4:1 "
    piece = heard(
        f"{SLOW} {SLOW} {SLOW} C5:1 E5:1 C5:2",
        "C3:4 " * 4,
        there * 2 + there + elsewhere,
        chords="C:16",
        phrases=("0", "8"),
        texture="hymn",
    )
    slots = reduced(piece).slots
    fills = [
        [(slot.onset - start, slot.fill) for slot in slots if start <= slot.onset < start + 4]
        for start in (0, 4, 8)
    ]
    assert fills[0] == fills[1] == fills[2]


def test_a_bar_begins_with_its_own_chord_though_nothing_is_struck() -> None:
    """The chord of the bar before does not linger until the thumb's first note."""
    piece = heard("C5:4 r:1 D5:3", "C3:4 r:2 G3:2", chords="C:4 G:4", texture="single")
    opening = next(slot for slot in reduced(piece).slots if slot.onset == 4)
    assert opening.chord_begins
    assert opening.chord == piece.chords[1].chord


def test_a_pickup_is_a_bar_of_its_own_kind() -> None:
    piece = heard(f"G4:1 {SLOW}", chords="C:5", pickup="1")
    alone = replace(piece, same_as=(None, None))
    assert EqualBars(alone).place(Fraction(1)) == (1, Fraction(0))
