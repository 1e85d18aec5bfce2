"""What we read of a piece against pretty_midi, an independent reader of MIDI files.

Source: the library pretty_midi (Raffel and Ellis 2014); our reader works on the bytes and
exact ticks, it on seconds.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pretty_midi
import pytest

from arranger.read import read

CORPUS = Path(__file__).parents[2] / "corpus"
PIECES = sorted(CORPUS.glob("*.mid"))


@pytest.mark.parametrize("path", PIECES, ids=lambda path: path.stem)
def test_notes_begin_where_another_reader_hears_them(path: Path) -> None:
    """Every pitch at its quarter; a pick-up moves no note."""
    midi = pretty_midi.PrettyMIDI(str(path))
    heard = sorted(
        (Fraction(midi.time_to_tick(note.start), midi.resolution), note.pitch)
        for part in midi.instruments
        for note in part.notes
    )
    ours = sorted((note.onset, note.midi) for note in read(path).notes)
    first = heard[0][0] - ours[0][0]  # silence before the piece is left out
    assert [(onset - first, pitch) for onset, pitch in heard] == ours


@pytest.mark.parametrize("path", PIECES, ids=lambda path: path.stem)
def test_tempo_and_signatures_agree(path: Path) -> None:
    midi = pretty_midi.PrettyMIDI(str(path))
    score = read(path)
    assert score.tempo == pytest.approx(midi.get_tempo_changes()[1][-1], rel=1e-4)
    names = [
        pretty_midi.key_number_to_key_name(k.key_number) for k in midi.key_signature_changes
    ]
    assert [mark.key.name.lower() for mark in score.keys] == [name.lower() for name in names]
    meters = {(meter.numerator, meter.denominator) for meter in midi.time_signature_changes}
    # Pick-ups and last bars have short meters in the file; the full bars between do not.
    full = score.bars[1]
    assert (full.numerator, full.denominator) in meters
