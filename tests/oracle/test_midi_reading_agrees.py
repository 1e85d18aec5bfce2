"""Notes read from MIDI against partitura, whose notes are paired by other code (in seconds)."""

from __future__ import annotations

import os
from pathlib import Path

import partitura
import pytest

from arranger.read import read

FOLDER = Path(os.environ.get("ARRANGER_DATA", Path(__file__).parents[3] / "shared" / "data"))
NAMES = (
    "joplins_pineapplerag",
    "burgmullerjff_25ef-01",
    "bachjs_bwv-128",
    "chopinff_chop-28-14",
)


@pytest.mark.parametrize("name", NAMES)
def test_pitches_and_onsets_agree(name: str) -> None:
    """Every note that is no ornament, in files with one tempo and no crooked bars."""
    path = FOLDER / "piano" / f"{name}.mid"
    if not path.is_file():
        pytest.skip("the folder of open data is absent (ARRANGER_DATA names it)")
    score = read(path)
    heard = partitura.load_performance_midi(path).note_array()
    theirs = {
        (int(pitch), round(float(start) / 0.01))
        for pitch, start in zip(heard["pitch"], heard["onset_sec"], strict=True)
    }
    ours = {
        (note.midi, round(float(note.onset) * 60.0 / score.tempo / 0.01))
        for note in score.notes
        if note.ornament is None
    }
    near = {(midi, at + slip) for midi, at in theirs for slip in (-1, 0, 1)}
    assert ours <= near
    graces = sum(note.ornament is not None for note in score.notes)
    assert len(theirs) - len(ours) <= graces
