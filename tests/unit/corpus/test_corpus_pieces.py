"""The corpus is what its sources say: same bytes, full bars, two hands."""

from __future__ import annotations

import re
import subprocess
import sys
from fractions import Fraction
from pathlib import Path

import mido
import pytest
from music21 import converter, meter, stream

from arranger.read import read

CORPUS = Path(__file__).parents[3] / "corpus"
SOURCES = sorted((CORPUS / "sources").glob("*.abc"))
NAMES = [source.stem for source in SOURCES]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("corpus")
    subprocess.run([sys.executable, CORPUS / "make.py", folder], check=True)
    return folder


def test_there_are_seven_pieces_and_each_is_explained() -> None:
    assert len(SOURCES) >= 7
    page = (CORPUS / "README.md").read_text("utf-8")
    assert [name for name in NAMES if f"`{name}`" not in page] == []


@pytest.mark.parametrize("name", NAMES)
def test_committed_file_is_what_the_script_makes(name: str, made: Path) -> None:
    assert (CORPUS / f"{name}.mid").read_bytes() == (made / f"{name}.mid").read_bytes()


@pytest.mark.parametrize("source", SOURCES, ids=NAMES)
def test_source_states_title_origin_and_licence(source: Path) -> None:
    fields = dict(re.findall(r"^([A-Z]):(.*)$", source.read_text("utf-8"), re.MULTILINE))
    assert {"T", "C", "S", "N", "M", "L", "Q", "K"} <= fields.keys()
    assert "CC0" in fields["N"]


@pytest.mark.parametrize("source", SOURCES, ids=NAMES)
def test_every_bar_is_full_in_every_voice(source: Path) -> None:
    """A pick-up and the last bar may be short; together they are then one full bar."""
    score = converter.parse(source.read_text("utf-8"), format="abc")
    signature = score.recurse().getElementsByClass(meter.TimeSignature).first()
    full = Fraction(signature.barDuration.quarterLength)
    for part in score.parts:
        lengths = [
            Fraction(bar.duration.quarterLength)
            for bar in part.getElementsByClass(stream.Measure)
        ]
        if lengths[0] != full and lengths[-1] != full:
            assert lengths[0] + lengths[-1] == full
        assert set(lengths[1:-1]) == {full}


@pytest.mark.parametrize("source", SOURCES, ids=NAMES)
def test_no_accidental_is_left_to_be_understood(source: Path) -> None:
    """Readers differ on whether an accidental lasts to the bar line, so each is written."""
    text = re.sub(r'^[A-Z]:.*$|"[^"]*"', "", source.read_text("utf-8"), flags=re.MULTILINE)
    for bar in re.split(r"[|\n]", text):
        altered: set[str] = set()
        for sign, letter in re.findall(r"([\^_=]*)([A-Ga-g][,']*)", bar):
            assert sign or letter not in altered, f"{letter} in: {bar}"
            if sign:
                altered.add(letter)


@pytest.mark.parametrize("name", NAMES)
def test_file_has_a_tempo_and_two_hands_that_never_strike_one_key_twice(name: str) -> None:
    file = mido.MidiFile(CORPUS / f"{name}.mid")
    assert [track.name for track in file.tracks[1:]] == ["right hand", "left hand"]
    assert any(message.type == "set_tempo" for message in file.tracks[0])
    for track in file.tracks[1:]:
        held: set[int] = set()
        for message in track:
            if message.type == "note_on":
                assert message.note not in held
                held.add(message.note)
            elif message.type == "note_off":
                held.remove(message.note)
        assert not held


@pytest.mark.parametrize("source", SOURCES, ids=NAMES)
def test_source_and_midi_file_are_one_piece_to_the_reader(source: Path) -> None:
    """Two ways into the program, the notation and the file made from it, meet."""
    written, played = read(source), read(CORPUS / f"{source.stem}.mid")
    assert [(note.onset, note.midi) for note in written.notes] == [
        (note.onset, note.midi) for note in played.notes
    ]
    assert [(bar.number, bar.start) for bar in written.bars] == [
        (bar.number, bar.start) for bar in played.bars
    ]
    assert written.tempo == pytest.approx(played.tempo, rel=1e-5)
