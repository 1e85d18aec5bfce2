"""Small MIDI files, written note by note so that a reader sees the music."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from pathlib import Path

import mido
import pytest
from midi_by_hand import QUARTER, Sung, conductor, track_of

MakeMidi = Callable[..., Path]


@pytest.fixture
def make_midi(tmp_path: Path) -> MakeMidi:
    """Writes a MIDI file: ``make_midi(right=[...], left=[...], meters=[(0, "2/4")])``."""

    def make(
        right: Sequence[Sung] = (),
        left: Sequence[Sung] = (),
        *,
        merged: Sequence[Sung] = (),
        meters: Sequence[tuple[float, str]] = (),
        tempos: Sequence[tuple[float, float]] = (),
        title: str = "",
        names: tuple[str, str] = ("right hand", "left hand"),
        file: str = "piece.mid",
    ) -> Path:
        midi = mido.MidiFile(type=1, ticks_per_beat=QUARTER)
        midi.tracks.append(conductor(meters, tempos, title))
        if right:
            midi.tracks.append(track_of(right, name=names[0]))
        if left:
            midi.tracks.append(track_of(left, name=names[1], channel=1))
        if merged:
            midi.tracks.append(track_of(merged))
        path = tmp_path / file
        midi.save(path)
        return path

    return make


@pytest.fixture
def march() -> tuple[list[Sung], list[Sung]]:
    """Eight bars of 2/4, C and G7 in turn: a tune over low note and chord."""
    right: list[Sung] = []
    left: list[Sung] = []
    for bar in range(8):
        at = bar * 2.0
        root, fifth, chord, tune = (
            (36, 43, (52, 55), (72, 76, 79, 76))
            if bar % 2 == 0
            else (43, 50, (53, 59), (77, 74, 71, 74))
        )
        right += [(at + k / 2, 0.5, midi) for k, midi in enumerate(tune)]
        left += [(at, 0.5, root), (at + 1, 0.5, fifth)]
        left += [(at + beat, 0.5, midi) for beat in (0.5, 1.5) for midi in chord]
    return right, left


@pytest.fixture(scope="session")
def data() -> Path:
    """The folder of open data: ARRANGER_DATA, else beside the repository; else skip."""
    beside = Path(__file__).parents[4] / "shared" / "data"
    folder = Path(os.environ.get("ARRANGER_DATA", beside))
    if not folder.is_dir():
        pytest.skip("the folder of open data is absent (ARRANGER_DATA names it)")
    return folder
