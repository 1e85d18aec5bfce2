"""Fidelity on tunes of a few notes, each figure counted by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from arranger.judge.fidelity import fidelity, grid_step, unfaithful_bars
from arranger.music.analysis import Analysis, TextureSpan
from arranger.music.chord import Chord, ChordSpan
from arranger.music.key import Key, KeySection
from arranger.music.score import Bar, Note, Score
from arranger.tables import level_named

BEGINNER = level_named("beginner")
C, F, G7 = Chord(0, "", 0), Chord(5, "", 5), Chord(7, "7", 7)


def analysis_of(
    right: str,
    left: str = "",
    *,
    texture="stride",
    thumb="1",
    length="4",
    chords=(C,),
    pickup="0",
) -> Analysis:
    """``onset length midi`` separated by commas, a hand each; the right hand is the tune.

    ``chords`` share the bars of ``length`` quarters equally.
    """
    rows = [
        (hand, text.split())
        for hand, part in (("right", right), ("left", left))
        for text in part.split(",")
        if text.strip()
    ]
    rows.sort(key=lambda row: (Fraction(row[1][0]), -int(row[1][2])))
    notes = tuple(
        Note(index=i, onset=Fraction(r[0]), length=Fraction(r[1]), midi=int(r[2]), hand=hand)
        for i, (hand, r) in enumerate(rows)
    )  # fmt: skip
    bar = Fraction(length)
    first = Fraction(pickup)
    end = max(note.end for note in notes)
    bars = [Bar(number=0, start=Fraction(0), length=first, numerator=4, denominator=4)]
    bars = bars if first else []
    at = first
    while at < end:
        number = len(bars) + (0 if first else 1)
        bars.append(Bar(number=number, start=at, length=bar, numerator=4, denominator=4))
        at += bar
    score = Score(title="", composer="", file="", sha256="", notes=notes, bars=tuple(bars),
                  tempos=(), tempo=60.0, tempo_stated=True)  # fmt: skip
    share = at / len(chords)
    return Analysis(
        score=score,
        keys=(KeySection(start=Fraction(0), end=at, key=Key(0, "major")),),
        chords=tuple(
            ChordSpan(start=i * share, end=(i + 1) * share, chord=chord)
            for i, chord in enumerate(chords)
        ),
        melody=tuple(note.index for note in notes if note.hand == "right"),
        bass=tuple(note.index for note in notes if note.hand == "left"),
        textures=(
            TextureSpan(start=Fraction(0), end=at, texture=texture, thumb_beat=Fraction(thumb)),
        ),
        phrases=(),
        sections=(),
        same_as=(None,) * len(bars),
    )


STRIDE = "0 1 48, 1 1 55, 2 1 43, 3 1 55"
TUNE = "0 1 64, 1 1 67, 2 1 65, 3 1 64"  # E G F E
PLAYED = """
    0 1 bass 5 3 3 p
    0 1 melody 1 0 0 m
    1 1 bass 4 2 2 p
    1 1 melody 1 3 4 a
    2 1 bass 6 3 3 p
    2 1 melody 1 1 1 m
    3 1 bass 4 2 2 p
    3 1 melody 1 0 0 m
