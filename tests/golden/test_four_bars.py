"""Four bars for a beginner, whose best fingering can be explained without a computer.

The source, in C::

    tune   c'' e'' g'' e'' | f'' d'' b'   | f'' e'' d'' b' | c''
    bass   C   .   G,  .   | G,  .   D .  | G,  .   D   .  | C  .  C  .
    chord  C               | G7           | G7             | C

Why it is played as it is:

* g'' (MIDI 79) lies above a beginner's A4, so the whole tune goes down an octave, as one
  line: folding single notes would turn its steps round.
* C x32010 and G7 320001 are the two open shapes of the piece; no third one is needed.
* Bar 1: C, string 2 fret 1, lies under the first finger of the C shape; E is the open
  string 1. G, string 1 fret 3, falls to the little finger, because at that moment the ring
  finger presses the bass G, string 6 fret 3: one finger cannot be in both places.
* Bar 2: F, string 1 fret 1, is the first finger of G7. D, string 2 fret 3, is no part of
  the shape; fingers 1 to 3 belong to it and only the little finger is free. B is open.
* The thumb: the source's bass on the strong beats. On the weak ones it leaves its string,
  and stays in the shape. After G on string 6 and before D on string 4 that leaves string 5,
  where D is at fret 5, out of a beginner's reach: so B, string 5 fret 2. In bar 4, between
  two Cs on string 5, E on string 4 lies under the second finger already; G on string 6
  would ask the ring finger to hop.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest
from heard_pieces import heard

from arranger.judge import judge
from arranger.music.analysis import Analysis
from arranger.music.arrangement import Arrangement
from arranger.neck import place
from arranger.reduce import reduce
from arranger.render.tab import tab_systems
from arranger.render.written import in_written_time
from arranger.tables import default_player, level_named

LEVEL = level_named("beginner")
PLAYER = default_player(LEVEL)

TAB = """\
bar    [A] 1             2                 3                 4
        C                 G7                                  C
left    1       4         1   4             1       4         1
    e |-----0---3---0---|-1---------------|-1---0-----------|-----------------||
    B |-1---------------|-----3---0-------|---------3---0---|-1---------------||
    G |-----------------|-----------------|-----------------|-----------------||
    D |-----2-----------|---------0-------|---------0-------|-----2-------2---||
    A |-3-----------3---|-----2-------2---|-----2-----------|-3-------3-------||
    E |---------3-------|-3---------------|-3-----------3---|-----------------||
right   m   a   m   a     a   m   m   |     a   a   m   m     m   |   |   |
thumb   p   p   p   p     p   p   p   p     p   p   p   p     p   p   p   p
left    3   2   3   3     3   2       2     3   2       3     3   2   3   2
count   1 & 2 & 3 & 4 &   1 & 2 & 3 & 4 &   1 & 2 & 3 & 4 &   1 & 2 & 3 & 4 &"""


@pytest.fixture(scope="module")
def source() -> Analysis:
    off_c, off_g = "r:1 E3+G3:1 r:1 E3+G3:1", "r:1 F3+B3:1 r:1 F3+B3:1"
    return heard(
        "C5:1 E5:1 G5:1 E5:1 | F5:1 D5:1 B4:2 | F5:1 E5:1 D5:1 B4:1 | C5:4",
        "C3:1 r:1 G2:1 r:1 | G2:1 r:1 D3:1 r:1 | G2:1 r:1 D3:1 r:1 | C3:1 r:1 C3:1 r:1",
        f"{off_c} | {off_g} | {off_g} | {off_c}",
        chords="C:4 G7:8 C:4",
    )


@pytest.fixture(scope="module")
def placed(source: Analysis) -> Arrangement:
    reduction = reduce(source, level=LEVEL, level_name="beginner", player=PLAYER, key="C")
    return place(reduction, level=LEVEL, player=PLAYER)


def played(placed: Arrangement, voice: str) -> list[tuple[Fraction, int, int, str]]:
    """Onset, string, fret and left finger of a voice."""
    return [
        (note.onset, note.string, note.fret, note.left)
        for note in placed.notes
        if note.voice == voice
    ]


def test_the_tune_goes_down_an_octave_as_one_line(
    source: Analysis, placed: Arrangement
) -> None:
    sung = [source.score.notes[index].midi - 12 for index in source.melody]
    assert [note.midi for note in placed.notes if note.voice == "melody"] == sung


def test_two_open_shapes_are_enough(placed: Arrangement) -> None:
    assert [shape.shorthand for shape in placed.shapes] == ["x32010", "320001"]


def test_the_little_finger_takes_g_because_the_ring_finger_has_the_bass(
    placed: Arrangement,
) -> None:
    assert (2, 1, 3, "4") in played(placed, "melody")
    assert (2, 6, 3, "3") in played(placed, "bass")


def test_d_falls_to_the_finger_that_the_shape_leaves_free(placed: Arrangement) -> None:
    assert (5, 2, 3, "4") in played(placed, "melody")
    assert (10, 2, 3, "4") in played(placed, "melody")


def test_the_thumb_leaves_its_string_and_stays_in_the_shape(placed: Arrangement) -> None:
    bass = played(placed, "bass")
    assert [onset for onset, *_ in bass] == list(range(16))
    strings = [string for _, string, _, _ in bass]
    assert all(one != other for one, other in pairwise(strings))
    assert (5, 5, 2, "2") in bass
    assert bass[12:] == [(12, 5, 3, "3"), (13, 4, 2, "2"), (14, 5, 3, "3"), (15, 4, 2, "2")]


def test_it_is_the_best_and_the_judge_agrees(source: Analysis, placed: Arrangement) -> None:
    assert placed.proof.gap == 0
    assert judge(placed, source, LEVEL, PLAYER).violations == ()


def test_the_tab(placed: Arrangement) -> None:
    systems = ["\n".join(line.rstrip() for line in lines) for lines in tab_systems(placed)]
    assert "\n".join(systems) == TAB
    assert in_written_time(placed) == placed
