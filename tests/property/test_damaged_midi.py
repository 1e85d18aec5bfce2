"""Whatever bytes are damaged, a file is read or refused in words."""

from __future__ import annotations

import io
from pathlib import Path

import mido
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from arranger.music.errors import ArrangerError
from arranger.music.score import Score
from arranger.read import read
from arranger.read.repair import repair
from arranger.read.table import reading_table


def small_piece() -> bytes:
    """Four bars of 2/4 in two tracks, with title, meter, key and tempo."""
    file = mido.MidiFile(type=1, ticks_per_beat=96)
    first = mido.MidiTrack([mido.MetaMessage("track_name", name="Small Piece")])
    first.append(mido.MetaMessage("time_signature", numerator=2, denominator=4))
    first.append(mido.MetaMessage("key_signature", key="Eb"))
    first.append(mido.MetaMessage("set_tempo", tempo=600000))
    file.tracks.append(first)
    for midi, length in ((72, 48), (48, 96)):
        track = mido.MidiTrack()
        for step in range(8 * 96 // length):
            track.append(mido.Message("note_on", note=midi + step % 5))
            track.append(mido.Message("note_off", note=midi + step % 5, time=length))
        file.tracks.append(track)
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


PIECE = small_piece()
FLIPS = st.lists(
    st.tuples(st.integers(0, len(PIECE) - 1), st.integers(0, 255)), min_size=1, max_size=12
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("damaged")


def read_or_refused(path: Path) -> tuple[Score | None, str]:
    try:
        return read(path), ""
    except ArrangerError as error:
        return None, error.what


def try_reading(data: bytes, folder: Path) -> None:
    """Read ``data``; a refusal in words is as good as a score."""
    path = folder / "damaged.mid"
    path.write_bytes(data)
    score, refusal = read_or_refused(path)
    if score is None:
        assert refusal
        return
    assert score.notes
    assert all(note.length > 0 and note.onset >= 0 for note in score.notes)
    assert all(note.end <= score.end for note in score.notes)


class TestDamagedBytes:
    """No byte sequence leads to anything but a score or an error of our tree."""

    @settings(max_examples=300, deadline=5000, suppress_health_check=list(HealthCheck))
    @given(flips=FLIPS)
    def test_flipped_bytes(self, folder: Path, flips: list[tuple[int, int]]) -> None:
        data = bytearray(PIECE)
        for place, value in flips:
            data[place] = value
        try_reading(bytes(data), folder)

    @settings(max_examples=60, deadline=5000, suppress_health_check=list(HealthCheck))
    @given(stop=st.integers(0, len(PIECE)))
    def test_truncated_files(self, folder: Path, stop: int) -> None:
        try_reading(PIECE[:stop], folder)

    @settings(max_examples=60, deadline=5000, suppress_health_check=list(HealthCheck))
    @given(place=st.integers(0, len(PIECE)), junk=st.binary(max_size=40))
    def test_inserted_bytes(self, folder: Path, place: int, junk: bytes) -> None:
        try_reading(PIECE[:place] + junk + PIECE[place:], folder)

    @settings(max_examples=60, deadline=5000, suppress_health_check=list(HealthCheck))
    @given(body=st.binary(max_size=200))
    def test_any_bytes_as_a_track(self, folder: Path, body: bytes) -> None:
        try_reading(PIECE[:14] + b"MTrk" + len(body).to_bytes(4, "big") + body, folder)


@settings(max_examples=60, deadline=5000)
@given(flips=FLIPS)
def test_repaired_bytes_are_a_file_any_library_reads(flips: list[tuple[int, int]]) -> None:
    data = bytearray(PIECE)
    for place, value in flips:
        data[place] = value
    try:
        repaired = repair(bytes(data), reading_table().limits, where="piece")
    except ArrangerError:
        return
    mido.MidiFile(file=io.BytesIO(repaired.data), charset="utf-8")
