"""Which bars a repeat sign brings again; all documents and the lesson ask one function."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from arranger.music.arrangement import ChordMark
from arranger.music.repeats import Repeat, ending_of, printed_bars, printed_numbers, repeats

FRETS = (1, 2, 3, 5, 7, 8)
LAST = f"{11 * 4 + 2} 1 melody 1 8 4 a"


def strain_twice(piece, *, last=LAST, held="1", thumb="1"):
    """Six bars and again; ``last`` is the tune's last note, ``held`` how long that of the
    first pass is, ``thumb`` how long the first note of the second pass.
    """
    lines = []
    for bar in range(12):
        length = thumb if bar == 6 else "1"
        lines.append(f"{4 * bar} {length} bass 6 0 0 p")
        note = f"1 {FRETS[bar % 6]} 4 a"
        long = held if bar == 5 else "1"
        lines.append(last if bar == 11 else f"{4 * bar + 2} {long} melody {note}")
    return piece("\n".join(lines), sections={1: "A", 7: "A"})


def test_equal_passes(piece):
    arrangement = strain_twice(piece)
    assert repeats(arrangement) == (Repeat(first=0, length=6, ending=0),)
    assert printed_bars(12, repeats(arrangement)) == (*range(6), *range(6))
    assert printed_numbers(arrangement)[12] == 6


def test_a_second_ending(piece):
    found = repeats(strain_twice(piece, last=f"{11 * 4 + 2} 1 melody 1 10 4 a"))
    assert found == (Repeat(first=0, length=6, ending=1),)
    assert printed_bars(12, found) == (*range(6), *range(5), 11)
    assert ending_of(found) == {5: 1, 11: 2}


def test_how_long_the_thumb_holds_makes_no_other_bar(piece):
    assert repeats(strain_twice(piece, thumb="2"))


@pytest.mark.parametrize("held", ["2", "5/2"])
def test_a_note_that_reaches_over_the_sign_forbids_it(piece, held):
    """Two quarters end with the bar; longer reaches into the second pass."""
    found = repeats(strain_twice(piece, held=held))
    assert [repeat.ending for repeat in found] == ([1] if held == "2" else [])


def test_another_name_over_the_bar_forbids_it(piece):
    arrangement = strain_twice(piece)
    marks = (
        ChordMark(onset=Fraction(0), name="E", shape=None),
        ChordMark(onset=Fraction(24), name="Em", shape=None),
    )
    assert not repeats(replace(arrangement, chords=marks))
