"""Laws of taking bars out of a score, on scores and choices made at random."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from arranger.music.excerpt import excerpt
from arranger.music.score import Bar, Note, Score, TempoMark

lengths = st.sampled_from([Fraction(1, 2), Fraction(3, 2), Fraction(2), Fraction(4)])


@st.composite
def scores(draw: st.DrawFn) -> Score:
    """Up to eight bars of any length, with notes anywhere in them."""
    bars: list[Bar] = []
    start = Fraction(0)
    for number, length in enumerate(draw(st.lists(lengths, min_size=1, max_size=8))):
        bars.append(Bar(number=number, start=start, length=length, numerator=4, denominator=4))
        start += length
    sixteenths = int(start * 4)
    onsets = draw(st.lists(st.integers(0, sixteenths - 1), max_size=12))
    notes = tuple(
        Note(
            index=index,
            onset=Fraction(onset, 4),
            length=Fraction(draw(st.integers(1, 8)), 4),
            midi=60,
            hand="right",
        )
        for index, onset in enumerate(sorted(onsets))
    )
    return Score(
        title="",
        composer="",
        file="",
        sha256="",
        notes=notes,
        bars=tuple(bars),
        tempos=(TempoMark(onset=Fraction(0), quarters=100.0),),
        tempo=100.0,
        tempo_stated=True,
    )


@given(scores(), st.sets(st.integers(0, 7), min_size=1))
def test_excerpt_is_a_piece_of_its_own(score: Score, wanted: set[int]) -> None:
    there = [bar for bar in score.bars if bar.number in wanted]
    if not there:
        return
    part = excerpt(score, wanted)
    assert [bar.number for bar in part.bars] == [bar.number for bar in there]
    assert part.bars[0].start == 0
    assert all(one.end == other.start for one, other in pairwise(part.bars))
    assert part.end == sum(bar.length for bar in there)
    assert part.tempos[0].onset == 0
    assert [note.index for note in part.notes] == list(range(len(part.notes)))
    assert all(0 <= note.onset < note.end <= part.end for note in part.notes)
    kept = [n for n in score.notes if any(b.start <= n.onset < b.end for b in there)]
    assert len(part.notes) == len(kept)
    for note, source in zip(part.notes, kept, strict=True):
        assert note.length <= source.length
        bar, home = part.bars[part.bar_index_at(note.onset)], score.bars
        old = home[score.bar_index_at(source.onset)]
        assert (bar.number, note.onset - bar.start) == (old.number, source.onset - old.start)


@given(scores(), st.sets(st.integers(0, 7), min_size=1))
def test_excerpt_of_an_excerpt_changes_nothing(score: Score, wanted: set[int]) -> None:
    if any(bar.number in wanted for bar in score.bars):
        once = excerpt(score, wanted)
        assert excerpt(once, wanted) == once
