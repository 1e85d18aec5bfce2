"""The chord chart of small pieces is the one a teacher would write over them."""

from __future__ import annotations

from fractions import Fraction

from little_scores import score_of

from arranger.analyse import analyse
from arranger.music.score import Score


def chart(score: Score, *, flats: bool = False) -> list[str]:
    """``bar:chord`` for every chord, with the place where it does not begin on one."""
    cells = []
    for span in analyse(score).chords:
        bar = score.bars[score.bar_index_at(span.start)]
        place = "" if span.start == bar.start else f"@{span.start - bar.start}"
        cells.append(
            f"{bar.number}{place}:{span.chord.name(flats=flats) if span.chord else '-'}"
        )
    return cells


RAG_BAR_C = "C2:1/2 E3+G3+C4:1/2 G2:1/2 E3+G3+C4:1/2 "
RAG_BAR_G7 = "G2:1/2 F3+G3+B3:1/2 D2:1/2 F3+G3+B3:1/2 "


def test_stride_bass_and_chord_are_one_harmony() -> None:
    """The bass goes to the fifth on two, and the chord stays C, not C/G."""
    tune = "E5:1/4 G5:1/2 E5:1/4 C5:1/2 E5:1/2 " * 2 + "D5:1/4 F5:1/2 D5:1/4 B4:1/2 D5:1/2 " * 2
    score = score_of(tune, RAG_BAR_C * 2 + RAG_BAR_G7 * 2, meter=(2, 4))
    assert chart(score) == ["1:C", "3:G7"]


def test_a_passing_note_makes_no_chord() -> None:
    tune = "C5:1/2 D5:1/2 E5:1/2 F5:1/2 " * 4
    assert chart(score_of(tune, RAG_BAR_C * 4, meter=(2, 4))) == ["1:C"]


def test_a_bass_that_is_never_the_root_is_a_slash_chord() -> None:
    left = "E2:1/2 E3+G3+C4:1/2 E2:1/2 E3+G3+C4:1/2 " * 2
    score = score_of("G4:1 C5:1 " * 2, left, meter=(2, 4))
    assert chart(score) == ["1:C/E"]


def test_two_chords_in_a_bar_when_the_bass_says_so() -> None:
    left = "D2:1/2 F#3+C4:1/2 G2:1/2 F3+B3:1/2 " + RAG_BAR_C
    score = score_of("F#4:1/2 A4:1/2 G4:1/2 B4:1/2 C5:2", left, meter=(2, 4))
    assert chart(score) == ["1:D7", "1@1:G7", "2:C"]


def test_a_diminished_seventh_is_named_by_the_tone_that_leads_on() -> None:
    """F# A C Eb before C/G is common-tone: F#dim7, after the bass that carries it."""
    left = "F#2:1/2 A3+C4+Eb4:1/2 F#2:1/2 A3+C4+Eb4:1/2 G2:1/2 G3+C4+E4:1/2 G2:1/2 G3+C4+E4:1/2"
    score = score_of("C5:1 A4:1 C5:1 E5:1", left, meter=(2, 4))
    assert chart(score) == ["1:F#dim7", "2:C/G"]


def test_hymn_harmony_changes_with_the_beat() -> None:
    right = "E4+C5:1 F4+A4:1 D4+B4:1 E4+C5:1"
    left = "C3+G3:1 F2+C4:1 G2+G3:1 C3+G3:1"
    chords = [cell.split(":")[1] for cell in chart(score_of(right, left))]
    assert chords == ["C", "F", "G", "C"]


def test_waltz_in_b_flat() -> None:
    left = "Bb2:1 D4+F4:1 D4+F4:1 " * 2 + "F2:1 Eb4+A4:1 Eb4+A4:1 " * 2
    right = "D5:3 F5:3 C5:3 A4:3"
    assert chart(score_of(right, left, meter=(3, 4)), flats=True) == ["1:Bb", "3:F7"]


def test_no_chord_over_an_opening_in_unison() -> None:
    line = "D5:1/2 E5:1/2 C5:1/2 A4:1/2 B4:1/2 A4:1/2 Ab4:1/2 G4:1/2 "
    low = line.replace("5", "3").replace("4", "2")
    opening = score_of(line + "E5:1 C5:1 " * 4, low + RAG_BAR_C * 4, meter=(2, 4))
    first, second = analyse(opening).chords[:2]
    assert first.chord is None
    assert second.start == Fraction(4)


