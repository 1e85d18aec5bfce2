"""What the thumb may play, texture by texture."""

from __future__ import annotations

from fractions import Fraction

import pytest
from heard_pieces import heard

from arranger.music.analysis import Analysis
from arranger.music.reduction import Stroke
from arranger.reduce.thumb import strokes, thumb_beats
from arranger.tables.arranging import arranging

COSTS = arranging().bass
C, D, E, F, G, B = 0, 2, 4, 5, 7, 11


def thumb(
    analysis: Analysis, *, shortest: str = "1/2", again: str = "1/2", leading: bool = False
) -> tuple[Stroke, ...]:
    return strokes(
        analysis, thumb_beats(analysis), COSTS,
        shortest=Fraction(shortest), again=Fraction(again), leading=leading,
    )  # fmt: skip


def tones(stroke: Stroke) -> list[int]:
    """Pitch classes, the cheapest first."""
    return [choice.pitch_class for choice in stroke.choices]


def beats(analysis: Analysis) -> list[Fraction]:
    return [onset for onset, _ in thumb_beats(analysis)]


# Beats ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("meter", "beat", "expected"),
    [
        ((4, 4), "1", "0 1 2 3"),
        ((2, 4), "1/2", "0 1/2 1 3/2"),
        ((6, 8), "3/2", "0 3/2"),
        ((3, 4), "1", "0 1 2"),
    ],
)
def test_thumb_beats_of_a_bar(meter: tuple[int, int], beat: str, expected: str) -> None:
    bar = Fraction(4 * meter[0], meter[1])
    piece = heard(f"C5:{bar}", chords=f"C:{bar}", meter=meter, beat=beat)
    assert beats(piece) == [Fraction(onset) for onset in expected.split()]


@pytest.mark.parametrize(
    ("pickup", "expected"),
    [("1", "0 1 2 3 4"), ("1/2", "1/2 3/2 5/2 7/2"), ("3/2", "1/2 3/2 5/2 7/2 9/2")],
)
def test_beats_of_a_pickup_are_counted_from_its_end(pickup: str, expected: str) -> None:
    """They fall where the full bar would have them; half a beat alone has none."""
    whole = Fraction(pickup) + 4
    piece = heard(f"C5:{whole}", chords=f"C:{whole}", pickup=pickup)
    assert beats(piece) == [Fraction(onset) for onset in expected.split()]


# Stride ---------------------------------------------------------------------------------


def test_a_strong_beat_of_stride_has_the_bass_of_the_source() -> None:
    first, _, third, _ = thumb(heard("E5:4", "C3:1 r:1 G2:1 r:1", chords="C:4"))
    assert (tones(first)[0], first.choices[0].cost) == (C, COSTS.source_tone)
    assert (tones(third)[0], third.choices[0].cost) == (G, COSTS.source_tone)


def test_the_root_may_stand_for_the_fifth_while_the_chord_goes_on() -> None:
    """Which of the two falls on which beat is the hand's choice: common practice, no source."""
    _, _, third, _ = thumb(heard("E5:4", "C3:1 r:1 G2:1 r:1", chords="C:4"))
    assert [(c.pitch_class, c.cost) for c in third.choices[1:]] == [(C, COSTS.root_for_other)]
    _, _, changed, _ = thumb(heard("E5:4", "C3:1 r:1 E2:1 r:1", chords="C:2 Am:2"))
    assert all(c.cost >= COSTS.source_missed for c in changed.choices[1:])


def test_a_weak_beat_takes_fifth_before_root_before_third() -> None:
    """Common practice, no source."""
    _, weak, _, _ = thumb(heard("E5:4", "C3:1 r:1 G2:1 r:1", chords="C:4"))
    assert tones(weak) == [G, C, E]
    assert weak.source is None
    _, seventh, _, _ = thumb(heard("E5:4", "G2:1 r:1 D3:1 r:1", chords="G7:4"))
    assert tones(seventh) == [D, G, B, F]


def test_a_root_that_comes_on_a_weak_beat_alone_is_owed() -> None:
    """An alternation that begins with the fifth: without its other tone it has no root."""
    _, weak, _, _ = thumb(heard("E5:4", "G2:1 C3:1 G2:1 r:1", chords="C:4"))
    assert tones(weak)[0] == C
    assert {choice.cost for choice in weak.choices[1:]} == {COSTS.root_owed}


