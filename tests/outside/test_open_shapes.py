"""The table of chord shapes against the open shapes of the trade and music21's chords.

Shapes: common practice, no source. Tones of the chords: music21.harmony.
"""

from __future__ import annotations

import pytest
from music21.harmony import ChordSymbol

from arranger.judge import any_hand, hand_faults
from arranger.music.pitch import pitch_class
from arranger.tables import instrument, load
from arranger.tables.player import Reaches
from arranger.tables.shapes import ShapeTable, chord_shape, shape_book

OPEN_SHAPES = {
    "C": "x32010", "A": "x02220", "G": "320003", "E": "022100", "D": "xx0232",
    "Am": "x02210", "Em": "022000", "Dm": "xx0231", "G7": "320001", "C7": "x32310",
    "D7": "xx0212", "A7": "x02020", "E7": "020100", "B7": "x21202",
}  # fmt: skip
LINES = load("shapes", ShapeTable).shape
BOOK = shape_book()
LARGE_HAND = any_hand(load("reach", Reaches).large)


def sounding(frets):
    """Pitch classes of a shape, frets from string 6 to string 1."""
    opened = reversed(instrument().tuning)
    return {
        (string + fret) % 12
        for string, fret in zip(opened, frets, strict=True)
        if fret is not None
    }


def tones(name):
    """Pitch classes of a chord; music21 writes a flat root with a minus sign."""
    figure = name[0] + name[1:].replace("b", "-", 1) if name[1:2] == "b" else name
    return set(ChordSymbol(figure.replace("m7b5", "ø7")).pitchClasses)


@pytest.mark.parametrize(("name", "frets"), OPEN_SHAPES.items())
def test_open_shapes_are_in_the_table(name, frets):
    assert frets in {line.frets for line in LINES if line.chord == name}


def test_the_full_barre_of_f_has_its_fingers():
    assert ("133211", "134211") in {(line.frets, line.fingers) for line in LINES}


@pytest.mark.parametrize("line", LINES, ids=lambda line: f"{line.chord} {line.frets}")
def test_a_shape_sounds_only_tones_of_its_chord(line):
    shape = chord_shape(line.chord, line.frets, line.fingers, line.grade)
    colour = {pitch_class(tone) for tone in line.colour}
    assert sounding(shape.frets) <= tones(line.chord) | colour


@pytest.mark.parametrize(
    "line",
    [line for line in LINES if line.movable],
    ids=lambda line: f"{line.chord} {line.frets}",
)
def test_a_moved_shape_names_the_chord_so_much_higher(line):
    """Moved up n frets, every tone of the chord rises n semitones, and so does its root."""
    shape = chord_shape(line.chord, line.frets, line.fingers, line.grade)
    root = pitch_class(line.chord[:2] if line.chord[1:2] in ("#", "b") else line.chord[:1])
    for frets in range(1, 6):
        moved = shape.moved(frets)
        assert moved.root == (root + frets) % 12
        assert sounding(moved.frets) <= {(tone + frets) % 12 for tone in tones(line.chord)}


def test_a_large_hand_can_hold_every_shape():
    """The judge's hand, which shares no code with the table."""
    faults = {
        shape: found
        for shape in BOOK
        if (found := hand_faults(shape.frets, shape.fingers, limits=LARGE_HAND))
    }
    assert not faults
