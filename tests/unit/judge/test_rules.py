"""Every rule forbids exactly what it should: one small offence each, and its legal twin.

Each case is a few notes, ``onset length voice string fret left right [slur]``, judged as
a named level. An offence must be reported under its own rule and no other.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from arranger.judge import violations
from arranger.judge.rules import hand_violations
from arranger.music.arrangement import ChordMark, Shape
from arranger.music.key import parse_key
from arranger.tables import PlayerFile, default_player, level_named, player_of

C_SHAPE = Shape(
    name="C", frets=(None, 3, 2, 0, 1, 0), fingers=(None, "3", "2", None, "1", None)
)
WIDE_SHAPE = Shape(  # from fret 1 to fret 5: 163 - 36 = 127 mm between fingers 1 and 2
    name="X", frets=(None, 5, None, None, 1, None), fingers=(None, "2", None, None, "1", None)
)

GOOD = """
    0 1 bass 5 3 3 p
    0 1 melody 2 1 1 m
    1 1 bass 4 2 2 p
    1 1 melody 1 0 0 m
    2 1 bass 5 3 3 p
    2 1 melody 1 3 4 a
    3 1 melody 1 5 4 a
"""


def judged(arrangement, level=None, techniques=None):
    known = level_named(level or arrangement.level)
    player = default_player(known)
    if techniques is not None:
        player = player_of(PlayerFile(techniques=tuple(techniques)), known)
    return violations(arrangement, known, player)


def rules_broken(arrangement, level=None, techniques=None):
    return {violation.rule for violation in judged(arrangement, level, techniques)}


def test_a_c_shape_with_alternating_bass_is_right(piece):
    assert judged(piece(GOOD, shapes=(C_SHAPE,))) == ()


LEFT_HAND_OFFENCES = {
    "no finger on a fretted string": ("open means no finger", "0 1 melody 1 3 0 a", "beginner"),
    "a finger on an open string": ("open means no finger", "0 1 melody 1 0 1 a", "beginner"),
    "a finger on a fret and on an open string": (
        "open means no finger",
        "0 1 bass 5 2 1 p \n 0 1 melody 1 0 1 a",
        "beginner",
    ),
    "second finger on frets 2 and 3": (
        "one place for a finger",
        "0 2 bass 5 2 2 p \n 1 1 melody 1 3 2 a",
        "beginner",
    ),
    "a beginner's half barre": (
        "barre allowed",
        "0 1 bass 4 2 1 p \n 0 1 melody 3 2 1 m",
        "beginner",
    ),
    "three strings where two are allowed": (
        "barre allowed",
        "0 1 bass 4 2 1 p \n 0 1 melody 2 2 1 m",
        "elementary",
    ),
    "a barre above the level's fret": (
        "barre allowed",
        "0 1 bass 4 4 1 p \n 0 1 melody 3 4 1 m",
        "elementary",
    ),
    "a small barre by the third finger at elementary": (
        "barre allowed",
        "0 1 bass 4 3 3 p \n 0 1 melody 3 3 3 m",
        "elementary",
    ),
    "the third finger over four strings": (
        "barre allowed",
        "0 1 bass 5 3 3 p \n 0 1 melody 2 3 3 m",
        "intermediate",
    ),
    "an open string under a barre": (
        "nothing lower under a barre",
        "0 1 bass 5 2 1 p \n 0 1 inner 3 0 0 i \n 0 1 melody 1 2 1 a",
        "intermediate",
    ),
    "third finger behind the second": (
        "fingers in order",
        "0 1 bass 5 3 2 p \n 0 1 melody 3 2 3 m",
        "beginner",
    ),
    "fingers 1 and 2 from fret 1 to fret 4: 98 mm": (
        "within reach",
        "0 1 bass 5 1 1 p \n 0 1 melody 2 4 2 m",
        "elementary",
    ),
    "thumb over for one who does not": ("thumb over", "0 1 bass 6 3 T p", "beginner"),
}


@pytest.mark.parametrize(
    ("rule", "lines", "level"), LEFT_HAND_OFFENCES.values(), ids=LEFT_HAND_OFFENCES
)
def test_the_left_hand_cannot(piece, rule, lines, level):
    assert rules_broken(piece(lines, level=level)) == {rule}


LEFT_HAND_LEGAL = {
    "two fingers in one fret, in any order": (
        "0 1 bass 5 2 2 p \n 0 1 melody 3 2 1 m",
        "beginner",
    ),
    "a finger moves when its note has ended": (
        "0 1 bass 5 2 2 p \n 1 1 melody 1 3 2 a",
        "beginner",
    ),
    "a small barre by the third finger": (
        "0 1 bass 4 3 3 p \n 0 1 melody 3 3 3 m",
        "intermediate",
    ),
    "a barre over two strings": ("0 1 bass 4 2 1 p \n 0 1 melody 3 2 1 m", "elementary"),
    "a full barre at fret 5": ("0 1 bass 6 5 1 p \n 0 1 melody 1 5 1 a", "intermediate"),
    "an open string beside the barre": (
        "0 1 bass 4 2 1 p \n 0 1 inner 3 2 1 i \n 0 1 melody 1 0 0 a",
        "elementary",
    ),
    "a higher fret under the barre": (
        "0 1 bass 5 2 1 p \n 0 1 inner 3 3 2 i \n 0 1 melody 1 2 1 a",
        "intermediate",
    ),
    "fingers 1 and 4 from fret 1 to fret 5: 127 mm": (
        "0 1 bass 5 1 1 p \n 0 1 melody 1 5 4 a",
        "elementary",
    ),
    "the same stretch by 1 and 2 when not at once": (
        "0 1 bass 5 1 1 p \n 1 1 melody 1 4 2 a",
        "elementary",
    ),
    "fret 5 on string 1 for a beginner": ("0 1 melody 1 5 4 a", "beginner"),
}


@pytest.mark.parametrize(("lines", "level"), LEFT_HAND_LEGAL.values(), ids=LEFT_HAND_LEGAL)
def test_the_left_hand_can(piece, lines, level):
    assert judged(piece(lines, level=level)) == ()


def test_reach_shrinks_up_the_neck_and_behind_a_capo(piece):
    """Fingers 1 and 2 three frets apart: 98 mm from fret 1, 63 mm from fret 8 (650 mm)."""
    low = piece("0 1 bass 5 1 1 p \n 0 1 melody 4 4 2 m", level="advanced")
    high = piece("0 1 bass 5 8 1 p \n 0 1 melody 4 11 2 m", level="advanced")
    capo = piece("0 1 bass 5 1 1 p \n 0 1 melody 4 4 2 m", level="advanced", capo=7)
    assert rules_broken(low) == {"within reach"}
    assert rules_broken(high) == set()
    assert rules_broken(capo) == set()


def test_the_thumb_over_the_neck(piece):
    thumb = ["thumb over"]
    assert not rules_broken(piece("0 1 bass 6 2 T p \n 0 1 melody 2 3 3 m"), techniques=thumb)
    wrong_string = piece("0 1 bass 5 2 T p")
    assert rules_broken(wrong_string, techniques=thumb) == {"thumb over"}
    too_high = piece("0 1 bass 6 7 T p", level="advanced")
    assert rules_broken(too_high, techniques=thumb) == {"thumb over"}
    too_far = piece("0 1 bass 6 1 T p \n 0 1 melody 1 5 4 m", level="elementary")  # 127 mm
    assert rules_broken(too_far, techniques=thumb) == {"thumb over"}


def test_techniques_of_the_player_limit_barres(piece):
    five = piece("0 1 bass 5 2 1 p \n 0 1 melody 1 2 1 a", level="intermediate")
    assert rules_broken(five) == set()
    assert rules_broken(five, techniques=["half barre"]) == {"barre allowed"}
    assert rules_broken(five, techniques=[]) == {"barre allowed"}
    beginner = piece("0 1 bass 5 2 1 p \n 0 1 melody 1 2 1 a", level="beginner")
    assert "barre allowed" in rules_broken(beginner)
    assert "barre allowed" not in rules_broken(beginner, techniques=["full barre"])


PLACE_OFFENCES = {
    "two notes at once on a string": (
        "one note a string",
        "0 2 melody 1 0 0 a \n 1 1 melody 1 3 4 a",
    ),
    "fret 5 on string 2 for a beginner": ("frets of the level", "0 1 melody 2 5 4 a"),
    "fret 6 on string 1 for a beginner": ("frets of the level", "0 1 melody 1 6 4 a"),
}


@pytest.mark.parametrize(("rule", "lines"), PLACE_OFFENCES.values(), ids=PLACE_OFFENCES)
def test_places_on_the_neck(piece, rule, lines):
    assert rule in rules_broken(piece(lines))


def test_the_string_gives_the_note(piece, swap):
    good = piece("0 1 melody 1 3 4 a", capo=2)
    assert good.notes[0].midi == 64 + 2 + 3
    assert rules_broken(good) == set()
    assert rules_broken(swap(good, 0, midi=67)) == {"the string gives the note"}
    assert "the string gives the note" in rules_broken(swap(good, 0, string=7))


def test_the_neck_ends_earlier_behind_a_capo(piece, swap):
    high = piece("0 1 melody 1 15 4 a", level="advanced", capo=4)
    assert rules_broken(high) == set()
    assert rules_broken(piece("0 1 melody 1 15 4 a", level="advanced", capo=5)) == {
        "on the neck"
    }
    assert "on the neck" in rules_broken(swap(high, 0, fret=-1, midi=67))


def test_the_top_note_is_what_the_hand_reads(piece):
    """A4 (69) is a beginner's top; a capo does not change what the hand does."""
    assert rules_broken(piece("0 1 melody 1 5 4 a", capo=3)) == set()
    high = piece("0 1 melody 1 13 4 a", level="intermediate")
    assert {"top of the tune", "frets of the level"} == rules_broken(high)
    inner = piece("0 1 inner 1 5 4 a")
    assert rules_broken(inner) == set()


