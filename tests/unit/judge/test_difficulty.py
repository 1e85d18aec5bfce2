"""Difficulty of pieces small enough to say by hand what is hard in them."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import log2

import pytest

from arranger.judge import difficulty, usual_tempo
from arranger.judge.difficulty import features as judged_features
from arranger.judge.difficulty import to_learn
from arranger.judge.effort import perform
from arranger.judge.hearing import hear
from arranger.music.arrangement import ChordMark, Shape
from arranger.tables import LEVEL_NAMES, default_player, level_named
from arranger.tables.difficulty import difficulty_table

C_SHAPE = Shape(
    name="C", frets=(None, 3, 2, 0, 1, 0), fingers=(None, "3", "2", None, "1", None)
)
G_SHAPE = Shape(name="G", frets=(3, 2, 0, 0, 0, 3), fingers=("2", "1", None, None, None, "3"))


def rated(arrangement, level="advanced"):
    known = level_named(level)
    return difficulty(arrangement, known, default_player(known))


def features(arrangement, level="advanced"):
    return {name for bar in rated(arrangement, level).bars for name, _ in bar.features}


def beginner_piece(piece, tempo=65.0):
    """Eight bars of C and G in open shapes, thumb on quarters, tune on the beat."""
    bass = {"C": ("5 3 3", "4 2 2"), "G": ("6 3 2", "4 0 0")}
    tune = {
        "C": ("1 0 0", "1 3 4", "2 1 1", "1 0 0"),
        "G": ("1 3 3", "2 0 0", "2 3 4", "2 0 0"),
    }
    chords = "CCGCCCGC"
    lines = [
        f"{4 * bar + beat} 1 bass {bass[chord][beat % 2]} p\n"
        f"{4 * bar + beat} 1 melody {tune[chord][beat]} m"
        for bar, chord in enumerate(chords)
        for beat in range(4)
    ]
    marks = [
        ChordMark(onset=Fraction(4 * bar), name=chord, shape="CG".index(chord))
        for bar, chord in enumerate(chords)
    ]
    return piece("\n".join(lines), tempo=tempo, shapes=(C_SHAPE, G_SHAPE), chords=marks)


def rag_with_barres(piece, tempo=100.0):
    """Sixteen bars of 2/4: thumb on eighths, tune in sixteenths across it, F and B flat."""
    bars = {
        "F": (("6 1 1", "4 3 4", "5 3 3", "4 3 4"), ("1 1 1", "2 1 1")),
        "Bb": (("5 1 1", "4 3 3", "6 1 1", "4 3 3"), ("1 1 1", "2 3 4")),
        "C": (("5 3 1", "4 5 3", "6 3 1", "4 5 3"), ("1 3 1", "2 5 4")),
    }
    tune = ("0 1/4", "1/4 1/2", "3/4 1/4", "1 1/4", "5/4 1/4", "3/2 1/4", "7/4 1/4")
    lines = []
    for bar, chord in enumerate(["F", "Bb", "C", "F"] * 4):
        low, high = bars[chord]
        lines += [f"{2 * bar + Fraction(k, 2)} 1/2 bass {at} p" for k, at in enumerate(low)]
        for k, time in enumerate(tune):
            onset, length = time.split()
            lines.append(
                f"{2 * bar + Fraction(onset)} {length} melody {high[k % 2]} {'am'[k % 2]}"
            )
    shapes = [
        Shape(
            name=f"F up {up}",
            frets=tuple(up + fret for fret in (1, 3, 3, 2, 1, 1)),
            fingers=tuple("134211"),
            barre=up + 1,
        )
        for up in range(12)
    ]
    return piece(
        "\n".join(lines), tempo=tempo, meter=(2, 4), beat=Fraction(1, 2), shapes=shapes
    )


def test_a_beginners_piece_and_a_rag_with_barres_lie_where_teachers_put_them(piece):
    """Common practice, no source: about 15 to 30, and about 70 to 90 at tempo."""
    easy = rated(beginner_piece(piece), "beginner")
    hard = rated(rag_with_barres(piece))
    assert 15 <= easy.score <= 30
    assert easy.band == "beginner"
    assert 70 <= hard.score <= 90
    assert hard.band == "advanced"


def test_bands_rise_with_the_score():
    bands = difficulty_table().bands
    assert [bands.of(score) for score in (0, 55, 65, 90)] == list(LEVEL_NAMES)
    assert bands.of(bands.beginner) == "beginner"
    assert bands.of(100.0) == "advanced"


def test_an_open_string_asks_for_nothing_but_a_pluck(piece):
    found = rated(piece("0 4 melody 1 0 0 a"))
    assert [name for name, _ in found.bars[0].features] == ["plucking", "goal"]
    assert found.bars[0].points == pytest.approx(found.score - found.reasons[-1].points, abs=3)


def test_silence_is_easy(piece):
    found = rated(piece(""))
    assert (found.score, found.band, found.reasons) == (0.0, "beginner", ())


@pytest.mark.parametrize(
    ("feature", "lines"),
    [
        ("stretch", "0 4 bass 5 1 1 p \n 0 4 melody 1 4 4 a"),
        ("barre", "0 4 bass 6 1 1 p \n 0 4 melody 1 1 1 a"),
        ("position", "0 4 melody 1 7 1 a"),
        ("voices", "0 4 bass 6 0 0 p \n 0 4 melody 1 0 0 a"),
        ("moves", "0 1 melody 1 1 1 a \n 1 1 melody 1 3 1 m"),
        ("shifts", "0 1 melody 1 1 1 a \n 1 1 melody 1 5 1 m"),
        ("crossing", "0 1 melody 1 0 0 a \n 1 1 melody 2 0 0 a"),
        ("repeats", "0 1 melody 1 0 0 a \n 1 1 melody 1 0 0 a"),
        ("independence", "1/2 1 melody 1 0 0 a \n 1 1 bass 6 0 0 p"),
        ("slurs", "0 1 melody 1 0 0 a \n 1 1 melody 1 3 3 a hammer-on \n 1 1 bass 6 0 0 p"),
    ],
)
def test_each_feature_where_it_should_be_and_nowhere_else(piece, feature, lines):
    assert feature in features(piece(lines))
    assert feature not in features(piece("0 4 melody 1 0 0 a"))


@pytest.mark.parametrize(
    ("feature", "lines"),
    [
        ("stretch", "0 4 bass 5 1 1 p \n 0 4 melody 1 0 0 a"),  # one finger
        ("barre", "0 2 bass 6 1 1 p \n 2 2 melody 1 1 1 a"),  # one string after the other
        ("position", "0 4 melody 1 4 4 a"),
        ("voices", "0 2 bass 6 0 0 p \n 2 2 melody 1 0 0 a"),
        ("moves", "0 1 melody 1 1 1 a \n 1 1 melody 1 1 1 m"),  # the finger stays
        ("shifts", "0 1 melody 1 1 1 a \n 1 1 melody 1 5 4 m"),  # four fingers, one position
        ("crossing", "0 1 melody 1 0 0 a \n 1 1 melody 2 0 0 m"),
        ("repeats", "0 1 melody 1 0 0 a \n 1 1 melody 1 0 0 m"),
        ("independence", "0 2 melody 1 0 0 a \n 1 1 bass 6 0 0 p"),  # begins on the beat
        ("independence", "1/2 1/2 melody 1 0 0 a \n 1 1 bass 6 0 0 p"),  # not held
        ("slurs", "0 1 melody 1 0 0 a \n 1 1 melody 1 3 3 a hammer-on \n 2 1 bass 6 0 0 p"),
    ],
)
def test_near_misses(piece, feature, lines):
    assert feature not in features(piece(lines))


def moves_of(arrangement):
    level = level_named("advanced")
    heard = hear(arrangement, level, default_player(level))
    return list(perform(heard, difficulty_table().scales).moves)


def test_the_time_for_a_move_begins_when_the_finger_is_free(piece):
    """At 60: the first finger's note ends at 1, the last start while it held was at 0."""
    free = piece("0 1 melody 1 1 1 a \n 1 1 melody 2 0 0 m \n 2 1 melody 1 3 1 a")
    assert [move.seconds for move in moves_of(free)] == [2.0]
    held = piece("0 2 inner 4 1 1 p \n 1 1 melody 2 0 0 m \n 2 1 inner 4 3 1 p")
    assert [move.seconds for move in moves_of(held)] == [1.0]


