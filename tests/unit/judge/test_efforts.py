"""Every effort with its amount and size, worked out by hand at 60 quarters a minute.

Scales are those of the test, round and all different, so that no slip cancels another.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import log2

import pytest

from arranger.judge import fretting, plucking
from arranger.judge.effort import perform
from arranger.judge.hearing import hear
from arranger.music.arrangement import Shape
from arranger.tables import default_player, instrument, level_named
from arranger.tables.difficulty import difficulty_table

SCALES = difficulty_table().scales.model_copy(
    update={
        "stretch_power": 2.0,
        "small_barre": 3.0,
        "position_from": 4,
        "position_span": 8.0,
        "voices_span": 4.0,
        "moves_bits": 16.0,
        "plucking_strokes": 8.0,
        "repeat_seconds": 0.5,
        "independence_notes": 2.0,
        "slurs_notes": 4.0,
        "shifts_rate": 2.0,
        "changes_rate": 5.0,
        "crossing_strings": 10.0,
    }
)


def efforts(feature, arrangement):
    """Bar, amount and size of each effort, and its text."""
    level = level_named("advanced")
    heard = hear(arrangement, level, default_player(level))
    return [
        (effort.bar, pytest.approx(effort.amount), pytest.approx(effort.size), effort.text)
        for effort in feature(perform(heard, SCALES))
    ]


# Held ----------------------------------------------------------------------------------


def test_a_stretch_counts_by_how_long_it_is_held(piece):
    """A share of the reach, squared here; two seconds cost twice what one does."""
    one, two = (
        efforts(
            fretting.stretch,
            piece(f"0 {beats} inner 5 1 1 m \n 0 {beats} melody 1 4 4 a", tempo=60.0),
        )
        for beats in (1, 2)
    )
    assert one[0][1].expected == one[0][2].expected < 1
    assert two[0][1].expected == pytest.approx(2 * two[0][2].expected)
    assert two[0][2] == one[0][2].expected


def test_what_is_held_over_the_barline_counts_in_both_bars(piece):
    """One beat of it in the first bar, two in the second."""
    held = piece("3 3 inner 5 1 1 m \n 3 3 melody 1 4 4 a", tempo=60.0)
    first, second = efforts(fretting.stretch, held)
    assert (first[0], second[0]) == (0, 1)
    assert second[1].expected == pytest.approx(2 * first[1].expected)


def test_the_widest_of_three_fingers_is_told_and_a_barre_hides_none(piece):
    """Fingers 1 and 3 share a barre's fret and the next but one; 4 lies far beyond."""
    lines = "0 1 bass 6 1 1 p \n 0 1 inner 4 3 3 m \n 0 1 inner 2 1 1 i \n 0 1 melody 1 4 4 a"
    ((_, _, _, text),) = efforts(fretting.stretch, piece(lines, tempo=60.0))
    assert text.startswith("a four-fret stretch, fingers 1 and 4")
    assert "while the thumb plays" in text


def test_the_thumb_is_named_where_it_strikes_and_not_where_it_holds_on(piece):
    fingers = "inner 4 1 1 i \n {0} 1 melody 1 3 3 a"
    struck = piece(f"0 1 {fingers.format(0)} \n 0 1 bass 6 0 0 p", tempo=60.0)
    held = piece(f"1 1 {fingers.format(1)} \n 0 2 bass 6 0 0 p", tempo=60.0)
    without = piece(f"0 1 {fingers.format(0)}", tempo=60.0)
    told = [efforts(fretting.stretch, one)[0][3] for one in (struck, held, without)]
    assert ["while the thumb plays" in text for text in told] == [True, False, False]


def test_fingers_in_one_fret_and_in_neighbouring_frets_are_worded_apart(piece):
    across = piece("0 1 inner 4 2 2 i \n 0 1 melody 1 2 3 a", tempo=60.0)
    along = piece("0 1 inner 4 2 2 i \n 0 1 melody 1 3 3 a", tempo=60.0)
    told = [efforts(fretting.stretch, one)[0][3] for one in (across, along)]
    assert told[0].startswith("a stretch across the strings in fret 2, fingers 2 and 3")
    assert told[1].startswith("a two-fret stretch, fingers 2 and 3")