def test_g_and_then_g7_in_one_bar_is_g7() -> None:
    left = "G2:1 D3+B3:1 G2:1 D3+F3+B3:1 C3:1 E3+G3:1 C3:1 E3+G3:1"
    score = score_of("B4:2 D5:2 C5:4", left)
    assert chart(score) == ["1:G7", "2:C"]


def test_a_chord_lasts_through_a_short_rest() -> None:
    tune = "E5:1/2 G5:1/2 r:1 " * 2 + "E5:2 " * 2
    rested = "C2:1/2 E3+G3+C4:1/2 r:1 " * 2 + RAG_BAR_C * 2
    assert chart(score_of(tune, rested, meter=(2, 4))) == ["1:C"]


def test_equal_bars_have_equal_chords() -> None:
    """The bar with E in the bass comes after C and, later, after G7: it reads the same."""
    first_inversion = "E2:1/2 G3+C4:1/2 E2:1/2 G3+C4:1/2 "
    tune = "E5:1 C5:1 | G5:1 E5:1 | D5:1 B4:1 | G5:1 E5:1 | E5:1 C5:1 | G5:1 E5:1 | "
    left = (
        RAG_BAR_C + first_inversion + RAG_BAR_G7 + first_inversion + RAG_BAR_C + first_inversion
    )
    found = analyse(score_of(tune, left, meter=(2, 4)))
    assert found.same_as[3] == 1
    at = {bar: [s.chord for s in found.chords if s.start <= bar < s.end] for bar in (2, 6, 10)}
    assert at[2] == at[6] == at[10]


def test_a_seventh_chord_without_its_root_is_still_that_chord() -> None:
    """E G Bb after C7 in F: nobody writes Edim there."""
    left = (
        "C2:1/2 E3+G3+Bb3:1/2 G2:1/2 E3+G3+Bb3:1/2 G2:1/2 E3+G3+Bb3:1/2 E2:1/2 E3+G3+Bb3:1/2 "
    )
    f = "F2:1/2 F3+A3+C4:1/2 C3:1/2 F3+A3+C4:1/2 "
    score = score_of("C5:2 Bb4:2 A4:4", left + f * 2, meter=(2, 4), keys={"0": "F"})
    assert chart(score) == ["1:C7", "3:F"]


MARCH_BAR_D = "D3:1/2 r:1/2 F#3+A3:1/2 A2:1/2 r:1/2 F#3+A3:1/2 "
MARCH_BAR_A7 = "A2:1/2 r:1/2 G3+C#4:1/2 E2:1/2 r:1/2 G3+C#4:1/2 "


def test_a_march_in_six_has_one_chord_a_bar_over_its_alternating_bass() -> None:
    """The tune runs down through C# and B over the fifth: still D, not F#m/A."""
    tune = "A5:1 F#5:1/2 D6:1/4 C#6:1/4 r:1/2 B5:1/2 " * 2 + "E5:3/2 G5:3/2 " * 2
    score = score_of(tune, MARCH_BAR_D * 2 + MARCH_BAR_A7 * 2, meter=(6, 8))
    assert chart(score) == ["1:D", "3:A7"]


def test_a_slow_six_without_the_march_may_change_on_its_second_beat() -> None:
    left = "A2+E3:3/2 E2+G#3:3/2 A2+E3:3/2 A2+C#3:3/2 "
    score = score_of("C#5:3/2 B4:3/2 A4:3/2 A4:3/2 " * 2, left * 2, meter=(6, 8))
    assert chart(score) == ["1:A", "1@3/2:E", "2:A", "3@3/2:E", "4:A"]


def test_the_bass_that_names_a_chord_is_the_left_hands() -> None:
    """The arpeggio climbs to its root in the right hand; the bass began on the fifth."""
    score = score_of("r:1 D4:1/2 F4:1/2 " * 2, "A3:1/2 A3:1/2 r:1 " * 2, meter=(2, 4))
    assert chart(score) == ["1:Dm/A"]


def test_a_passing_note_does_not_name_the_bass() -> None:
    """D E F under a chord of D minor in first position: Dm/F, not Dm/E."""
    left = "E3:1/2 F3:3/2 " * 2
    score = score_of("A4+D5:2 " * 2, left, meter=(2, 4))
    assert chart(score) == ["1:Dm/F"]
