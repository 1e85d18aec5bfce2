"""Fret and pitch against the tablature module of music21; frets against handbook values."""

from __future__ import annotations

import pytest
from music21.tablature import FretNote, GuitarFretBoard

from arranger.neck.fretboard import Neck, Spot, fret_mm, spots_of
from arranger.tables import instrument

EVERY_SPOT = [Spot(string, fret) for string in range(1, 7) for fret in range(13)]


def neck() -> Neck:
    """Twelve frets of the table's guitar at 650 mm, no capo."""
    guitar = instrument()
    return Neck(guitar.tuning, 12, 650.0, guitar.string_spacing, 0)


def sounding(spot: Spot) -> int:
    """The MIDI pitch at ``spot`` as music21's guitar fretboard has it."""
    board = GuitarFretBoard(fretNotes=[FretNote(spot.string, spot.fret)])
    (pitch,) = [found for found in board.getPitches() if found is not None]
    return int(pitch.midi)


@pytest.mark.parametrize("spot", EVERY_SPOT, ids=lambda spot: f"{spot.string}-{spot.fret}")
def test_pitch_of_a_fret(spot):
    """Source: music21.tablature.GuitarFretBoard (sounding pitch)."""
    assert neck().midi(spot) == sounding(spot)


def test_every_place_of_a_pitch_is_found():
    """The search from pitch to places, against music21 asked for every place."""
    heard = {spot: sounding(spot) for spot in EVERY_SPOT}
    for midi in range(min(heard.values()) - 2, max(heard.values()) + 3):
        assert set(spots_of(neck(), midi)) == {s for s, found in heard.items() if found == midi}


@pytest.mark.parametrize(("fret", "mm"), [(1, 36.48), (4, 134.09), (5, 163.05), (12, 325.00)])
def test_fret_mm_at_650(fret, mm):
    """Fret 1 is printed in a luthier's handbook table; the others follow its formula."""
    assert fret_mm(fret, 650.0) == pytest.approx(mm, abs=0.005)


@pytest.mark.parametrize(
    ("fret", "mm"),
    [
        (1, 36.35), (2, 70.66), (3, 103.05), (4, 133.62), (5, 162.47), (6, 189.71),
        (7, 215.41), (8, 239.67), (9, 262.58), (10, 284.19), (12, 323.85),
    ],
)  # fmt: skip
def test_fret_mm_at_647_7(fret, mm):
    """Printed in a luthier's handbook table."""
    assert fret_mm(fret, 647.7) == pytest.approx(mm, abs=0.011)