def test_times_are_exact_and_notes_last(piece, swap):
    good = piece(GOOD)
    assert rules_broken(swap(good, 6, length=Fraction(0))) == {"exact times"}
    assert rules_broken(swap(good, 6, length=1.0)) == {"exact times"}


def test_notes_lie_in_their_bars(piece, swap):
    good = piece(GOOD)
    assert rules_broken(swap(good, 6, bar=2)) == {"in its bar"}
    assert rules_broken(swap(good, 6, length=Fraction(2))) == {"in its bar"}
    assert "in its bar" in rules_broken(swap(good, 6, onset=Fraction(9)))


def test_notes_are_told_in_order(piece):
    good = piece(GOOD)
    shuffled = replace(good, notes=(good.notes[1], good.notes[0], *good.notes[2:]))
    assert rules_broken(shuffled) == {"told in order"}


RIGHT_HAND_OFFENCES = {
    "bass on string 3": ("bass by the thumb", "0 1 bass 3 0 0 p"),
    "bass on string 3 after the tune": (
        "bass by the thumb",
        "0 1 melody 1 0 0 m \n 1 1 bass 3 0 0 p",
    ),
    "bass by the index finger": ("bass by the thumb", "0 1 bass 5 0 0 i"),
    "the thumb on two strings": (
        "one string a finger",
        "0 1 bass 5 0 0 p \n 0 1 melody 1 0 0 p",
    ),
    "crossed fingers": ("one string a finger", "0 1 inner 3 0 0 m \n 0 1 melody 1 0 0 i"),
    "a finger below the thumb": (
        "one string a finger",
        "0 1 inner 5 0 0 i \n 0 1 melody 1 0 0 p",
    ),
}


