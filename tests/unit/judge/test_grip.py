"""Grips that no hand can hold, each explained, and the open chords that every hand can."""

from __future__ import annotations

from dataclasses import replace

import pytest

from arranger.judge import any_hand, hand_faults
from arranger.judge.grip import HandLimits, Hold, apart, limits_of
from arranger.tables import Reach, default_player, level_named, load
from arranger.tables.player import Reaches


def reach_of(size: str) -> Reach:
    reach: Reach = getattr(load("reach", Reaches), size)
    return reach


def hand(size: str = "large") -> HandLimits:
    return any_hand(reach_of(size))


def shape(frets: str, fingers: str):
    """``x32010`` and ``-32-1-`` as hand_faults wants them; frets above nine as letters."""
    numbers = tuple(None if mark == "x" else int(mark, 36) for mark in frets)
    return numbers, tuple(None if mark == "-" else mark for mark in fingers)


# Why it cannot be held: (frets, fingers, rule). The large hand, every technique known.
IMPOSSIBLE = {
    "one finger on two frets": ("x1x2xx", "-1-1--", "one place for a finger"),
    "the little finger on two frets": ("x35xxx", "-44---", "one place for a finger"),
    "five frets between fingers 1 and 2, 163 mm": ("1xxxx6", "1----2", "within reach"),
    "fingers 1 and 4 over six low frets, 156 mm and 36 across": (
        "x1xx7x",
        "-1--4-",
        "within reach",
    ),
    "fingers 2 and 3 four frets apart low on the neck": ("x2xx6x", "-2--3-", "within reach"),
    "fingers 3 and 4 four frets apart": ("x1xx5x", "-3--4-", "within reach"),
    "the second finger behind the first": ("x32xxx", "-12---", "fingers in order"),
    "the little finger behind the third": ("xx43xx", "--34--", "fingers in order"),
    "an open string in the middle of a full barre": (
        "110111",
        "11-111",
        "nothing lower under a barre",
    ),
    "a lower fret under the third finger's barre": (
        "xx323x",
        "--313-",
        "nothing lower under a barre",
    ),
    "a barre of the second finger over five strings": ("x22222", "-22222", "barre allowed"),
    "a barre of the little finger over four strings": ("xx3333", "--4444", "barre allowed"),
    "the ring finger over four strings beside the first": (
        "x13333",
        "-13333",
        "barre allowed",
    ),
    "a barre of the thumb": ("33xxxx", "TT----", "barre allowed"),
    "the thumb on string 5": ("x3xxxx", "-T----", "thumb over"),
    "the thumb at fret 7": ("7xxxxx", "T-----", "thumb over"),
    "the thumb four frets behind the first finger": ("1xxxx5", "T----1", "thumb over"),
    "the thumb two frets beyond the first finger": ("3x1xxx", "T-1---", "thumb over"),
    "a fretted string without a finger": ("x32010", "-32---", "open means no finger"),
    "a finger on an open string": ("x32010", "-3241-", "open means no finger"),
    "a finger on a string that is not played": ("x32010", "43201-", "open means no finger"),
}


@pytest.mark.parametrize(
    ("frets", "fingers", "rule"), IMPOSSIBLE.values(), ids=IMPOSSIBLE.keys()
)
def test_no_hand_can_hold(frets, fingers, rule):
    faults = hand_faults(*shape(frets, fingers), limits=hand())
    assert rule in {fault.rule for fault in faults}
    for fault in faults:
        assert fault.text
        assert set(fault.strings) <= set(range(1, 7))
        assert fault.strings


# Common practice, no source: the open shapes every book begins with, and the barre F.
OPEN_CHORDS = {
    "C": ("x32010", "-32-1-"),
    "A": ("x02220", "--123-"),
    "G": ("320003", "21---3"),
    "E": ("022100", "-231--"),
    "D": ("xx0232", "---132"),
    "Am": ("x02210", "--231-"),
    "Em": ("022000", "-23---"),
    "Dm": ("xx0231", "---231"),
    "G7": ("320001", "32---1"),
    "C7": ("x32310", "-3241-"),
    "D7": ("xx0212", "---213"),
    "A7": ("x02020", "--2-3-"),
    "E7": ("020100", "-2-1--"),
    "B7": ("x21202", "-213-4"),
    "F with a barre": ("133211", "134211"),
    "F with the thumb": ("1x321x", "T-321-"),
    "D over F sharp with the thumb": ("2x0232", "T--132"),
}