def test_the_time_to_reach_a_stretch_is_told_where_it_is_short(piece):
    """The little finger has a second, or more than anyone needs."""
    lines = "0 1/2 melody 1 1 4 a \n {0} 1 inner 4 1 1 i \n {0} 1 melody 1 4 4 a"
    soon, late = (
        efforts(fretting.stretch, piece(lines.format(at), tempo=60.0))[0][3] for at in (1, 4)
    )
    assert soon.endswith(", 1.00 s to get there")
    assert soon.startswith(late)


def test_the_thumb_over_the_neck_is_no_stretch_of_the_fingers(piece):
    over = piece("0 1 bass 6 1 T p \n 0 1 melody 1 3 3 a", tempo=60.0)
    assert efforts(fretting.stretch, over) == []


@pytest.mark.parametrize(
    ("finger", "strings", "size"),
    [
        ("1", (6, 1), 1.0),  # (6 - 1) / 5
        ("1", (2, 1), 0.2),
        ("3", (4, 2), 3 * 0.4),  # another finger: three times (4 - 2) / 5
    ],
)
def test_a_barre_counts_by_its_width_and_its_finger(piece, finger, strings, size):
    lines = "\n".join(f"0 2 inner {string} 3 {finger} i" for string in strings)
    width = strings[0] - strings[1] + 1
    text = f"a barre by finger {finger} over {width} strings at fret 3"
    assert efforts(fretting.barre, piece(lines, tempo=60.0)) == [(0, 2 * size, size, text)]


def test_fingers_down_are_shares_of_four(piece):
    lines = "0 2 bass 5 3 3 p \n 0 2 inner 4 2 2 i \n 0 2 inner 2 1 1 m \n 0 2 melody 1 0 0 a"
    found = efforts(fretting.fingers, piece(lines, tempo=60.0))
    assert found == [(0, 1.5, 0.75, "3 fingers down at once")]


def test_a_high_fret_counts_from_the_first_position_on(piece):
    """Fret 6 lies two above the fourth, a quarter of eight."""
    found = efforts(fretting.position, piece("0 2 melody 1 6 2 a", tempo=60.0))
    assert found == [(0, 0.5, 0.25, "up to fret 6")]


def test_notes_at_once_count_beyond_the_first(piece):
    lines = "0 2 bass 6 0 0 p \n 0 2 inner 3 0 0 i \n 0 2 melody 1 0 0 a"
    found = efforts(fretting.voices, piece(lines, tempo=60.0))
    assert found == [(0, 1.0, 0.5, "3 notes at once")]


# Done ----------------------------------------------------------------------------------


def test_a_barre_struck_again_is_a_way_but_no_hurry(piece):
    """The finger rolls over its width again, and is where it was."""
    lines = "\n".join(f"{at} 1 inner {string} 1 1 i" for at in (0, 1) for string in (2, 1))
    ((_, amount, size, _),) = efforts(fretting.moves, piece(lines, tempo=60.0))
    assert amount.expected > 0
    assert size.expected == 0


def test_a_move_counts_its_bits_and_presses_by_the_time_it_has(piece):
    """Bits over 16 here; the same way in half the time presses twice as hard."""
    slow, quick = (
        efforts(fretting.moves, piece("0 1 melody 1 1 1 a \n 1 1 melody 1 3 1 m", tempo=tempo))
        for tempo in (60.0, 120.0)
    )
    (_, amount, size, _), (_, other, twice, _) = slow[0], quick[0]
    assert size.expected == pytest.approx(16 * amount.expected)
    assert other == amount.expected
    assert twice.expected == pytest.approx(2 * size.expected)


def test_a_finger_that_changes_strings_goes_across_them(piece):
    """Three strings further in one fret: the way across in bits, with a second for it."""
    lines = "0 1 inner 5 2 1 i \n 1 1 melody 2 2 1 a"
    ((_, amount, size, text),) = efforts(fretting.moves, piece(lines, tempo=60.0))
    bits = log2(1 + 3 * instrument().string_spacing / SCALES.finger_width)
    assert (amount.expected, size.expected) == (pytest.approx(bits / 16), pytest.approx(bits))
    assert text == "finger 1 from string 5 fret 2 to string 2 fret 2, 1.00 s to get there"