def test_the_way_is_in_mm_on_the_neck(piece):
    """Fret 1 to 3 on one string: 66.9 mm along it, log2(1 + 6.69) = 2.94 bits."""
    (move,) = moves_of(piece("0 1 melody 1 1 1 a \n 1 1 melody 1 3 1 a"))
    assert move.bits == pytest.approx(2.94, abs=0.01)
    assert move.bits == move.bits_along
    (across,) = moves_of(piece("0 1 melody 1 1 1 a \n 1 1 melody 3 1 1 a"))
    assert (across.bits_along, across.pressing) == (0, 0)
    assert across.bits > 0


def test_reasons_say_what_where_and_how_fast(piece):
    shift = "4 1 melody 1 1 1 a \n 9/2 1 melody 1 5 1 m"
    found = rated(piece(shift.replace("4 1", "4 1/2", 1)))
    hardest = next(reason for reason in found.reasons if "hardest single move" in reason.what)
    assert hardest.bar == 2
    assert "finger 1 from string 1 fret 1 to string 1 fret 5, 0.50 s" in hardest.what


def test_a_stretch_is_told_as_a_teacher_would(piece):
    """Frets 1 to 5 at 650 mm are 126.6 mm (published table); with four strings 131.7."""
    near = "0 1/2 melody 1 1 1 a \n 0 1/2 bass 5 2 2 p"
    wide = "1/2 1 melody 1 5 4 a \n 1/2 1 bass 5 1 1 p"
    said = "a five-fret stretch, fingers 1 and 4, 132 mm, while the thumb plays, 0.50 s"
    reasons = rated(piece(f"{near} \n {wide}")).reasons
    assert any(reason.what.startswith(said) for reason in reasons)