@pytest.mark.parametrize(
    ("rule", "lines"), RIGHT_HAND_OFFENCES.values(), ids=RIGHT_HAND_OFFENCES
)
def test_the_right_hand_cannot(piece, rule, lines):
    assert rules_broken(piece(lines)) == {rule}


def test_a_slurred_note_is_not_plucked(piece):
    lines = """
        0 1 melody 1 0 0 m
        1 1 bass 5 0 0 p
        1 1 melody 1 3 3 p hammer-on
    """
    assert rules_broken(piece(lines, level="intermediate")) == set()


MELODY_OFFENCES = {
    "an inner note above the tune": "0 1 melody 2 0 0 m \n 0 1 inner 1 0 0 a",
    "an inner note a semitone below": "0 1 inner 3 3 3 i \n 0 1 melody 2 0 0 m",
    "a bass two semitones below": "0 1 bass 4 3 3 p \n 0 1 melody 3 0 0 m",
    "a higher pitch on a lower string held below": ("0 2 bass 4 3 3 p \n 1 1 melody 3 0 0 m"),
    "an inner note plucked above the held tune": "0 2 melody 2 0 0 m \n 1 1 inner 1 0 0 a",
    "two tunes at once": "0 1 melody 2 1 1 m \n 0 1 melody 1 0 0 a",
    "the tune on the lower string": "0 1 inner 2 0 0 m \n 0 1 melody 3 4 4 i",
}


