"""Lessons for pieces small enough to know what a teacher would say."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest

from arranger.music.arrangement import ChordMark, Shape
from arranger.music.verdict import BarDifficulty, Difficulty, Fidelity, Reason, Verdict
from arranger.tables.teaching import teaching
from arranger.teach import teach
from arranger.teach.bars import in_words, tab_bars
from arranger.teach.changes import changes
from arranger.teach.recurring import recurring_pair
from arranger.teach.right_hand import pattern_of
from arranger.teach.tempo import rungs

C = Shape(name="C", frets=(None, 3, 2, 0, 1, 0), fingers=(None, "3", "2", None, "1", None))
AM = Shape(name="Am", frets=(None, 0, 2, 2, 1, 0), fingers=(None, None, "2", "3", "1", None))
G = Shape(name="G", frets=(3, 2, 0, 0, 0, 3), fingers=("2", "1", None, None, None, "3"))
F = Shape(name="F", frets=(1, 3, 3, 2, 1, 1), fingers=tuple("134211"), barre=1)

A_BAR = ("0 1 bass 5 3 3 p", "0 1 melody 1 0 0 m", "1 1 bass 4 2 2 p", "2 1 melody 2 1 1 m")
B_BAR = ("0 1 bass 6 3 2 p", "0 1 melody 1 3 3 a", "2 1 bass 4 0 0 p", "3 1 melody 2 0 0 m")


def lines_of(*bars):
    """Bars of 4/4, each a tuple of lines whose onsets count from the start of the bar."""
    found = []
    for place, bar in enumerate(bars):
        for line in bar:
            onset, rest = line.split(" ", 1)
            found.append(f"{4 * place + Fraction(onset)} {rest}")
    return "\n".join(found)


def changed(bar, note, fret):
    """A bar with another fret for one of its notes."""
    words = bar[note].split()
    words[4] = str(fret)
    return (*bar[:note], " ".join(words), *bar[note + 1 :])


def judged(arrangement):
    """A verdict in which every bar is harder than the one before."""
    return Verdict(
        violations=(),
        fidelity=Fidelity(
            melody_kept=1, grid_fidelity=1, contour_breaks=0, bass_roots=1, thirds=1,
            thumb_beats=1, alternation=1,
        ),
        difficulty=Difficulty(
            score=20.0,
            band="beginner",
            bars=tuple(
                BarDifficulty(bar=bar.bar, points=10.0 + bar.bar, features=(("moves", 9.0),))
                for bar in arrangement.bars
            ),
            reasons=(),
        ),
    )  # fmt: skip


def lesson_for(arrangement):
    return teach(arrangement, judged(arrangement)).steps


def step(steps, kind):
    return next((step for step in steps if step.kind == kind), None)


def test_the_steps_come_in_a_teachers_order(piece):
    marks = [ChordMark(onset=Fraction(8 * i), name="C", shape=i % 2) for i in range(4)]
    arrangement = piece(
        lines_of(*(A_BAR, B_BAR) * 8), shapes=(C, G), chords=marks, sections={1: "A", 9: "A"}
    )
    kinds = list(dict.fromkeys(step.kind for step in lesson_for(arrangement)))
    assert kinds == [
        "pair", "right-hand", "shapes", "change", "coordination", "loop", "day", "ladder",
        "closing", "care",
    ]  # fmt: skip


def test_every_bar_and_shape_named_exists(piece):
    marks = [ChordMark(onset=Fraction(4 * i), name="C", shape=i % 3) for i in range(12)]
    arrangement = piece(
        lines_of(*(A_BAR, B_BAR, changed(A_BAR, 3, 3)) * 4), shapes=(C, G, F), chords=marks
    )
    numbers = {bar.bar for bar in arrangement.bars}
    for found in lesson_for(arrangement):
        assert set(found.bars) <= numbers
        assert set(found.shapes) <= set(range(3))
        for low, high in re.findall(r"bars? (\d+)(?:–(\d+))?", found.title + found.text):
            assert {int(low), int(high or low)} <= numbers


def test_the_pair_and_its_share(piece):
    """A B A B' C A B: bars 1-2 return in 6-7, 3-4 differ in one note; 4 bars of 7, and 6."""
    c_bar = ("0 4 melody 1 0 0 a",)
    arrangement = piece(
        lines_of(A_BAR, B_BAR, A_BAR, changed(B_BAR, 3, 1), c_bar, A_BAR, B_BAR)
    )
    found = step(lesson_for(arrangement), "pair")
    assert found.title == "Learn bars 1–2 first"
    assert found.bars == (1, 2, 6, 7)
    assert "twice (again in bars 6–7): 57% of the piece" in found.text
    assert "In bars 3–4 one note is different; with those it is 86%" in found.text


