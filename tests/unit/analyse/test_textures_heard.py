"""What the left hand does, and how often a thumb would play there."""

from __future__ import annotations

from fractions import Fraction

import pytest
from little_scores import score_of

from arranger.analyse import analyse
from arranger.music.score import Score


def textures(score: Score) -> list[tuple[str, Fraction]]:
    return [(span.texture, span.thumb_beat) for span in analyse(score).textures]


TUNE_2 = "E5:1/4 G5:1/2 E5:1/4 C5:1/2 E5:1/2 "
RAG = "C3:1/2 E3+G3+C4:1/2 G2:1/2 E3+G3+C4:1/2 "


def test_rag_in_two_four_has_its_thumb_on_eighths() -> None:
    assert textures(score_of(TUNE_2 * 4, RAG * 4, meter=(2, 4))) == [("stride", Fraction(1, 2))]


@pytest.mark.parametrize("meter", [(4, 4), (2, 2)])
def test_march_has_its_thumb_on_quarters(meter: tuple[int, int]) -> None:
    left = "C3:1 E3+G3:1 G2:1 E3+G3:1 " * 4
    tune = "E5:1 D5:1/2 C5:1/2 E5:1 G5:1 " * 4
    assert textures(score_of(tune, left, meter=meter)) == [("stride", Fraction(1))]


def test_polka_in_two_four_with_quarters_has_its_thumb_on_quarters() -> None:
    left = "C3:1 E3+G3:1 G2:1 E3+G3:1 " * 4
    tune = "E5:1 D5:1/2 C5:1/2 " * 8
    assert textures(score_of(tune, left, meter=(2, 4))) == [("stride", Fraction(1))]


def test_waltz() -> None:
    left = "C3:1 E3+G3:1 E3+G3:1 " * 4
    assert textures(score_of("E5:2 D5:1 " * 4, left, meter=(3, 4))) == [("waltz", Fraction(1))]


def test_six_eight() -> None:
    left = "C3:3/2 G3+E3:3/2 " * 4
    tune = "E5:1 D5:1/2 C5:1 E5:1/2 " * 4
    assert textures(score_of(tune, left, meter=(6, 8))) == [("compound", Fraction(3, 2))]


def test_hymn() -> None:
    right, left = "E4+C5:1 F4+A4:1 D4+B4:1 E4+C5:1 " * 4, "C3+G3:1 F2+C4:1 G2+G3:1 C3+G3:1 " * 4
    assert textures(score_of(right, left)) == [("hymn", Fraction(1))]


def test_broken_chords() -> None:
    left = "C3:1/2 G3:1/2 E3:1/2 G3:1/2 " * 8
    assert textures(score_of("E5:2 G5:2 " * 4, left)) == [("broken", Fraction(1))]


def test_walking_bass() -> None:
    left = "C3:1 D3:1 E3:1 F3:1 | G3:1 F3:1 E3:1 D3:1 " * 2
    assert textures(score_of("E5:3/2 F5:1/2 G5:2 " * 4, left)) == [("walking", Fraction(1))]


def test_unison_opening_then_stride() -> None:
    line = "D5:1/4 E5:1/4 C5:1/4 A4:1/2 B4:1/4 G4:1/2 " * 2
    low = line.replace("5", "3").replace("4:", "2:")
    score = score_of(line + TUNE_2 * 4, low + RAG * 4, meter=(2, 4))
    assert [name for name, _ in textures(score)] == ["unison", "stride"]


def test_one_odd_bar_does_not_change_the_texture() -> None:
    left = RAG * 3 + "C3:1/2 D3:1/2 E3:1/2 F3:1/2 " + RAG * 3
    assert textures(score_of(TUNE_2 * 7, left, meter=(2, 4))) == [("stride", Fraction(1, 2))]


def test_equal_bars_have_one_texture() -> None:
    """A walking bar that opens the piece returns alone in the middle of stride."""
    walk = "C3:1/2 D3:1/2 E3:1/2 F3:1/2 "
    left = walk + "G3:1/2 F3:1/2 E3:1/2 D3:1/2 " + (RAG * 3 + walk) * 2 + RAG * 3
    score = score_of(TUNE_2 * 13, left, meter=(2, 4))
    heard = analyse(score)
    equal = [0, *(bar for bar, head in enumerate(heard.same_as) if head == 0)]
    assert equal == [0, 5, 9]
    assert len({heard.texture_at(score.bars[bar].start).texture for bar in equal}) == 1


def test_right_hand_that_leads_in_for_one_bar_is_alone() -> None:
    """A bar of rests with an upbeat in it, as song books write it: the thumb waits."""
    left = "r:4 " + "C3:1 E3+G3:1 G2:1 E3+G3:1 " * 4
    tune = "r:2 D5:2 " + "E5:1 D5:1/2 C5:1/2 E5:1 G5:1 " * 4
    score = score_of(tune, left)
    assert textures(score) == [("unison", Fraction(1)), ("stride", Fraction(1))]
    assert analyse(score).chord_at(Fraction(0)) is None


def test_left_hand_that_begins_alone_accompanies() -> None:
    left = "C3:1 E3+G3:1 G2:1 E3+G3:1 " * 5
    tune = "r:4 " + "E5:1 D5:1/2 C5:1/2 E5:1 G5:1 " * 4
    assert textures(score_of(tune, left)) == [("stride", Fraction(1))]


def test_a_lead_in_that_comes_again_is_alone_there_too() -> None:
    left = ("r:4 " + "C3:1 E3+G3:1 G2:1 E3+G3:1 " * 4) * 2
    tune = ("r:2 D5:2 " + "E5:1 D5:1/2 C5:1/2 E5:1 G5:1 " * 4) * 2
    heard = [texture for texture, _ in textures(score_of(tune, left))]
    assert heard == ["unison", "stride", "unison", "stride"]