@pytest.mark.parametrize("lines", MELODY_OFFENCES.values(), ids=MELODY_OFFENCES)
def test_the_melody_is_on_top(piece, lines):
    level = "elementary" if "3 4 4 i" in lines else "beginner"
    assert "melody on top" in rules_broken(piece(lines, level=level))


def test_the_melody_may_have_just_room_enough(piece):
    inner = piece("0 1 inner 3 0 0 i \n 0 1 melody 2 0 0 m")  # G3 under B3: 4 semitones
    whole_tone = piece("0 1 inner 3 2 2 i \n 0 1 melody 2 0 0 m")  # A3 under B3
    third = piece("0 1 bass 4 2 2 p \n 0 1 melody 3 0 0 m")  # E3 under G3
    for good in (inner, whole_tone, third):
        assert rules_broken(good) == set()


def test_of_two_tunes_the_later_one_is_on_top(piece):
    """A tune note held under the next, a semitone above it: E flat, then E."""
    lines = "0 2 melody 2 4 4 m \n 1 1 melody 1 0 0 a"
    assert rules_broken(piece(lines, level="elementary")) == set()


def test_the_melody_needs_a_string_of_its_own(piece):
    """D over a held B, far enough above it, and on its very string."""
    lines = "0 2 inner 2 0 0 m \n 1 1 melody 2 3 4 a"
    assert rules_broken(piece(lines)) == {"one note a string", "melody on top"}


def test_notes_at_once(piece):
    chord = "0 1 bass 5 3 3 p \n 0 1 inner 3 0 0 i \n 0 1 melody 1 0 0 a"
    assert rules_broken(piece(chord, level="elementary")) == set()
    assert rules_broken(piece(chord)) == {"notes at once"}
    held = "0 4 bass 5 3 3 p \n 1 2 inner 3 0 0 i \n 2 1 melody 1 0 0 a"
    assert rules_broken(piece(held)) == {"notes at once"}


SLUR_OFFENCES = {
    "nothing before it": "0 1 melody 1 3 4 a hammer-on",
    "from another string": "0 1 melody 2 1 1 m \n 1 1 melody 1 3 4 a hammer-on",
    "after a rest": "0 1 melody 1 0 0 m \n 2 1 melody 1 3 4 a hammer-on",
    "hammering downwards": "0 1 melody 1 3 4 m \n 1 1 melody 1 1 1 a hammer-on",
    "pulling off upwards": "0 1 melody 1 1 1 m \n 1 1 melody 1 3 4 a pull-off",
    "hammering on the fret it is on": "0 1 melody 1 3 4 m \n 1 1 melody 1 3 4 a hammer-on",
    "pulling off to the fret it is on": "0 1 melody 1 3 4 m \n 1 1 melody 1 3 4 a pull-off",
    "sliding with another finger": "0 1 melody 1 1 1 m \n 1 1 melody 1 3 3 a slide",
    "sliding to an open string": "0 1 melody 1 1 1 m \n 1 1 melody 1 0 0 a slide",
}


@pytest.mark.parametrize("lines", SLUR_OFFENCES.values(), ids=SLUR_OFFENCES)
def test_slurs_that_cannot_sound(piece, lines):
    assert rules_broken(piece(lines, level="intermediate")) == {"slurs need a string"}


def test_slurs_that_need_a_technique(piece):
    slide = piece("0 1 melody 1 1 1 m \n 1 1 melody 1 3 1 m slide")
    assert rules_broken(slide) == {"slurs of the player"}
    assert rules_broken(slide, techniques=["slides"]) == set()
    under = piece("0 1 melody 1 0 0 m \n 1 1 bass 5 0 0 p \n 1 1 melody 1 3 3 m hammer-on")
    assert rules_broken(under) == {"slurs of the player"}
    assert rules_broken(under, techniques=["hammer-on under thumb"]) == set()