def test_no_root_is_owed_where_a_strong_beat_has_it() -> None:
    _, weak, _, _ = thumb(heard("E5:4", "G2:1 C3:1 C3:1 r:1", chords="C:4"))
    assert COSTS.root_owed not in {choice.cost for choice in weak.choices}


def test_a_strong_beat_without_source_bass_has_the_root() -> None:
    first, *_ = thumb(heard("E5:4", chords="C:4"))
    assert tones(first)[0] == C
    assert {choice.cost for choice in first.choices[1:]} == {COSTS.not_root_strong}


def test_a_slash_chord_offers_its_bass() -> None:
    first, *_ = thumb(heard("E5:4", chords="C/E:4"))
    assert {c.pitch_class for c in first.choices if c.cost == COSTS.root} == {C, E}


def test_the_thumb_alternates_once_it_runs() -> None:
    found = thumb(heard("E5:4", "C3:1 r:1 G2:1 r:1", chords="C:4"))
    assert [stroke.alternates for stroke in found] == [False, True, True, True]
    assert {stroke.rest_cost for stroke in found} == {COSTS.rest}


def test_a_passing_bass_is_given_and_need_not_alternate() -> None:
    """C and then D on the weak beat: a step of the source's bass leads on."""
    _, passing, *_ = thumb(heard("E5:4", "C3:1 D3:1 E3:1 r:1", chords="C:4"))
    assert tones(passing)[0] == D
    assert (passing.step, passing.alternates) == (2, False)


def test_a_leap_of_the_source_on_a_weak_beat_leaves_the_choice_to_the_hand() -> None:
    _, leap, *_ = thumb(heard("E5:4", "C3:1 E3:1 G2:1 r:1", chords="C:4"))
    assert tones(leap)[0] == G
    assert (leap.step, leap.alternates) == (None, True)


def test_without_harmony_or_bass_the_thumb_rests() -> None:
    assert thumb(heard("E5:4", chords="-:4")) == ()


# A bass that leads ----------------------------------------------------------------------


def test_a_chromatic_note_before_the_dominant_belongs_to_the_bass() -> None:
    """C - F sharp - G: the source's approach is the first choice; the chord is a way out."""
    piece = heard("E5:4 D5:4", "C3:1 r:2 F#2:1 G2:1 r:3", chords="C:4 G7:4")
    approach = thumb(piece)[3]
    assert approach.choices[0].pitch_class == 6
    assert approach.choices[0].cost == COSTS.source_tone
    assert {C, G, E} < set(tones(approach))
    assert not any(choice.added for choice in approach.choices)


def test_a_leading_note_is_offered_where_the_thumb_is_free() -> None:
    """Before a change to G: F sharp, the semitone below, and the scale's F and A."""
    piece = heard("C5:4 D5:4", "C3:1 r:3 G2:1 r:3", chords="C:4 G7:4")
    offered = [choice for choice in thumb(piece, leading=True)[3].choices if choice.added]
    assert [choice.pitch_class for choice in offered] == [6, F, 9]
    assert {choice.cost for choice in offered} == {COSTS.leading}
    assert not any(choice.added for stroke in thumb(piece) for choice in stroke.choices)


def test_nothing_is_offered_that_rubs() -> None:
    """F lies a semitone from the tune's E; D flat a semitone above the root C."""
    piece = heard("E5:4 D5:4", "C3:1 r:3 G2:1 r:3", chords="C:4 G7:4")
    offered = [choice for choice in thumb(piece, leading=True)[3].choices if choice.added]
    assert [choice.pitch_class for choice in offered] == [6, 9]
    piece = heard("G5:4 F5:4", "C3:1 r:3 D3:1 r:3", chords="C:4 Dm:4")
    offered = [choice for choice in thumb(piece, leading=True)[3].choices if choice.added]
    assert offered == []


def test_nothing_is_offered_where_the_harmony_stays() -> None:
    piece = heard("E5:4 D5:4", "C3:1 r:3 C3:1 r:3", chords="C:8")
    assert not any(
        choice.added for stroke in thumb(piece, leading=True) for choice in stroke.choices
    )


