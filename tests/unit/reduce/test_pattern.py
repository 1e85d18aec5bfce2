"""The right hand's pattern: one a phrase, few in a section, alike in equal bars."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from heard_pieces import heard

from arranger.music.analysis import Analysis, Section
from arranger.reduce.pattern import pattern_beats
from arranger.reduce.thumb import thumb_beats


def piece(bars: int, phrases: tuple[int, ...], sections: tuple[int, ...] = (0,)) -> Analysis:
    """Bars that are all different, with phrases and sections at the starts of some."""
    names = ("C", "D", "E", "F", "G", "A", "B")
    tune = " ".join(f"{names[bar % 7]}{4 + bar // 7}:4" for bar in range(bars))
    analysis = heard(
        tune, chords=f"C:{4 * bars}", texture="hymn",
        phrases=tuple(str(4 * bar) for bar in phrases),
    )  # fmt: skip
    ends = [*(start - 1 for start in sections[1:]), bars - 1]
    found = tuple(
        Section(letter="ABC"[place], first=first, last=last)
        for place, (first, last) in enumerate(zip(sections, ends, strict=True))
    )
    return replace(analysis, sections=found)


def fingers(
    analysis: Analysis, inner: dict[int, tuple[int, ...]], *, most: int
) -> list[list[int]]:
    """The beats of every bar on which the fingers add, from those the source has."""
    beats = tuple(onset for onset, _ in thumb_beats(analysis))
    onsets = frozenset(
        Fraction(4 * bar + beat) for bar, there in inner.items() for beat in there
    )
    found = pattern_beats(analysis, beats, onsets, most=most)
    return [
        [int(beat - bar.start) for beat in sorted(found) if bar.start <= beat < bar.end]
        for bar in analysis.score.bars
    ]


def test_a_phrase_has_what_half_of_its_bars_have() -> None:
    inner = {0: (1, 3), 1: (1,), 2: (1, 2), 3: (3,)}
    assert fingers(piece(4, (0,)), inner, most=4) == [[1, 3]] * 4


def test_a_section_keeps_its_commonest_patterns_and_the_others_take_the_nearest() -> None:
    inner = {0: (1, 3), 1: (1, 3), 2: (2,), 3: (1, 2, 3)}
    four_phrases = piece(4, (0, 1, 2, 3))
    assert fingers(four_phrases, inner, most=4) == [[1, 3], [1, 3], [2], [1, 2, 3]]
    assert fingers(four_phrases, inner, most=2) == [[1, 3], [1, 3], [2], [1, 3]]
    assert fingers(four_phrases, inner, most=1) == [[1, 3]] * 4


def test_every_section_has_its_own() -> None:
    inner = {0: (1,), 1: (1,), 2: (2,), 3: (2,)}
    assert fingers(piece(4, (0, 1, 2, 3), (0, 2)), inner, most=1) == [[1], [1], [2], [2]]