def test_a_shift_counts_once_and_presses_by_frets_and_time(piece):
    """Four frets in half a second, whatever was struck before."""
    lines = "0 1 bass 6 0 0 p \n 1 1/2 melody 1 1 1 m \n 3/2 1 melody 1 5 1 a"
    ((bar, amount, size, text),) = efforts(fretting.shifting, piece(lines, tempo=60.0))
    assert (bar, amount.expected) == (0, 0.5)
    before, after = (int(word) for word in text.replace(",", "").split() if word.isdigit())
    assert size.expected == pytest.approx((after - before) / 0.5)
    assert text.endswith("0.50 s for it")


C = Shape(name="C", frets=(None, 3, 2, 0, 1, 0), fingers=(None, "3", "2", None, "1", None))
G = Shape(name="G", frets=(3, 2, 0, 0, 0, 3), fingers=("2", "1", None, None, None, "3"))
AM = Shape(name="Am", frets=(None, 0, 2, 2, 1, 0), fingers=(None, None, "2", "3", "1", None))


def in_chords(piece, lines, names, shapes):
    written = piece(lines, tempo=60.0, shapes=shapes)
    pairs = zip(written.bars, names, strict=True)
    return replace(written, bars=tuple(replace(bar, chord=name) for bar, name in pairs))


def test_a_change_of_shape_counts_the_fingers_that_go_elsewhere(piece):
    """From C to A minor only the ring finger moves, from A minor to G all three."""
    lines = """
        0 4 bass 5 3 3 p \n 0 4 inner 4 2 2 i \n 0 4 melody 2 1 1 m
        4 4 inner 4 2 2 i \n 4 4 inner 3 2 3 m \n 4 4 melody 2 1 1 a
        8 4 bass 6 3 2 p \n 8 4 bass 5 2 1 p \n 8 4 melody 1 3 3 a
    """
    written = in_chords(piece, lines, ("C", "Am", "G"), (C, AM, G))
    assert efforts(fretting.changing, written) == [
        (1, 0.2, 1, "from C to Am 1 finger moves"),
        (2, 0.6, 3, "from Am to G 3 fingers move"),
    ]


def test_fingers_of_a_shape_that_do_not_play_do_not_move(piece):
    lines = """
        0 4 bass 5 3 3 p \n 0 4 inner 4 2 2 i
        4 4 bass 6 3 2 p \n 4 4 melody 1 3 3 a
    """
    written = in_chords(piece, lines, ("C", "G"), (C, G))
    assert efforts(fretting.changing, written) == [(1, 0.4, 2, "from C to G 2 fingers move")]


def test_the_hardest_way_is_told_where_two_shapes_share_a_name(piece):
    """Another C lies where G does but for one finger: the way from the first is longer."""
    near = replace(C, frets=(3, 2, 0, 0, 1, 0), fingers=("2", "1", None, None, "4", None))
    lines = """
        0 4 bass 5 3 3 p \n 0 4 inner 4 2 2 i \n 0 4 bass 6 3 2 p \n 0 4 inner 5 2 1 p
        4 4 bass 6 3 2 p \n 4 4 inner 5 2 1 i \n 4 4 melody 1 3 3 a
    """
    for shapes in ((C, near, G), (near, C, G)):
        found = efforts(fretting.changing, in_chords(piece, lines, ("C", "G"), shapes))
        assert [size.expected for _, _, size, _ in found] == [3]


def test_a_shape_that_stays_is_no_change(piece):
    lines = "\n".join(f"{at} 4 bass 5 3 3 p \n {at} 4 inner 4 2 2 i" for at in (0, 4))
    assert efforts(fretting.changing, in_chords(piece, lines, ("C", "C"), (C,))) == []


def test_a_chord_that_no_shape_is_named_for_is_no_change(piece):
    lines = "0 4 bass 5 3 3 p \n 0 4 inner 4 2 2 i \n 4 4 melody 1 0 0 a"
    assert efforts(fretting.changing, in_chords(piece, lines, ("C", "E"), (C,))) == []


