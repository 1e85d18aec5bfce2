"""Bars taken out of a score, on four bars of 2/4 with a pick-up."""

from __future__ import annotations

from fractions import Fraction

import pytest

from arranger.music.excerpt import excerpt
from arranger.music.key import Key
from arranger.music.score import Bar, KeyMark, Note, Score, SourceWarning, TempoMark

HALF = Fraction(1, 2)


def _bar(number: int, start: Fraction, length: Fraction) -> Bar:
    return Bar(number=number, start=start, length=length, numerator=2, denominator=4)


def _note(index: int, onset: Fraction, length: int = 1) -> Note:
    return Note(
        index=index, onset=onset, length=Fraction(length), midi=60 + index, hand="right"
    )


@pytest.fixture
def score() -> Score:
    """A note at the start of each bar; the one of bar 2 is held over into bar 3."""
    bars = [_bar(0, Fraction(0), HALF)]
    bars += [_bar(n, HALF + 2 * (n - 1), Fraction(2)) for n in (1, 2, 3, 4)]
    notes = [_note(i, bar.start, 3 if bar.number == 2 else 1) for i, bar in enumerate(bars)]
    return Score(
        title="",
        composer="",
        file="four.mid",
        sha256="",
        notes=tuple(notes),
        bars=tuple(bars),
        tempos=(
            TempoMark(onset=Fraction(0), quarters=90.0),
            TempoMark(onset=bars[3].start, quarters=60.0),
        ),
        tempo=90.0,
        tempo_stated=True,
        keys=(KeyMark(onset=Fraction(0), key=Key(0, "major")),),
        warnings=(SourceWarning(code="x", text="in bar 4", bar=4),),
    )


def test_whole_score_is_itself(score: Score) -> None:
    assert excerpt(score, range(5)) == score


def test_strain_starts_at_beat_0_and_keeps_its_numbers(score: Score) -> None:
    strain = excerpt(score, {2, 3})
    assert [(bar.number, bar.start, bar.length) for bar in strain.bars] == [
        (2, 0, 2),
        (3, 2, 2),
    ]
    assert [(note.index, note.midi, note.onset, note.length) for note in strain.notes] == [
        (0, 62, 0, 3),
        (1, 63, 2, 1),
    ]
    assert [(mark.onset, mark.quarters) for mark in strain.tempos] == [(0, 90.0), (2, 60.0)]
    assert [mark.onset for mark in strain.keys] == [0]
    assert strain.warnings == ()


def test_note_is_cut_short_where_the_music_jumps(score: Score) -> None:
    """Bar 3 is left out, so the note of bar 2 ends with its bar."""
    shorter = excerpt(score, {0, 1, 2, 4})
    assert [bar.number for bar in shorter.bars] == [0, 1, 2, 4]
    assert shorter.end == score.end - 2
    assert [(note.midi, note.onset, note.length) for note in shorter.notes[2:]] == [
        (62, Fraction(5, 2), 2),
        (64, Fraction(9, 2), 1),
    ]
    assert [(mark.onset, mark.quarters) for mark in shorter.tempos] == [
        (0, 90.0),
        (Fraction(9, 2), 60.0),
    ]


def test_bars_that_do_not_exist_are_refused(score: Score) -> None:
    with pytest.raises(ValueError, match="no bar is left"):
        excerpt(score, {7})
    with pytest.raises(ValueError, match="no bar is left"):
        excerpt(score, ())