def test_a_slur_under_another_finger_needs_no_technique(piece):
    """Only the thumb makes it hard: a finger plucks, the left hand hammers on."""
    lines = "0 1 melody 1 0 0 m \n 1 1 inner 3 0 0 i \n 1 1 melody 1 3 3 m hammer-on"
    assert rules_broken(piece(lines), techniques=[]) == set()


def test_no_finger_slides_from_an_open_string(piece):
    lines = "0 1 melody 1 0 1 m \n 1 1 melody 1 3 1 a slide"
    broken = rules_broken(piece(lines, level="intermediate"), techniques=["slides"])
    assert "slurs need a string" in broken


def test_keys_of_the_level(piece):
    good = piece(GOOD)
    assert rules_broken(replace(good, key=parse_key("F"))) == {"key of the level"}
    flat = replace(good, key=parse_key("Ab"))  # four flats
    assert rules_broken(flat, level="intermediate") == {"key of the level"}
    assert rules_broken(replace(good, key=parse_key("Eb")), level="intermediate") == set()


def test_the_shape_budget(piece):
    shapes = tuple(
        Shape(name="X", frets=(None,) * 5 + (fret,), fingers=(None,) * 5 + (finger,))
        for fret in (1, 2)
        for finger in "1234"
    )
    assert rules_broken(piece(GOOD, shapes=shapes)) == set()
    assert rules_broken(piece(GOOD, shapes=(*shapes, shapes[0]))) == set()  # named twice
    assert rules_broken(piece(GOOD, shapes=(*shapes, C_SHAPE))) == {"shapes to learn"}


def test_shapes_are_grips(piece):
    mark = ChordMark(onset=Fraction(0), name="X", shape=0)
    found = judged(piece(GOOD, shapes=(WIDE_SHAPE,), chords=(mark,), level="elementary"))
    assert {v.rule for v in found} == {"shapes a hand can hold"}
    assert "129 mm" in found[0].text  # 127 along the neck, 27 across it
    assert found[0].bar == 1
    high = Shape(name="Y", frets=(None, 5) + (None,) * 4, fingers=(None, "1") + (None,) * 4)
    assert rules_broken(piece(GOOD, shapes=(high,))) == {"shapes a hand can hold"}


TWO_BARS = GOOD + "4 1 melody 1 0 0 m"
FULL_F = Shape(
    name="F", frets=(1, 3, 3, 2, 1, 1), fingers=("1", "3", "4", "2", "1", "1"), barre=1
)


def test_a_shape_is_blamed_where_it_is_used_first(piece):
    marks = (
        ChordMark(onset=Fraction(0), name="C", shape=0),
        ChordMark(onset=Fraction(4), name="X", shape=1),
    )
    shapes = (C_SHAPE, WIDE_SHAPE)
    (found,) = judged(piece(TWO_BARS, shapes=shapes, chords=marks, level="elementary"))
    assert (found.rule, found.bar) == ("shapes a hand can hold", 2)
    short = piece("0 1 melody 1 0 0 m \n 1 1 melody 1 3 4 a", shapes=shapes, meter=(1, 4))
    (found,) = judged(short, level="elementary")
    assert found.bar == 1


def test_each_wrong_shape_is_told(piece):
    other = replace(WIDE_SHAPE, name="Y", frets=(None, None, 5, None, 1, None))
    other = replace(other, fingers=(None, None, "2", None, "1", None))
    found = judged(piece(GOOD, shapes=(WIDE_SHAPE, other), level="elementary"))
    assert [v.rule for v in found] == ["shapes a hand can hold"] * 2


@pytest.mark.parametrize(("drawn", "broken"), [(1, 0), (3, 1), (None, 0)])
def test_a_barre_is_drawn_where_it_is(piece, drawn, broken):
    """The barre F with its barre at fret 1, drawn at fret 3, and a diagram that says none."""
    shape = replace(FULL_F, barre=drawn)
    found = judged(piece(GOOD, shapes=(shape,), level="intermediate"))
    assert len(found) == broken
    assert all("no barre drawn" in v.text for v in found)


def test_shapes_go_as_high_as_the_little_finger(piece):
    """A beginner reaches fret 5 on string 1 alone."""
    first = Shape(name="A", frets=(None,) * 5 + (5,), fingers=(None,) * 5 + ("4",))
    second = Shape(name="E", frets=(None,) * 4 + (5, None), fingers=(None,) * 4 + ("4", None))
    assert rules_broken(piece(GOOD, shapes=(first,))) == set()
    assert rules_broken(piece(GOOD, shapes=(second,))) == {"shapes a hand can hold"}