# Plucked -------------------------------------------------------------------------------


def test_strokes_count_once_for_notes_struck_together(piece):
    lines = "0 1 bass 6 0 0 p \n 0 1 melody 1 0 0 a \n 1 1 melody 2 0 0 m"
    found = efforts(plucking.plucking, piece(lines, tempo=60.0))
    assert found == [(0, 0.25, 0.5, "0.5 strokes a second")]


def test_the_goal_is_the_tempo_to_aim_at(piece):
    """Half the tempo now: twice the strokes then."""
    aimed = replace(piece("0 1 melody 1 0 0 a", tempo=60.0), target_tempo=120.0)
    ((_, amount, rate, text),) = efforts(plucking.goal, aimed)
    assert (amount.expected, rate.expected) == (pytest.approx(0.25), pytest.approx(0.5))
    assert text == "0.5 strokes a second at the tempo to aim at"


def test_a_finger_that_plucks_again_counts_by_how_soon(piece):
    """Half a second over the second between; each finger by itself, slurs and chords not."""
    lines = """
        1/2 1 inner 3 0 0 i \n 1/2 1 melody 1 0 0 m \n 1/2 1 inner 2 0 0 m
        3/2 1 melody 1 1 1 m hammer-on
        5/2 1 melody 1 0 0 m \n 7/2 1 inner 3 0 0 i
    """
    found = efforts(plucking.repeats, piece(lines, tempo=60.0))
    assert [(amount.expected, size.expected, text) for _, amount, size, text in found] == [
        (pytest.approx(0.125), pytest.approx(0.25), "m plucks twice within 2.00 s"),
        (pytest.approx(0.5 / 6), pytest.approx(0.5 / 3), "i plucks twice within 3.00 s"),
    ]


def test_a_note_off_the_beat_counts_when_the_thumb_comes_under_it(piece):
    """Held from the half to the beat in the second bar; what ends before, what is on the
    beat, the thumb itself and a slur do not count.
    """
    lines = """
        0 1 bass 6 0 0 p \n 1/2 1/4 melody 1 0 0 a \n 1 1 melody 2 0 0 m
        3/2 1 bass 6 0 0 p \n 2 1 bass 5 0 0 p
        4 1 melody 2 0 0 m \n 9/2 2 melody 1 0 0 a \n 5 1 bass 6 0 0 p
        11/2 2 melody 1 1 1 a hammer-on \n 6 1 bass 6 0 0 p
    """
    found = efforts(plucking.independence, piece(lines, tempo=60.0))
    text = "a plucks off the beat, the thumb under it 0.50 s later"
    assert found == [(1, 0.5, 2.0, text)]


def test_beats_are_counted_from_the_start_of_the_bar(piece):
    """Bars of five eighths, three and two: the second begins two and a half quarters in."""
    lines = "0 1 bass 6 0 0 p \n 5/2 1 melody 1 0 0 a \n 3 1 bass 5 0 0 p"
    written = piece(lines, tempo=60.0, meter=(5, 8), beat=Fraction(3, 2))
    assert efforts(plucking.independence, written) == []


def test_a_slur_counts_under_a_thumb_note_only(piece):
    lines = """
        0 1 melody 1 0 0 a
        1 1 melody 1 1 1 a hammer-on \n 1 1 bass 6 0 0 p
        2 1 melody 1 3 3 a hammer-on \n 2 1 inner 3 0 0 i
    """
    found = efforts(plucking.slurs, piece(lines, tempo=60.0))
    assert found == [(0, 0.25, 1.0, "a hammer-on on string 1 under a thumb note")]


def test_crossing_counts_strings_of_the_same_finger(piece):
    """Three strings in half a second; a slur between is not plucked."""
    lines = """
        1 1/4 inner 4 0 0 m \n 5/4 1/4 melody 1 0 0 m hammer-on
        3/2 1/2 melody 1 0 0 m \n 2 1 melody 1 3 3 m
    """
    found = efforts(plucking.crossing, piece(lines, tempo=60.0))
    assert found == [(0, 0.3, 6.0, "m goes from string 4 to string 1 in 0.50 s")]