def changes_of(piece, names, lines):
    """What is told of changes where the bars carry these names and the tab these notes."""
    shapes = (C_SHAPE, G_SHAPE)
    plain = piece("\n".join(lines), shapes=shapes)
    named = [replace(bar, chord=name) for bar, name in zip(plain.bars, names, strict=True)]
    reasons = rated(replace(plain, bars=tuple(named))).reasons
    return [reason.what for reason in reasons if reason.feature == "changes"]


C_HELD = ("{} 1 bass 5 3 3 p", "{} 1 inner 4 2 2 i", "{} 1 inner 2 1 1 m")
G_HELD = ("{} 1 bass 6 3 2 p", "{} 1 inner 5 2 1 i", "{} 4 melody 1 3 3 a")


def at(onset, notes):
    return [line.format(onset) for line in notes]


def test_a_change_of_shape_is_the_fingers_that_move(piece):
    """From C (1 2 3) to G (2 1 3): all three go elsewhere."""
    assert changes_of(piece, "CG", at(0, C_HELD) + at(4, G_HELD)) == [
        "from C to G 3 fingers move"
    ]


def test_fingers_of_a_shape_that_do_not_play_need_not_move(piece):
    assert changes_of(piece, "CG", at(0, C_HELD) + at(4, G_HELD[1:])) == [
        "from C to G 2 fingers move"
    ]


@pytest.mark.parametrize(
    "lines",
    [
        [*at(0, C_HELD), *at(4, G_HELD[2:])],  # one finger of G
        [*at(0, C_HELD[:1]), *at(4, G_HELD)],  # one finger of C
        [*at(0, C_HELD), "4 4 bass 6 3 1 p", "4 4 inner 5 2 4 i"],  # other fingers than G's
        ["0 8 melody 1 0 0 a"],
    ],
)
def test_a_chord_whose_shape_the_tab_does_not_hold_is_no_change(piece, lines):
    assert changes_of(piece, "CG", lines) == []