def others_than(count):
    """Bars of which no two are alike."""
    return [
        (f"0 1 melody 1 {k} 1 a", f"{1 + k % 3} 1 bass 6 {k} 1 p") for k in range(1, count + 1)
    ]


def test_a_pair_leads_from_a_quarter_of_the_piece(piece):
    """Twice two bars are a quarter of 16, and less of 17; a pick-up is not counted."""
    pair = (A_BAR, B_BAR)
    of_sixteen = piece(lines_of(*pair, *others_than(12), *pair))
    assert "25% of the piece" in step(lesson_for(of_sixteen), "pair").text
    steps = lesson_for(piece(lines_of(*pair, *others_than(13), *pair)))
    assert step(steps, "pair") is None
    assert "No two bars make up much of this piece" in steps[0].text


def test_a_pair_that_a_repeat_sign_brings_is_printed_once(piece):
    strain = [A_BAR, B_BAR, *others_than(2), A_BAR, B_BAR]
    arrangement = piece(lines_of(*strain, *strain), sections={1: "A", 7: "A"})
    found = step(lesson_for(arrangement), "pair")
    assert found.bars == (1, 2, 5, 6)
    assert "They come four times (again in bars 5–6): 67% of the piece" in found.text


def test_no_pair_where_nothing_returns(piece):
    arrangement = piece(lines_of(A_BAR, B_BAR, changed(A_BAR, 3, 3)))
    assert step(lesson_for(arrangement), "pair") is None


def test_pairs_do_not_overlap(piece):
    """Five equal bars hold the pair twice, not four times."""
    bars = tab_bars(piece(lines_of(*[A_BAR] * 5)))
    assert recurring_pair(bars, 1).times == (0, 2)


def test_a_bar_is_what_stands_in_the_tab(piece, swap):
    """How long a note is held, and which finger plays it, makes no other bar."""
    arrangement = piece(lines_of(A_BAR, A_BAR))
    held = swap(arrangement, 3, length=Fraction(2), right="a")
    one, other = tab_bars(held)
    assert one.tab == other.tab


def test_the_right_hand_alone(piece):
    arrangement = piece(lines_of(A_BAR, B_BAR, B_BAR))
    found = step(lesson_for(arrangement), "right-hand")
    assert found.bars == (2,)
    assert "(p) alone on strings 6, 4" in found.text
    assert "add m and a on strings 2 and 1" in found.text
    assert "1 p+a, 3 p, 4 m" in found.text
    assert "2 of 3 bars" in found.text


def test_a_rare_pattern_gives_way_to_the_rhythm(piece):
    """Nine bars in one rhythm, no three of them plucked by the same fingers."""
    hands = ["mm", "ma", "am", "aa", "mi", "im", "ii", "ia", "ai"]
    bars = [
        ("0 1 bass 5 0 0 p", f"0 1 melody 1 {k} 1 {hand[0]}", f"2 1 melody 1 0 0 {hand[1]}")
        for k, hand in enumerate(hands, start=1)
    ]
    found = step(lesson_for(piece(lines_of(*bars))), "right-hand")
    assert "9 of 9 bars have this rhythm" in found.text
    assert found.title == "The right hand of bar 1 alone, on open strings"


def test_where_no_rhythm_returns_the_thumb_leads(piece):
    """Nine bars, in each the tune another place; the thumb always on one and three."""
    bars = [
        ("0 1 bass 5 0 0 p", "2 1 bass 4 0 0 p", f"{Fraction(k, 3)} 1/3 melody 1 {k} 1 a")
        for k in range(1, 10)
    ]
    found = step(lesson_for(piece(lines_of(*bars))), "right-hand")
    assert found.title == "The thumb of bar 1 alone, on open strings"
    assert "In 9 of 9 bars the thumb plucks on 1 and 3." in found.text