def test_equal_bars_that_go_on_differently_are_offered_nothing() -> None:
    """A bar is learnt once: what leads on must fit wherever it returns."""
    bass = " ".join(f"C3:1 r:3 {bass}:1 r:3" for bass in ("G2", "F2"))
    chords = "C:4 G7:4 C:4 F:4"
    piece = heard("E5:4 D5:4 E5:4 C5:4", bass, chords=chords)
    assert piece.same_as == (None, None, 0, None)
    found = thumb(piece, leading=True)
    assert not any(choice.added for stroke in found[:4] for choice in stroke.choices)


# Other textures -------------------------------------------------------------------------


def test_a_waltz_has_its_bass_on_one() -> None:
    found = thumb(
        heard("E5:3 E5:3", "C3:1 r:2 G2:1 r:2", chords="C:6", texture="waltz", meter=(3, 4))
    )
    assert [stroke.onset for stroke in found] == list(range(6))
    assert [tones(stroke)[0] for stroke in found] == [C, G, G, G, G, G]
    assert not any(stroke.alternates for stroke in found)
    assert found[3].choices[0].cost == COSTS.source_tone
    assert found[3].choices[1].cost >= COSTS.source_missed


def test_a_waltz_has_its_chords_above_its_bass() -> None:
    """The source's chord lies a tenth above the bass: the thumb goes up after the one."""
    found = thumb(
        heard(
            "E5:3 E5:3", "C3:1 r:2 G2:1 r:2", "r:1 E4+G4:1 E4+G4:1 r:1 F4+B4:1 F4+B4:1",
            chords="C:3 G7:3", texture="waltz", meter=(3, 4),
        )
    )  # fmt: skip
    assert [stroke.step for stroke in found] == [None, 16, None, None, 22, None]


def test_six_eight_has_the_thumb_on_one_and_four() -> None:
    found = thumb(
        heard(
            "E5:3", "C3:3/2 r:3/2", chords="C:3", texture="compound", beat="3/2", meter=(6, 8)
        )
    )
    assert [(stroke.onset, stroke.length) for stroke in found] == [
        (0, Fraction(3, 2)), (Fraction(3, 2), Fraction(3, 2)),
    ]  # fmt: skip


def test_a_line_is_given_with_its_direction() -> None:
    found = thumb(heard("E5:4", "C3:1 B2:1 A2:1 D3:1", chords="C:4", texture="single"))
    assert [tones(stroke)[0] for stroke in found] == [0, 11, 9, 2]
    assert [stroke.step for stroke in found] == [None, -1, -2, 5]
    assert not any(stroke.alternates for stroke in found)
    assert {stroke.rest_cost for stroke in found} == {COSTS.rest_line}


def test_quick_notes_of_a_line_off_the_beat_are_left_out() -> None:
    piece = heard(
        "E5:2", "C3:1/4 D3:1/4 E3:1/2 F3:1", chords="C:2", texture="single", meter=(2, 4)
    )
    assert [stroke.onset for stroke in thumb(piece)] == [0, Fraction(1, 2), 1]
    assert [stroke.onset for stroke in thumb(piece, shortest="1/4")] == [
        0, Fraction(1, 4), Fraction(1, 2), 1,
    ]  # fmt: skip


def test_throbbing_chords_do_not_make_the_thumb_drum() -> None:
    """A tone struck again and again is struck on the beats; a line off the beat moves on."""
    piece = heard(
        "E5:2", "C3:1/2 C3:1/2 C3:1/2 D3:1/2", chords="C:2", texture="single", meter=(2, 4),
        beat="1",
    )  # fmt: skip
    found = [stroke.onset for stroke in thumb(piece, again="3/4")]
    assert found == [0, 1, Fraction(3, 2)]
    sicilian = heard(
        "E5:9/2", "C3:1 C3:1/2 " * 3, chords="C:9/2", texture="single", meter=(9, 8), beat="3/2"
    )
    found = [stroke.onset for stroke in thumb(sicilian, again="3/4")]
    assert found == [0, Fraction(3, 2), 3, 4], "the last is followed by nothing"
    assert len(thumb(piece)) == 4