def test_a_chord_without_a_shape_parts_two_changes(piece):
    lines = [*at(0, C_HELD), "4 4 melody 1 0 0 a", *at(8, G_HELD)]
    assert changes_of(piece, ("C", "F", "G"), lines) == []


def test_one_note_foreign_to_the_scale_is_told_as_one(piece):
    """Eight names of notes, then nine: a scale has seven."""

    def colours(frets):
        reasons = rated(
            piece("\n".join(f"{n} 1 melody 1 {n} 1 a" for n in range(frets)))
        ).reasons
        return [reason.what for reason in reasons if reason.feature == "colours"]

    assert colours(8) == ["a note foreign to the scale"]
    assert colours(9) == ["the last of 2 notes foreign to the scale"]


def test_one_pattern_kept_up_is_learnt_once(piece):
    """Two bars of p i m a, and the same with the second bar's order turned."""

    def strokes(fingers):
        at = {"p": "bass 6", "i": "inner 3", "m": "inner 2", "a": "melody 1"}
        lines = [f"{beat} 1 {at[finger]} 0 0 {finger}" for beat, finger in enumerate(fingers)]
        reasons = rated(piece("\n".join(lines))).reasons
        return next(r.what.split()[0] for r in reasons if "different strokes" in r.what)

    assert (strokes("pimapima"), strokes("pimapami")) == ("4", "6")


def test_a_place_is_learnt_once_for_each_finger_that_plays_it(piece):
    """Fret 3 of string 2 comes again: under the same finger, or under another."""

    def places(fingers):
        lines = [f"{4 * beat} 1 melody 2 3 {finger} m" for beat, finger in enumerate(fingers)]
        reasons = rated(piece("\n".join(lines))).reasons
        return next(r.what.split()[0] for r in reasons if "different places" in r.what)

    assert (places("444"), places("434"), places("432")) == ("1", "2", "3")


def test_a_hard_move_counts_besides_the_sum(piece):
    """The same two shifts, once with more time for the second: only the hardest differs."""
    slow = piece("0 1 melody 1 1 1 a \n 4 1 melody 1 7 1 a")
    quick = piece("3 1 melody 1 1 1 a \n 4 1 melody 1 7 1 a")
    assert rated(quick).score > rated(slow).score


def test_the_hardest_moves_are_averaged_over_always_as_many(piece):
    """A move of 4 bits along the neck in a second, once and nine times, of eight counted."""
    there_and_back = "\n".join(f"{n} 1 melody 1 {(1, 9)[n % 2]} 1 a" for n in range(10))
    level = level_named("advanced")
    once, often = (
        judged_features(piece(lines), level, default_player(level))["hardest"]
        for lines in ("8 1 melody 1 1 1 a \n 9 1 melody 1 9 1 a", there_and_back)
    )
    scales = difficulty_table().scales
    (move,) = moves_of(piece("0 1 melody 1 1 1 a \n 1 1 melody 1 9 1 a"))
    assert move.seconds == 1.0
    assert once == pytest.approx(log2(1 + move.bits / 8 / scales.hardest_bits))
    assert often == pytest.approx(log2(1 + move.bits / scales.hardest_bits))


def test_a_score_without_a_tempo_is_graded_slower_where_chords_are_thicker(piece):
    """Four bars of quarters: alone, and with three notes more at each stroke."""
    single = piece("\n".join(f"{n} 1 melody 1 0 0 a" for n in range(16)))
    plucked = difficulty_table().unstated.plucked
    assert usual_tempo(single) == pytest.approx(60 * plucked)
    more = ("inner 2 0 0 m", "inner 3 0 0 i", "bass 6 0 0 p")
    thick = "\n".join(f"{n} 1 {note}" for n in range(16) for note in ("melody 1 0 0 a", *more))
    assert usual_tempo(piece(thick)) == pytest.approx(60 * plucked / 2)
    last = replace(single, bars=single.bars[2:], notes=single.notes[8:])  # two bars of it
    assert usual_tempo(last) == pytest.approx(60 * plucked)


