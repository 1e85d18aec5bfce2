"""Whatever the notes are, an analysis keeps the promises of its docstring."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.analyse import analyse
from arranger.music.score import Bar, Note, Score, TempoMark

METERS = ((2, 4), (3, 4), (4, 4), (2, 2), (6, 8), (3, 8), (12, 8), (5, 4))
LENGTHS = tuple(
    Fraction(n, d) for n, d in ((1, 4), (1, 3), (1, 2), (3, 4), (1, 1), (3, 2), (4, 1))
)

notes_drawn = st.lists(
    st.tuples(
        st.integers(0, 96).map(lambda step: Fraction(step, 6)),
        st.sampled_from(LENGTHS),
        st.integers(28, 100),
        st.sampled_from(("right", "left")),
        st.sampled_from((None, None, None, "grace", "roll")),
    ),
    min_size=1,
    max_size=40,
    unique_by=lambda row: (row[0], row[2]),
)


@st.composite
def scores(draw: st.DrawFn) -> Score:
    rows = sorted(draw(notes_drawn), key=lambda row: (row[0], -row[2]))
    numerator, denominator = draw(st.sampled_from(METERS))
    length = Fraction(4 * numerator, denominator)
    start = draw(st.sampled_from((Fraction(0), Fraction(1, 2)))) % length
    bars = []
    if start:
        bars.append(
            Bar(
                number=0,
                start=Fraction(0),
                length=start,
                numerator=numerator,
                denominator=denominator,
            )
        )
    while not bars or bars[-1].end <= rows[-1][0]:
        bars.append(
            Bar(
                number=len(bars) + 1,
                start=start,
                length=length,
                numerator=numerator,
                denominator=denominator,
            )
        )
        start += length
    notes = tuple(
        Note(index=i, onset=onset, length=held, midi=midi, hand=hand, ornament=ornament)  # type: ignore[arg-type]
        for i, (onset, held, midi, hand, ornament) in enumerate(rows)
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
        tempo_stated=False,
    )


@settings(max_examples=60, deadline=None)
@given(scores())
def test_spans_cover_the_piece_and_voices_are_lines(score: Score) -> None:
    found = analyse(score)
    for spans in (found.keys, found.chords, found.textures, found.phrases):
        if spans is found.phrases and not found.melody:
            continue
        assert spans[0].start == 0
        assert spans[-1].end == score.end
        assert all(one.end == two.start and one.start < one.end for one, two in pairwise(spans))
    assert all(one.chord != two.chord for one, two in pairwise(found.chords))
    for voice in (found.melody, found.bass):
        onsets = [score.notes[index].onset for index in voice]
        assert all(one < two for one, two in pairwise(onsets))
    assert not set(found.melody) & set(found.bass)
    covered = [bar for s in found.sections for bar in range(s.first, s.last + 1)]
    assert covered == list(range(len(score.bars)))
    for bar, same in enumerate(found.same_as):
        assert same is None or (same < bar and found.same_as[same] is None)


@settings(max_examples=20, deadline=None)
@given(scores())
def test_the_same_score_gives_the_same_analysis(score: Score) -> None:
    assert analyse(score) == analyse(score)