def test_a_note_of_a_line_ends_where_the_next_begins() -> None:
    found = thumb(heard("E5:4", "C3:2 D3:2", chords="C:4", texture="hymn"))
    assert [(stroke.onset, stroke.length) for stroke in found] == [(0, 2), (2, 2)]


def test_of_a_broken_chord_the_thumb_has_the_first_note() -> None:
    piece = heard(
        "E5:2", "C3:1/2 E3:1/2 G3:1/2 E3:1/2", chords="C:2", texture="broken", beat="2",
        meter=(2, 4),
    )  # fmt: skip
    assert [stroke.onset for stroke in thumb(piece)] == [0]


UP_AND_DOWN = "C3:1/2 E3:1/2 C4:1/2 E4:1/2 G4:1/2 E4:1/2 C4:1/2 E3:1/2"


def test_a_broken_chord_that_comes_back_to_its_bass_lets_the_thumb_alternate() -> None:
    """Beat 2 has the bass an octave above; beat 3 has another tone; so has beat 4. The bass
    sounds on until the thumb answers it. Common practice, no source.
    """
    found = thumb(heard("E5:4", UP_AND_DOWN, chords="C:4", texture="broken"))
    assert [stroke.onset for stroke in found] == [0, 1, 2, 3]
    assert [tones(stroke)[0] for stroke in found] == [C, G, G, C]
    assert set(tones(found[1])) == {C, E, G}
    assert [stroke.alternates for stroke in found] == [False, True, True, False]
    assert (found[0].length, found[1].length) == (1, 1)
    assert [stroke.step for stroke in found] == [None, None, None, -7]


@pytest.mark.parametrize(("weak", "free"), [("E3", False), ("B3", False), ("E4", True)])
def test_what_a_broken_chord_reaches_far_above_its_bass_is_no_bass(
    weak: str, free: bool
) -> None:
    """A tenth above the bass the source's hand plays the chord; the thumb may have its fifth
    as well as its third. Common practice, no source.
    """
    left = f"C3:1/2 G3:1/2 {weak}:1/2 G3:1/2 C3:1/2 G3:1/2 {weak}:1/2 G3:1/2"
    found = thumb(heard("C5:4", left, chords="C:4", texture="broken"))
    costs = [{choice.pitch_class: choice.cost for choice in one.choices} for one in found]
    assert [one.alternates for one in (found[1], found[3])] == [free, free]
    assert (costs[1].get(G, 100.0) < 1.0) == free


def test_the_root_of_a_new_chord_is_no_answer() -> None:
    """The bass of beat 2 is that of beat 1, but the harmony is another."""
    piece = heard(
        "E5:2 C5:2", "C3:1/2 E3:1/2 C3:1/2 A3:1/2 A2:1/2 C3:1/2 A2:1/2 C3:1/2",
        chords="C:1 Am/C:1 Am:2", texture="broken",
    )  # fmt: skip
    assert [stroke.alternates for stroke in thumb(piece)] == [False, False, False, True]


def test_under_a_tune_in_the_left_hand_the_thumb_plays_the_roots() -> None:
    """The source has no bass left: the chord's own on beats 1 and 3."""
    found = thumb(heard("E4:2 C4:2", chords="C:2 G7:2", texture="tune-left"))
    assert [stroke.onset for stroke in found] == [0, 2]
    assert [tones(stroke)[0] for stroke in found] == [C, G]
    assert all(stroke.source is None for stroke in found)


def test_a_unison_is_the_tune_alone() -> None:
    assert thumb(heard("E5:4", "E3:4", chords="C:4", texture="unison")) == ()


def test_a_chord_that_begins_on_a_weak_beat_has_its_root_there() -> None:
    """A march whose bar has two chords: the second dotted beat is no beat to choose on."""
    piece = heard(
        "E5:3/2 D5:3/2", "C3:3/2 G2:3/2", chords="C:3/2 G:3/2", texture="compound",
        beat="3/2", meter=(6, 8),
    )  # fmt: skip
    _, second = thumb(piece)
    assert (tones(second)[0], second.choices[0].cost) == (G, COSTS.source_tone)
    assert D not in tones(second) or second.choices[-1].cost > COSTS.source_tone