def test_shapes_are_learnt_once(piece):
    arrangement = beginner_piece(piece)
    more = replace(arrangement, shapes=(*arrangement.shapes, replace(C_SHAPE, frets=(0,) * 6)))
    assert rated(more).score > rated(arrangement).score
    again = replace(arrangement, shapes=(*arrangement.shapes, C_SHAPE))
    assert rated(again).score == rated(arrangement).score


def test_what_is_learnt_counts_from_the_bar_it_first_comes_in(piece):
    """Bar 1 a scale of seven notes, bar 2 two of its places again and F sharp, bar 3 all of
    that and the C shape. A slur is no stroke, an open string no place, another finger is.
    """
    scale = ["2 1 1", "2 3 3", "1 0 0", "1 1 1", "1 3 3", "3 2 2", "2 0 0"]
    lines = [f"{n}/2 1/2 melody {note} m" for n, note in enumerate(scale)]
    lines += ["4 1 melody 2 1 1 m", "5 1 melody 2 3 4 m hammer-on", "6 1 melody 1 2 2 a"]
    lines += ["8 1 melody 1 2 2 i", "9 1 melody 2 3 4 m", "10 1 melody 2 1 1 m"]
    marks = (
        ChordMark(onset=Fraction(8), name="C", shape=1),
        ChordMark(onset=Fraction(4), name="G", shape=0),
    )
    tab = piece("\n".join(lines), shapes=(G_SHAPE, C_SHAPE, C_SHAPE), chords=marks)
    level = level_named("advanced")
    heard = hear(tab, level, default_player(level))
    found = to_learn(perform(heard, difficulty_table().scales))
    assert found["places"] == {
        **{(2, 1, "1"): 0, (2, 3, "3"): 0, (1, 1, "1"): 0, (1, 3, "3"): 0, (3, 2, "2"): 0},
        **{(2, 3, "4"): 1, (1, 2, "2"): 1},
    }
    halves = {(Fraction(n, 2), "m"): 0 for n in range(7)}
    assert found["patterns"] == {**halves, (2, "a"): 1, (0, "i"): 2}
    assert found["colours"] == {6: 1}
    assert found["shapes"] == {"G": 1, "C ": 2}
    assert list(found["length"].values()) == [0] * 7 + [1] * 3 + [2] * 3


def test_a_larger_hand_finds_stretches_easier(piece):
    arrangement = piece("0 4 bass 5 1 1 p \n 0 4 melody 1 4 4 a")
    level = level_named("advanced")
    player = default_player(level)
    wide = player.model_copy(update={"reach": player.reach.model_copy(update={"f14": 200.0})})
    assert (
        difficulty(arrangement, level, wide).score
        < difficulty(arrangement, level, player).score
    )


def test_a_slow_stroke_is_a_share_of_the_score_and_no_reason_to_name(piece):
    """One note a second; then sixteen in the same time."""
    slow = rated(piece("0 1 melody 1 0 0 a \n 1 1 melody 2 0 0 m"))
    fast = rated(
        piece("\n".join(f"{n}/16 1/16 melody {1 + n % 2} 0 0 {'am'[n % 2]}" for n in range(16)))
    )
    assert "plucking" in {reason.feature for reason in slow.reasons}
    assert slow.told == ()
    assert "plucking" in {reason.feature for reason in fast.told}


def test_reasons_are_named_by_their_share(piece):
    told = rated(rag_with_barres(piece)).told
    points = [reason.points for reason in told]
    assert points == sorted(points, reverse=True)
    assert len(told) > 2
    assert {reason.feature for reason in told} >= {"barre", "independence"}


def test_bars_with_as_much_are_counted_with_a_reason(piece):
    """A way of four frets in a quarter of a second, and in three seconds in bar 2."""
    near = "0 1/4 melody 1 1 1 a \n 1/4 1/4 melody 1 5 1 m \n 3 1 melody 1 1 1 a"
    slow = "6 1 melody 1 5 1 m"
    (moves,) = [r for r in rated(piece(f"{near} \n {slow}")).reasons if r.feature == "moves"]
    assert moves.telling
    assert "more bar" not in moves.what