def test_patterns_count_as_under_the_tab(piece):
    """A 2/4 rag written with eighths: the sixteenth after the first is 1 and."""
    arrangement = piece(
        "0 1/2 bass 5 0 0 p \n 1/4 1/4 melody 1 0 0 m \n 1/2 1/2 bass 4 0 0 p",
        meter=(2, 4),
        beat=Fraction(1, 2),
    )
    assert "1 p, 1-e m, 1& p" in step(lesson_for(arrangement), "right-hand").text
    arrangement = replace(arrangement, written_scale=2)
    (bar,) = tab_bars(arrangement)
    assert pattern_of(bar) == ((0, "p"), (Fraction(1, 2), "m"), (1, "p"))
    assert "1 p, 1& m, 2 p" in step(lesson_for(arrangement), "right-hand").text


def test_a_bar_in_six_is_counted_in_eighths(piece):
    arrangement = piece(
        "0 3/2 bass 5 0 0 p \n 1 1/2 melody 1 0 0 m \n 3/2 3/2 bass 4 0 0 p",
        meter=(6, 8),
        beat=Fraction(3, 2),
    )
    assert "1 p, 3 m, 4 p" in step(lesson_for(arrangement), "right-hand").text


def test_a_bar_that_comes_again_is_named_once(piece):
    """Bars 3 and 7 look alike; the change between 4 and 5 is no bar's before."""
    marks = [ChordMark(onset=Fraction(4 * i), name="", shape=i // 2 % 2) for i in range(8)]
    arrangement = piece(
        lines_of(*(A_BAR, A_BAR, B_BAR, B_BAR) * 2), shapes=(C, G), chords=marks
    )
    ranked = changes(arrangement, tab_bars(arrangement), teaching().change)
    found = {(c.start, c.goal): [bar.number for bar in c.bars] for c in ranked}
    assert found == {(0, 1): [3], (1, 0): [5]}


def test_changes_are_ranked_by_what_the_fingers_do(piece):
    """C to Am: finger 3 jumps, the others stay. C to F: everything moves and lies down."""
    marks = [
        ChordMark(onset=Fraction(4 * i), name="", shape=shape)
        for i, shape in enumerate([0, 1, 0, 2, 2, 0])
    ]
    arrangement = piece(lines_of(*[A_BAR] * 6), shapes=(C, AM, F), chords=marks)
    ranked = changes(arrangement, tab_bars(arrangement), teaching().change)
    assert (ranked[0].start, ranked[0].goal) == (0, 2)
    assert {(c.start, c.goal) for c in ranked} == {(0, 1), (1, 0), (0, 2), (2, 0)}
    to_am = next(c for c in ranked if (c.start, c.goal) == (0, 1))
    assert [bar.number for bar in to_am.bars] == [2]
    points = teaching().change
    # string 5 fret 3 to string 3 fret 2: two strings and a fret
    assert to_am.points == pytest.approx(points.jump + 3 * points.step)


def test_a_chord_without_a_shape_parts_two_changes(piece):
    """C, then each note with its own finger, then F: nobody goes from C to F."""
    marks = [
        ChordMark(onset=Fraction(4 * i), name="", shape=shape)
        for i, shape in enumerate([0, None, 2, 0])
    ]
    arrangement = piece(lines_of(*[A_BAR] * 4), shapes=(C, AM, F), chords=marks)
    found = changes(arrangement, tab_bars(arrangement), teaching().change)
    assert [(c.start, c.goal) for c in found] == [(2, 0)]


E = Shape(name="E", frets=(0, 2, 2, 1, 0, 0), fingers=(None, "2", "3", "1", None, None))
A = Shape(name="A", frets=(None, 0, 2, 2, 2, 0), fingers=(None, None, "1", "2", "3", None))
A_HIGH = replace(A, frets=(None, 0, 5, 5, 5, 0))
G7 = Shape(name="G7", frets=(3, 2, 0, 0, 0, 1), fingers=("3", "2", None, None, None, "1"))


@pytest.mark.parametrize(
    ("start", "goal", "said"),
    [
        (C, AM, "Fingers 1 and 2 stay down; finger 3 to string 3, fret 2."),
        (E, AM, "The fingers keep their form and move as one, one string towards string 1."),
        (A, A_HIGH, "The fingers keep their form and move as one, three frets up."),
        (
            C,
            G7,
            "Nothing stays down: finger 1 to string 1, fret 1; finger 2 to string 5, fret 2;"
            " finger 3 to string 6, fret 3.",
        ),
        (
            A,
            F,
            "Finger 2 stays down; finger 1 to fret 1 over strings 6 to 1; finger 3 to string"
            " 5, fret 3; finger 4 to string 4, fret 3. Move finger 3 first, it has the longest"
            " way.",
        ),
    ],
)
def test_a_drill_says_what_the_hand_does(piece, start, goal, said):
    marks = [ChordMark(onset=Fraction(4 * i), name="", shape=i) for i in range(2)]
    arrangement = piece(lines_of(A_BAR, A_BAR), shapes=(start, goal), chords=marks)
    assert step(lesson_for(arrangement), "change").text == f"{said} It comes in bar 2."


def test_drills_for_the_hardest_changes_only(piece):
    marks = [ChordMark(onset=Fraction(4 * i), name="", shape=i % 4) for i in range(8)]
    arrangement = piece(lines_of(*[A_BAR] * 8), shapes=(C, AM, F, G), chords=marks)
    drills = [step for step in lesson_for(arrangement) if step.kind == "change"]
    assert len(drills) == teaching().drills
    assert all(len(drill.shapes) == 2 and drill.bars for drill in drills)
    shapes = step(lesson_for(arrangement), "shapes")
    assert shapes.title == "4 shapes"
    assert shapes.text.startswith("C, Am, F and G.")
    assert "Drill the hardest three" in shapes.text


def test_shapes_of_one_name_are_told_apart(piece):
    other = replace(G, frets=(3, None, 0, 0, 0, 3), fingers=("3", None, None, None, None, "4"))
    marks = [ChordMark(onset=Fraction(4 * i), name="G", shape=i) for i in range(2)]
    arrangement = piece(lines_of(A_BAR, A_BAR), shapes=(G, other), chords=marks)
    assert step(lesson_for(arrangement), "change").title == "Drill G 320003 → G 3x0003"


def test_fingerings_of_one_shape_are_told_apart(piece):
    other = replace(G, fingers=("3", "2", None, None, None, "4"))
    marks = [ChordMark(onset=Fraction(4 * i), name="G", shape=i) for i in range(2)]
    arrangement = piece(lines_of(A_BAR, A_BAR), shapes=(G, other), chords=marks)
    title = step(lesson_for(arrangement), "change").title
    assert title == "Drill G 320003 with 2 1 3 → G 320003 with 3 2 4"


COORDINATION = {
    "A slur under the thumb": """
        0 1 melody 1 0 0 a
        1 1 bass 5 0 0 p
        1 1 melody 1 3 3 a hammer-on
    """,
    "A barre that flattens": "0 2 bass 4 2 1 p \n 1 1 melody 1 2 1 a",
    "A shift": "0 1 melody 1 1 1 a \n 1 1 melody 1 5 1 a",
    "A finger that hops in the bass": """
        0 1 bass 5 3 3 p
        1 1 bass 4 2 2 p
        2 1 bass 6 3 3 p
    """,
    "The tune against the thumb": "1/2 1 melody 1 0 0 a \n 1 1 bass 5 0 0 p",
}


@pytest.mark.parametrize(("title", "lines"), COORDINATION.items(), ids=COORDINATION)
def test_points_of_coordination(piece, title, lines):
    arrangement = piece(lines)
    found = [step for step in lesson_for(arrangement) if step.kind == "coordination"]
    assert [step.title for step in found] == [f"{title}: bar 1"]


@pytest.mark.parametrize(
    ("between", "said"),
    [("0 1 inner 2 0 0 m", "Set it on its tip"), ("0 1 inner 5 0 0 m", "Set it as a barre")],
)
def test_a_finger_lies_down_at_once_only_where_no_string_under_it_sounds_open(
    piece, between, said
):
    found = lesson_for(piece(f"0 2 bass 4 2 1 p \n {between} \n 1 1 melody 1 2 1 a"))
    assert said in next(step.text for step in found if step.title.startswith("A barre"))


@pytest.mark.parametrize(
    "lines",
    [
        "0 1 bass 5 3 3 p \n 2 1 bass 6 3 4 p",  # two fingers
        "0 1 bass 5 3 3 p \n 1 1 melody 2 3 3 m \n 2 1 bass 6 3 3 p",  # busy in between
        "0 1 bass 5 3 3 p \n 4 1 bass 6 3 3 p",  # a bar later
        "0 1 bass 5 3 3 p \n 2 1 bass 5 3 3 p",  # the same string
    ],
)
def test_a_finger_that_does_not_hop_in_the_bass_is_not_told(piece, lines):
    titles = [step.title for step in lesson_for(piece(lines))]
    assert not any(title.startswith("A finger that hops") for title in titles)


def test_a_hand_with_time_to_travel_makes_no_shift(piece):
    """From fret 1 to fret 5 with the same finger, but more than a bar later."""
    arrangement = piece("0 1 melody 1 1 1 a \n 6 1 melody 1 5 1 a")
    assert not any(step.title.startswith("A shift") for step in lesson_for(arrangement))


def test_the_hardest_bar_comes_from_the_verdict(piece):
    found = lesson_for(piece(lines_of(A_BAR, B_BAR, A_BAR)))
    hardest = [step for step in found if step.title.startswith("The hardest place")]
    assert hardest[0].bars == (3,)


def test_the_hardest_bar_is_told_by_what_stands_out_in_it(piece):
    """Plucking is the largest share everywhere; the stretch is what bar 3 has more of."""
    arrangement = piece(lines_of(A_BAR, B_BAR, A_BAR))
    verdict = judged(arrangement)
    shares = [(("plucking", 8.0),), (("plucking", 8.0),), (("plucking", 8.5), ("stretch", 3.0))]
    bars = tuple(
        replace(bar, features=share)
        for bar, share in zip(verdict.difficulty.bars, shares, strict=True)
    )

    def said(*telling):
        reasons = tuple(
            Reason(bar=1, what="", points=1.0, feature=name, telling=name in telling)
            for name in ("plucking", "stretch")
        )
        graded = replace(verdict.difficulty, bars=bars, reasons=reasons)
        return step(
            [
                found
                for found in teach(arrangement, replace(verdict, difficulty=graded)).steps
                if found.title.startswith("The hardest place")
            ],
            "coordination",
        ).text

    assert said("plucking", "stretch").startswith(
        "What asks more of you here than elsewhere: the"
    )
    assert "the stretch" in said("plucking", "stretch")
    assert "how fast" in said("plucking")
    assert said().startswith("Play it alone")


def test_loops_of_eight_bars_by_section(piece):
    """11 bars (8 and a rest of 3) and again: a repeat sign, so each loop is told once."""
    strain = [A_BAR, B_BAR] * 5 + [A_BAR]
    arrangement = piece(lines_of(*strain, *strain), sections={1: "A", 12: "A"})
    loops = [step for step in lesson_for(arrangement) if step.kind == "loop"]
    assert [loop.title for loop in loops] == [
        "Loop bars 1–8 of part A",
        "Loop bars 9–11 of part A",
    ]
    assert "again" not in loops[0].text


def test_a_section_with_a_name_is_called_by_it(piece):
    arrangement = piece(
        lines_of(*[A_BAR, B_BAR] * 2, *others_than(8)), sections={1: "Intro", 5: "A"}
    )
    titles = [step.title for step in lesson_for(arrangement) if step.kind == "loop"]
    assert titles == ["Loop bars 1–4 of the intro", "Loop bars 5–12 of part A"]


def test_a_loop_that_is_printed_again_is_named(piece):
    """A B A, each of eight bars: no repeat sign brings the last."""
    strain, other = [A_BAR, B_BAR] * 4, others_than(8)
    arrangement = piece(lines_of(*strain, *other, *strain), sections={1: "A", 9: "B", 17: "A"})
    loops = [step for step in lesson_for(arrangement) if step.kind == "loop"]
    assert "It comes again in bars 17–24." in loops[0].text


def test_a_second_ending_is_no_loop_of_its_own(piece):
    strain = [A_BAR, B_BAR] * 4
    arrangement = piece(
        lines_of(*strain, *strain[:-1], changed(B_BAR, 3, 1)), sections={1: "A", 9: "A"}
    )
    loops = [step for step in lesson_for(arrangement) if step.kind == "loop"]
    assert [loop.title for loop in loops] == ["Loop bars 1–8 of part A"]
    assert "The second time with bar 16 (second ending)" in loops[0].text


def test_a_loop_tells_what_was_drilled_before(piece):
    """The change is drilled, the hardest bar (the last of the piece) practised alone."""
    marks = [ChordMark(onset=Fraction(4 * i), name="", shape=int(i == 2)) for i in range(4)]
    arrangement = piece(
        lines_of(*[A_BAR] * 8, *[B_BAR] * 8), shapes=(C, G), chords=marks, sections={1: "A"}
    )
    first, second = [step for step in lesson_for(arrangement) if step.kind == "loop"]
    assert first.text.endswith("Watch for C → G and back in bars 3–4.")
    assert second.text.endswith("Watch for the hardest place in bar 16.")


def test_a_short_rest_joins_the_loop_before(piece):
    loops = [step for step in lesson_for(piece(lines_of(*[A_BAR] * 10))) if step.kind == "loop"]
    assert [len(loop.bars) for loop in loops] == [10]


def test_a_pick_up_goes_with_the_first_loop(piece):
    arrangement = piece(lines_of(*[A_BAR] * 9))
    from_zero = tuple(replace(bar, bar=bar.bar - 1) for bar in arrangement.bars)
    loops = [
        step for step in lesson_for(replace(arrangement, bars=from_zero)) if step.kind == "loop"
    ]
    assert loops[0].bars == tuple(range(9))
    assert loops[0].title == "Loop bars 1–8 with the pick-up"


def test_where_a_repeat_differs(piece):
    """Eight bars and again, only the last note of the last bar is another."""
    strain = [A_BAR, B_BAR] * 4
    ending = [*strain[:-1], changed(B_BAR, 3, 1)]
    arrangement = piece(lines_of(*strain, *ending), sections={1: "A", 9: "A"})
    found = step(lesson_for(arrangement), "repeats")
    assert found.title == "Where the repeat of bars 1–8 differs"
    assert found.bars == (16,)
    assert found.text == (
        "The second time bar 16 (second ending) stands for bar 8: its last note is different."
    )


def test_an_ending_with_little_in_common_is_a_bar_of_its_own(piece):
    """Nobody learns a bar as a list of six notes that another has not."""
    strain = [A_BAR, B_BAR] * 4
    other = tuple(changed(B_BAR, note, 5)[note] for note in range(4))
    arrangement = piece(lines_of(*strain, *strain[:-1], other), sections={1: "A", 9: "A"})
    found = step(lesson_for(arrangement), "repeats")
    assert found.text.endswith("most of it is new, so learn it as a bar of its own.")


def test_where_bars_that_are_printed_again_differ(piece):
    """The same bars under another letter: no repeat sign, both are printed."""
    strain = [A_BAR, B_BAR] * 4
    ending = [*strain[:-1], changed(B_BAR, 3, 1)]
    arrangement = piece(lines_of(*strain, *ending), sections={1: "A", 9: "B"})
    found = step(lesson_for(arrangement), "repeats")
    assert found.title == "Where bars 9–16 differ"
    assert "bars 1–8 again, but for bar 16: its last note is different" in found.text


def test_only_printed_bars_are_named(piece):
    """Bars 9 to 15 are a repeat: no step speaks of them."""
    strain = [A_BAR, B_BAR] * 4
    ending = [*strain[:-1], changed(B_BAR, 3, 1)]
    marks = [ChordMark(onset=Fraction(4 * i), name="C", shape=i % 2) for i in range(16)]
    arrangement = piece(
        lines_of(*strain, *ending), shapes=(C, G), chords=marks, sections={1: "A", 9: "A"}
    )
    printed = {*range(1, 9), 16}
    for found in lesson_for(arrangement):
        assert set(found.bars) <= printed
        for low, high in re.findall(r"bars? (\d+)(?:–(\d+))?", found.title + found.text):
            assert set(range(int(low), int(high or low) + 1)) <= printed


def test_the_ladder_ends_at_the_target(piece):
    arrangement = replace(piece(lines_of(A_BAR), tempo=60.0), target_tempo=90.0)
    tempos = rungs(arrangement, teaching())
    assert tempos[0] == pytest.approx(36.0)
    assert 60.0 in tempos
    assert tempos[-1] == 90.0
    assert all(
        low < high <= low * teaching().ladder_ratio * 1.001 for low, high in pairwise(tempos)
    )


def test_the_metronome_ticks_with_the_thumb(piece):
    """60 quarters a minute with the thumb on eighths is 120 ticks."""
    arrangement = piece(lines_of(A_BAR), tempo=60.0, beat=Fraction(1, 2))
    assert "120 is your goal" in step(lesson_for(arrangement), "ladder").text


def test_a_slow_beat_is_divided_for_the_metronome(piece):
    """6/8: 45 quarters a minute are 30 beats of the thumb, which no metronome ticks."""
    arrangement = piece(lines_of(A_BAR), tempo=45.0, meter=(6, 8), beat=Fraction(3, 2))
    text = step(lesson_for(arrangement), "ladder").text
    assert "three times to a beat of the thumb: 54" in text
    assert "90 (30 over the music) is your goal" in text


def test_a_fast_beat_clicks_every_second_time(piece):
    """240 quarters a minute: metronomes end at 208."""
    arrangement = piece(lines_of(A_BAR), tempo=240.0)
    text = step(lesson_for(arrangement), "ladder").text
    assert "on every second beat of the thumb: 72" in text
    assert "120 (240 over the music) is your goal" in text


def test_a_fast_beat_of_three_clicks_once_a_bar(piece):
    arrangement = piece(lines_of(A_BAR), tempo=240.0, meter=(3, 4))
    text = step(lesson_for(arrangement), "ladder").text
    assert "on every third beat of the thumb: 48" in text


def test_the_end(piece):
    found = step(lesson_for(piece(lines_of(*[A_BAR] * 4))), "closing")
    assert found.bars == (3, 4)


def test_the_end_of_a_repeat_is_its_last_pass(piece):
    strain = [A_BAR, B_BAR] * 4
    found = step(
        lesson_for(piece(lines_of(*strain, *strain), sections={1: "A", 9: "A"})), "closing"
    )
    assert found.bars == (7, 8)
    assert "In bars 7–8, the last time through," in found.text


def test_care_stands_with_its_sources(piece):
    found = lesson_for(piece(lines_of(A_BAR)))[-1]
    assert found.kind == "care"
    assert "BAPAM" in found.text
    assert "5 minutes in every 30" in found.text
    assert "clinician" in found.text


def test_an_empty_piece_still_warns(piece):
    kinds = [step.kind for step in lesson_for(piece(""))]
    assert kinds == ["care"]


def test_bars_in_words(piece):
    bars = tab_bars(piece(lines_of(*others_than(9))))
    assert in_words([bars[2]]) == "bar 3"
    assert in_words(bars[k] for k in (8, 0, 1, 2, 4, 5)) == "bars 1–3, 5–6 and 9"
    assert in_words([bars[3], bars[3]]) == "bar 4"


def test_a_pick_up_and_a_second_ending_in_words(piece):
    """The sheet numbers no pick-up; its bar 16 follows bar 8 as the second ending."""
    strain = [A_BAR, B_BAR] * 4
    ending = [*strain[:-1], changed(B_BAR, 3, 1)]
    bars = tab_bars(piece(lines_of(*strain, *ending), sections={1: "A", 9: "A"}))
    assert in_words(bars) == "bars 1–8 and 16 (second ending)"
    assert in_words([bars[7]]) == "bar 8"
    assert in_words([bars[9]]) == "bar 2"
    arrangement = piece(lines_of(*[A_BAR] * 3))
    from_zero = tuple(replace(bar, bar=bar.bar - 1) for bar in arrangement.bars)
    bars = tab_bars(replace(arrangement, bars=from_zero))
    assert in_words(bars[:1]) == "the pick-up"
    assert in_words(bars[:2]) == "the pick-up and bar 1"
    assert in_words(bars) == "the pick-up and bars 1–2"


def test_there_and_back_is_one_drill(piece):
    marks = [ChordMark(onset=Fraction(4 * i), name="", shape=i % 2) for i in range(4)]
    arrangement = piece(lines_of(*[A_BAR] * 4), shapes=(C, G), chords=marks)
    drills = [step for step in lesson_for(arrangement) if step.kind == "change"]
    assert [drill.title for drill in drills] == ["Drill C → G and back"]
    assert drills[0].bars == (2, 3)  # bar 4 is bar 2 again


def test_half_another_strain_is_no_repeat(piece):
    strain = [A_BAR, B_BAR] * 4
    other = [*strain[:4], *[changed(B_BAR, 3, 1)] * 4]
    arrangement = piece(lines_of(*strain, *other), sections={1: "A", 9: "B"})
    assert step(lesson_for(arrangement), "repeats") is None