@pytest.mark.parametrize(("frets", "fingers"), OPEN_CHORDS.values(), ids=OPEN_CHORDS.keys())
def test_even_a_small_hand_can_hold(frets, fingers):
    assert hand_faults(*shape(frets, fingers), limits=hand("small")) == ()


def test_a_drawn_barre_must_be_drawn():
    frets, fingers = shape("133211", "134211")
    assert hand_faults(frets, fingers, [1], limits=hand()) == ()
    faults = hand_faults(frets, fingers, [], limits=hand())
    assert [(fault.rule, fault.strings) for fault in faults] == [("barre drawn", (6, 2, 1))]
    assert faults[0].text == "finger 1 is on 3 strings, no barre drawn"


def test_a_finger_in_two_places_hides_no_stretch():
    """Finger 1 on frets 1 and 2, and finger 2 far beyond what any hand spans."""
    faults = hand_faults(*shape("x12xx9", "-11--2"), limits=hand())
    assert {"one place for a finger", "within reach"} <= {fault.rule for fault in faults}


def test_any_hand_knows_small_barres():
    """A major with the ring finger over three strings; common practice, no source."""
    assert hand_faults(*shape("x02220", "--333-"), limits=any_hand(reach_of("large"))) == ()


def test_the_octave_lies_at_half_the_string():
    """The twelfth fret halves the string (equal temperament: 2 to the power of 12/12)."""
    limits = any_hand(reach_of("medium"))
    assert limits.along(0) == 0.0
    assert limits.along(12) == pytest.approx(limits.scale_length / 2)
    level = level_named("intermediate")
    own = limits_of(level, default_player(level))
    assert own.along(0) == 0.0
    assert limits_of(level, default_player(level), 12).along(0) == pytest.approx(
        own.scale_length / 2
    )


def test_a_finger_on_a_string_of_a_barre_is_no_way_across():
    limits = any_hand(reach_of("medium"))
    barre, ring = Hold("1", 1, (6, 2, 1)), Hold("3", 3, (5,))
    along = limits.along(3) - limits.along(1)
    assert apart(barre, ring, limits) == pytest.approx(along)
    assert apart(ring, barre, limits) == pytest.approx(along)
    beside = apart(Hold("1", 1, (3,)), ring, limits)
    assert beside == pytest.approx((along**2 + (2 * limits.string_spacing) ** 2) ** 0.5)


def test_a_hand_holds_what_lies_just_within_its_reach():
    """Frets 1 and 3 of one string; then the thumb three frets behind a finger, one ahead."""
    limits = hand()
    frets, fingers = shape("x1xx3x", "-1--2-")
    across = apart(Hold("1", 1, (5,)), Hold("2", 3, (2,)), limits)
    for short, rules in ((0.0, []), (0.001, ["within reach"])):
        reach = limits.reach.model_copy(update={"f12": across - short})
        faults = hand_faults(frets, fingers, limits=replace(limits, reach=reach))
        assert [fault.rule for fault in faults] == rules
    for name, frets in (("thumb_behind", "1xxx4x"), ("thumb_ahead", "3xxx2x")):
        low, high = sorted(int(mark) for mark in frets if mark != "x")
        along = limits.along(high) - limits.along(low)
        for short, rules in ((0.0, []), (0.001, ["thumb over"])):
            common = limits.common.model_copy(update={name: along - short})
            lying = replace(limits, common=common)
            faults = hand_faults(*shape(frets, "T---1-"), limits=lying)
            assert [fault.rule for fault in faults] == rules


def test_a_shape_has_six_strings():
    six = (None,) * 6
    for frets, fingers in (((3,), ("3",)), ((3,), six), (six, ("3",))):
        (fault,) = hand_faults(frets, fingers, limits=hand())
        assert (fault.rule, fault.strings) == ("six strings", ())
        assert "six strings" in fault.text
    assert hand_faults(six, ("0",) * 6, limits=hand()) == ()


def test_a_shape_moved_up_stays_a_grip():
    """The barre F moved up to fret 8 is C: frets only come closer."""
    for up in range(8):
        frets, fingers = shape("133211", "134211")
        moved = tuple(fret + up for fret in frets if fret is not None)
        assert hand_faults(moved, fingers, limits=hand("small")) == ()


def test_faults_name_strings_of_the_grip():
    faults = hand_faults(*shape("x1x2xx", "-1-1--"), limits=hand())
    assert set(faults[0].strings) == {5, 3}