def test_a_shape_of_five_strings_is_none(piece):
    five = Shape(name="C", frets=(3, 2, 0, 1, 0), fingers=("3", "2", None, "1", None))
    assert rules_broken(piece(GOOD, shapes=(five,))) == {"shapes a hand can hold"}


def test_a_mark_names_a_shape_that_is_there(piece):
    mark = ChordMark(onset=Fraction(0), name="C", shape=1)
    assert rules_broken(piece(GOOD, shapes=(C_SHAPE,), chords=(mark,))) == {"shapes to learn"}


def test_a_held_fault_is_told_once_with_its_bar(piece):
    """Two fingers too far apart, held over three onsets of the bass: one violation."""
    lines = """
        4 4 inner 5 1 1 p
        4 4 melody 2 4 2 m
        5 1 bass 6 0 0 p
        6 1 bass 6 0 0 p
    """
    found = judged(piece(lines, level="elementary"))
    assert [v.rule for v in found] == ["within reach"]
    assert found[0].bar == 2
    assert "101 mm" in found[0].text  # 98 along the neck, 27 across it


def test_every_note_is_looked_at(piece, swap):
    """A note on no string does not hide what is wrong with those after it."""
    wrong = swap(swap(piece(GOOD), 0, string=7), 6, midi=60)
    found = [v for v in judged(wrong) if v.rule == "the string gives the note"]
    assert [v.notes for v in found] == [(0,), (6,)]
    assert all(v.text for v in found)


def test_two_notes_of_one_string_and_onset_are_in_order(piece):
    lines = "0 1 inner 3 0 0 i \n 0 1 melody 3 4 4 m"
    assert "told in order" not in rules_broken(piece(lines, level="elementary"))


def test_notes_without_bars_are_outside_the_piece(piece):
    found = judged(replace(piece("0 1 melody 1 0 0 m"), bars=()))
    assert [(v.rule, v.bar, v.text) for v in found] == [
        ("in its bar", 0, "a note outside the piece"),
    ]


def test_what_concerns_the_piece_is_said_of_its_first_bar(piece):
    short = piece("0 1 melody 1 0 0 m \n 1 1 melody 1 3 4 a", meter=(1, 4))
    (found,) = judged(replace(short, key=parse_key("F")))
    assert (found.rule, found.bar) == ("key of the level", short.bars[0].bar)


def test_a_tab_from_elsewhere_owes_nothing_to_a_level(piece):
    """The hand's rules are checked, those of an arrangement for a level are not."""
    level = level_named("beginner")
    lines = "0 1 bass 3 0 0 i \n 0 1 melody 1 3 0 a"
    strange = replace(piece(lines), key=parse_key("F"))
    assert rules_broken(strange) == {
        *("bass by the thumb", "open means no finger", "key of the level"),
    }
    found = hand_violations(strange, level, default_player(level))
    assert [v.rule for v in found] == ["open means no finger"]


def test_an_empty_piece_breaks_nothing(piece):
    assert judged(piece("")) == ()


SWEPT = """
    0 1 bass 6 0 0 p
    0 1 inner 5 2 2 p
    0 1 inner 4 2 3 p
    0 1 inner 3 1 1 i
    0 1 inner 2 0 0 m
    0 1 melody 1 0 0 a
"""


def test_the_thumb_sweeps_a_chord_of_more_notes_than_fingers(piece):
    """Six strings for four fingers of the right hand; with four strings there is no need."""
    rule = "one string a finger"
    assert rule not in rules_broken(piece(SWEPT), level="advanced")
    four = "\n".join(line for line in SWEPT.splitlines() if "inner 4" not in line)
    four = "\n".join(line for line in four.splitlines() if "inner 3" not in line)
    assert rule in rules_broken(piece(four), level="advanced")


def test_a_sweep_of_the_thumb_excuses_no_other_finger(piece):
    lines = SWEPT.replace("0 1 inner 2 0 0 m", "0 1 inner 2 0 0 i")
    rule = "one string a finger"
    assert rule not in rules_broken(piece(SWEPT, level="advanced"))
    assert rule in rules_broken(piece(lines, level="advanced"))