"""


def test_a_faithful_bar(piece):
    found = fidelity(piece(PLAYED), analysis_of(TUNE, STRIDE), BEGINNER)
    assert (found.melody_kept, found.grid_fidelity, found.contour_breaks) == (1, 1, 0)
    assert (found.bass_roots, found.thirds, found.thumb_beats, found.alternation) == (1,) * 4
    assert unfaithful_bars(piece(PLAYED), analysis_of(TUNE, STRIDE), BEGINNER) == ()


def test_transposition_and_octaves_keep_the_tune(piece):
    """The source a fifth and an octave higher: everything is kept."""
    up = ", ".join(
        f"{o} {n} {int(m) + 19}" for o, n, m in (text.split() for text in TUNE.split(","))
    )
    arrangement = replace(piece(PLAYED), transposed_by=-7)
    source = analysis_of(up, STRIDE, chords=(C.transposed(7),))
    found = fidelity(arrangement, source, BEGINNER)
    assert (found.melody_kept, found.grid_fidelity, found.contour_breaks) == (1, 1, 0)
    assert (found.bass_roots, found.thirds) == (1, 1)


def test_a_tune_folded_between_two_notes_breaks_the_contour(piece):
    """E4 G4 became E4 G3: one of three steps turned, and the next as well (G3 up to F4)."""
    folded = PLAYED.replace("1 1 melody 1 3 4 a", "1 1 melody 3 0 0 i")
    found = fidelity(piece(folded), analysis_of(TUNE, STRIDE), BEGINNER)
    assert found.melody_kept == found.grid_fidelity == 1
    assert found.contour_breaks == pytest.approx(2 / 3)
    assert unfaithful_bars(piece(folded), analysis_of(TUNE, STRIDE), BEGINNER) == (1,)


def test_a_wrong_note_is_no_note_of_the_tune(piece):
    """F sharp for G: three of four notes are kept, and three of four beats hear the tune."""
    wrong = piece(PLAYED.replace("1 1 melody 1 3 4 a", "1 1 melody 1 2 3 a"), tempo=120.0)
    found = fidelity(wrong, analysis_of(TUNE, STRIDE), BEGINNER)
    assert (found.melody_kept, found.grid_fidelity) == (3 / 4, 3 / 4)


@pytest.mark.parametrize(
    ("source", "played", "breaks"),
    [
        ("64", "1 0 0", 0),
        ("64", "4 2 2", 1),  # E and E again: an octave lower is another way
        ("65", "1 1 1", 0),
        ("65", "1 13 1", 0),  # up by a semitone, or by an octave more
        ("65", "4 3 3", 1),
        ("63", "4 1 1", 0),
        ("76", "1 0 0", 1),  # what rose an octave stays on its note
    ],
)
def test_a_step_goes_up_or_down_or_stays(piece, source, played, breaks):
    two = piece(f"0 1 melody 1 0 0 m \n 1 1 melody {played} a")
    assert (
        fidelity(two, analysis_of(f"0 1 64, 1 1 {source}"), BEGINNER).contour_breaks == breaks
    )


def test_bars_are_named_by_what_they_lost_the_worst_first(piece):
    """One beat of the tune lost in the first bar, two in the second. An eighth between the
    beats is only missed at a level that promises a share of the tune's notes.
    """
    source = analysis_of(f"{TUNE}, 4 1 64, 5 1 64, 6 1 64, 7 1 64, 8 1/2 64, 17/2 1/2 67")
    played = piece(
        "0 1 melody 1 0 0 m \n 2 1 melody 1 1 1 m \n 3 1 melody 1 0 0 m \n"
        "4 1 melody 1 1 1 m \n 6 1 melody 1 0 0 m \n 8 1 melody 1 0 0 m",
        tempo=120.0,
    )
    assert unfaithful_bars(played, source, BEGINNER) == (2, 1)
    promised = BEGINNER.model_copy(update={"melody_kept_least": 0.95})
    assert unfaithful_bars(played, source, promised) == (2, 1, 3)


def test_filler_between_grid_points_may_go(piece):
    """An eighth between the beats is dropped: 4 of 5 notes, the grid hears all of them.

    At 120 quarters a minute an eighth lasts .25 s, less than a beginner's .32 s.
    """
    source = analysis_of(TUNE.replace("0 1 64", "0 1/2 64, 1/2 1/2 65"), STRIDE)
    found = fidelity(piece(PLAYED, tempo=120.0), source, BEGINNER)
    assert (found.melody_kept, found.grid_fidelity) == (pytest.approx(4 / 5), 1)
    assert found.contour_breaks == 0


def test_at_a_slower_tempo_the_grid_is_finer(piece):
    """At 60 the eighth (.5 s) belongs to the grid: 4 beats and 4 eighths, one lost."""
    source = analysis_of(TUNE.replace("0 1 64", "0 1/2 64, 1/2 1/2 65"), STRIDE)
    found = fidelity(piece(PLAYED, tempo=60.0), source, BEGINNER)
    assert found.grid_fidelity == pytest.approx(7 / 8)


def test_a_syncopation_held_across_the_beat_is_heard_there(piece):
    """Source: E on 1, G from the eighth before 3 held on; dropping the G is heard on 3."""
    source = analysis_of("0 3/2 64, 3/2 3/2 67, 3 1 64", STRIDE)
    kept = piece(
        "0 3/2 melody 1 0 0 m \n 3/2 3/2 melody 1 3 4 a \n 3 1 melody 1 0 0 m", tempo=120
    )
    lost = piece("0 3 melody 1 0 0 m \n 3 1 melody 1 0 0 m", tempo=120)
    assert fidelity(kept, source, BEGINNER).grid_fidelity == 1
    assert fidelity(lost, source, BEGINNER).grid_fidelity == pytest.approx(3 / 4)


def test_a_rest_of_the_source_is_no_grid_point(piece):
    source = analysis_of("0 1 64, 2 2 65", STRIDE)
    wrong = piece("0 1 melody 1 0 0 m \n 2 2 melody 1 3 4 a", tempo=120)
    assert fidelity(wrong, source, BEGINNER).grid_fidelity == pytest.approx(1 / 3)


def test_nothing_played_is_nothing_kept(piece):
    found = fidelity(piece(""), analysis_of(TUNE, STRIDE), BEGINNER)
    assert (found.melody_kept, found.grid_fidelity, found.thumb_beats) == (0, 0, 0)
    assert (found.bass_roots, found.thirds) == (0, 0)
    assert (found.contour_breaks, found.alternation) == (0, 1)  # nothing to count


def test_a_thumb_that_rests_and_one_that_stays(piece):
    """Three of four beats; of two pairs of neighbours (1-2, 2-3) one stays on string 5."""
    lines = "0 1 bass 5 3 3 p \n 1 1 bass 5 3 3 p \n 2 1 bass 6 3 3 p \n 3 1 melody 1 0 0 m"
    found = fidelity(piece(lines), analysis_of(TUNE, STRIDE), BEGINNER)
    assert found.thumb_beats == pytest.approx(3 / 4)
    assert found.alternation == pytest.approx(1 / 2)


def test_thumb_beats_where_the_left_hand_rests_do_not_count(piece):
    source = analysis_of(TUNE, "0 1 48, 2 1 43")
    lines = "0 1 bass 5 3 3 p \n 2 1 bass 6 3 3 p"
    found = fidelity(piece(lines), source, BEGINNER)
    assert found.thumb_beats == 1
    assert found.alternation == 1  # the two are no neighbours


def test_a_bass_that_walks_by_step_does_not_alternate(piece):
    """C D E on one string, as the source walks: nothing to alternate. Where the thumb strikes
    a string twice on its own account, or the source leaps, the pair counts.
    """
    walk = "0 1 48, 1 1 50, 2 1 52, 3 1 48"
    played = piece("0 1 bass 5 3 3 p\n1 1 bass 5 5 4 p\n2 1 bass 5 7 4 p")
    assert fidelity(played, analysis_of(TUNE, walk), BEGINNER).alternation == 1
    assert fidelity(played, analysis_of(TUNE, STRIDE), BEGINNER).alternation == 0
    other = piece("0 1 bass 5 3 3 p\n1 1 bass 5 7 4 p")
    assert fidelity(other, analysis_of(TUNE, walk), BEGINNER).alternation == 0
    semitones = piece("0 1 bass 5 3 3 p\n1 1 bass 5 4 4 p")
    assert fidelity(semitones, analysis_of(TUNE, "0 1 36, 1 1 37"), BEGINNER).alternation == 1
    again = piece("0 1 bass 5 3 3 p\n1 1 bass 5 3 3 p")
    assert fidelity(again, analysis_of(TUNE, "0 1 48, 1 1 48"), BEGINNER).alternation == 0
    lower = analysis_of(TUNE, "0 1 50, 1 1 52, 2 1 54, 3 1 50")
    assert fidelity(replace(played, transposed_by=-2), lower, BEGINNER).alternation == 1


def test_a_hymn_has_no_thumb_to_keep(piece):
    found = fidelity(
        piece("0 4 melody 1 0 0 m"), analysis_of(TUNE, STRIDE, texture="hymn"), BEGINNER
    )
    assert found.thumb_beats == found.alternation == 1


def test_roots_of_every_harmony_and_thirds_of_the_main_one(piece):
    """C for two beats, G7 for two: no G in the bass fails the root; C is main, E sounds."""
    lines = "0 1 bass 5 3 3 p \n 1 1 melody 1 0 0 m \n 2 1 bass 4 0 0 p"
    source = analysis_of(TUNE, STRIDE, chords=(C, G7))
    found = fidelity(piece(lines), source, BEGINNER)
    assert (found.bass_roots, found.thirds) == (0, 1)
    with_root = fidelity(piece(lines + "\n 3 1 bass 6 3 3 p"), source, BEGINNER)
    assert with_root.bass_roots == 1


@pytest.mark.parametrize(
    ("bass", "roots"),
    [
        ("0 1 bass 5 3 3 p \n 4 1 bass 4 3 3 p \n 8 1 bass 6 3 3 p", 3),
        ("0 1 bass 5 3 3 p \n 4 1 bass 5 3 3 p \n 8 1 bass 6 3 3 p", 2),
        ("0 1 bass 6 3 3 p \n 4 1 bass 4 3 3 p \n 8 1 bass 6 1 1 p", 1),
    ],
)
def test_each_bar_has_the_root_of_its_own_harmony(piece, bass, roots):
    """C, F and G7, a bar each."""
    left = ", ".join(f"{at} 4 {midi}" for at, midi in ((0, 48), (4, 53), (8, 43)))
    source = analysis_of("0 1 64, 4 1 65, 8 1 65", left, chords=(C, F, G7))
    assert fidelity(piece(bass), source, BEGINNER).bass_roots == pytest.approx(roots / 3)


def test_a_harmony_of_one_thumb_beat_counts_and_a_shorter_one_does_not(piece):
    """Nothing, C, F and C again, a beat each in the thumb's quarters; then half beats. The
    bass has no F.
    """
    source = analysis_of("0 4 72", "0 1 48, 1 1 48, 2 1 53, 3 1 48", chords=(None, C, F, C))
    played = piece("0 1 bass 5 3 3 p \n 1 1 bass 5 3 3 p \n 3 1 bass 5 3 3 p")
    assert fidelity(played, source, BEGINNER).bass_roots == 0
    brief = replace(
        source,
        textures=(replace(source.textures[0], thumb_beat=Fraction(2)),),
        chords=(
            *source.chords[:1],
            replace(source.chords[1], end=Fraction(2)),
        ),
    )
    assert fidelity(played, brief, BEGINNER).bass_roots == 1


def test_only_bars_of_a_steady_texture_have_a_thumb_to_keep(piece):
    """Stride, hymn, stride, a bar each: the thumb beats of the hymn are not asked for."""
    bar = ", ".join(f"{at} 1 48" for at in range(12))
    source = analysis_of("0 12 72", bar)
    textures = tuple(
        replace(source.textures[0], start=Fraction(at), end=Fraction(at + 4), texture=name)
        for at, name in ((0, "stride"), (4, "hymn"), (8, "stride"))
    )
    changing = replace(source, textures=textures)
    for beats, share in (((*range(4), *range(8, 12)), 1), (range(4), 0.5), (range(8, 12), 0.5)):
        lines = "\n".join(f"{at} 1 bass 5 3 3 p" for at in beats)
        assert fidelity(piece(lines), changing, BEGINNER).thumb_beats == share


def test_a_slash_chord_may_sound_its_bass(piece):
    over_e = Chord(0, "", 4)
    lines = "0 1 bass 4 2 2 p"
    assert (
        fidelity(piece(lines), analysis_of(TUNE, STRIDE, chords=(over_e,)), BEGINNER).bass_roots
        == 1
    )
    assert fidelity(piece(lines), analysis_of(TUNE, STRIDE), BEGINNER).bass_roots == 0


def test_a_diminished_seventh_may_stand_on_any_of_its_tones(piece):
    """It divides the octave evenly: every one of its tones could be its root."""
    lines = "0 1 bass 4 1 1 p"  # E flat
    for chord, found in ((Chord(0, "dim7", 0), 1), (Chord(0, "m", 0), 0)):
        heard = fidelity(piece(lines), analysis_of(TUNE, STRIDE, chords=(chord,)), BEGINNER)
        assert heard.bass_roots == found


def test_where_the_source_has_an_inversion_its_tone_or_the_root_is_the_bass(piece):
    """C goes on through a bar whose bass is E alone: E bears it, and so does C; G does not."""
    source = analysis_of(TUNE, "0 4 52")
    assert fidelity(piece("0 4 bass 4 2 2 p"), source, BEGINNER).bass_roots == 1
    assert fidelity(piece("0 4 bass 5 3 3 p"), source, BEGINNER).bass_roots == 1
    assert fidelity(piece("0 4 bass 6 3 3 p"), source, BEGINNER).bass_roots == 0
    after_the_root = analysis_of(TUNE, "0 2 48, 2 2 52")  # E alone will not do any more
    assert fidelity(piece("0 4 bass 4 2 2 p"), after_the_root, BEGINNER).bass_roots == 0


def test_a_chord_and_its_seventh_are_one_harmony_to_the_bass(piece):
    """C for two beats, C7 for two: an alternating bass has its root on one and its fifth on
    three; with another chord's root on three it has lost one.
    """
    played = piece("0 2 bass 5 3 3 p\n2 2 bass 6 3 3 p")
    for chord, found in ((Chord(0, "7", 0), 1), (Chord(5, "", 5), 0)):
        source = analysis_of(TUNE, "0 1 48, 1 1 55, 2 1 41, 3 1 48", chords=(C, chord))
        assert fidelity(played, source, BEGINNER).bass_roots == found


def test_a_bar_without_bass_or_third_in_the_source_is_not_counted(piece):
    silent = analysis_of("0 1 67, 1 1 72")
    alone = fidelity(piece("0 1 melody 1 3 3 m"), silent, BEGINNER)
    assert (alone.bass_roots, alone.thirds) == (1, 1)


def test_a_tune_in_unison_has_no_bass_to_keep(piece):
    alone = piece("0 1 melody 1 0 0 m")
    assert fidelity(alone, analysis_of(TUNE, STRIDE), BEGINNER).bass_roots == 0
    unison = analysis_of(TUNE, STRIDE, texture="unison")
    assert fidelity(alone, unison, BEGINNER).bass_roots == 1


def test_a_chord_without_a_third_is_not_asked_for_one(piece):
    power = Chord(0, "5", 0)
    found = fidelity(
        piece("0 1 bass 5 3 3 p"), analysis_of(TUNE, STRIDE, chords=(power,)), BEGINNER
    )
    assert found.thirds == 1


def test_a_pick_up_is_counted_from_its_end(piece):
    """Half a beat of pick-up, thumb on quarters at 120: no grid point before the bar."""
    source = analysis_of("0 1/2 67, 1/2 1 64, 3/2 3 65", "1/2 1 48", pickup="1/2")
    lines = "1/2 1 bass 5 3 3 p \n 1/2 1 melody 1 0 0 m \n 3/2 3 melody 1 1 1 a"
    found = fidelity(piece(lines, tempo=120.0), source, BEGINNER)
    assert found.grid_fidelity == 1
    assert found.melody_kept == pytest.approx(2 / 3)
    assert found.thumb_beats == 1


@pytest.mark.parametrize(
    ("thumb", "tempo", "level", "grid"),
    [
        ("1/2", 65.0, "beginner", "1/2"),  # a rag: eighth .46 s, sixteenth .23 s
        ("1/2", 85.0, "intermediate", "1/2"),  # sixteenth .176 s, under .18
        ("1/2", 80.0, "intermediate", "1/4"),  # sixteenth .1875 s
        ("1", 93.75, "beginner", "1/2"),  # eighth exactly .32 s
        ("1", 94.0, "beginner", "1"),
        ("1", 60.0, "elementary", "1/4"),  # sixteenth exactly .25 s
        ("3/2", 90.0, "beginner", "1/2"),  # 6/8: eighth .33 s
        ("3/2", 120.0, "beginner", "3/2"),  # eighth .25 s
        ("3/2", 60.0, "advanced", "1/4"),  # its sixths, and nothing finer
        ("1", 200.0, "beginner", "1"),  # .30 s, under .32; never coarser than the thumb
        ("1", 400.0, "beginner", "1"),
        ("1", 120.0, "advanced", "1/4"),  # as the source, to a quarter of the beat
    ],
)
def test_the_grid_is_a_matter_of_seconds(thumb, tempo, level, grid):
    span = TextureSpan(
        start=Fraction(0), end=Fraction(4), texture="stride", thumb_beat=Fraction(thumb)
    )
    assert grid_step(span, level_named(level), tempo) == Fraction(grid)
