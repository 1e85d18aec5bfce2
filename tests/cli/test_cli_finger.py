"""Fingering a score as written, as a guitarist types it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from lxml import etree
from typer.testing import CliRunner

import arranger
from arranger.run.cli import app

NAMES = [
    "arrangement.json",
    "practice.mid",
    "score.musicxml",
    "sheet.html",
    "sheet.pdf",
    "tab.txt",
]


def _note(pitch: str, duration: int, *, low: bool = False, chord: bool = False) -> str:
    """A note such as ``E4``; ``low`` in the thumb's voice, ``chord`` with the one before."""
    return (
        f"<note>{'<chord/>' if chord else ''}<pitch><step>{pitch[0]}</step>"
        f"<octave>{pitch[1]}</octave></pitch><duration>{duration}</duration>"
        f"<voice>{2 if low else 1}</voice><stem>{'down' if low else 'up'}</stem></note>"
    )


def _study(*bars: str) -> str:
    """A study of our own in 4/4, two divisions a quarter, written for guitar."""
    start = (
        "<attributes><divisions>2</divisions><time><beats>4</beats><beat-type>4</beat-type>"
        "</time><clef><sign>G</sign><line>2</line>"
        "<clef-octave-change>-1</clef-octave-change></clef></attributes>"
    )
    measures = "".join(
        f'<measure number="{number}">{start if number == 1 else ""}{bar}</measure>'
        for number, bar in enumerate(bars, 1)
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0"><part-list>'
        '<score-part id="P1"><part-name>Guitar</part-name></score-part></part-list>'
        f'<part id="P1">{measures}</part></score-partwise>'
    )


BACK = "<backup><duration>8</duration></backup>"
TUNE = "".join(_note(pitch, 2) for pitch in ("E4", "D4", "C4", "D4"))
PLAYABLE = TUNE + BACK + _note("C3", 8, low=True)
IMPOSSIBLE = _note("E2", 8) + _note("F2", 8, chord=True)


@pytest.fixture
def study(tmp_path: Path) -> Path:
    path = tmp_path / "little_study.musicxml"
    path.write_text(_study(PLAYABLE, IMPOSSIBLE), "utf-8")
    return path


def test_all_documents_and_what_no_hand_can_play(study: Path, tmp_path: Path) -> None:
    result = CliRunner().invoke(app, ["finger", str(study), "--out", str(tmp_path / "out")])
    assert result.exit_code == 0, result.stderr
    folder = tmp_path / "out" / "little_study" / "finger"
    assert sorted(path.name for path in folder.iterdir() if path.name[0] != ".") == NAMES
    assert "(bar 2)" in result.stdout
    assert "cannot be played where it stands" in result.stdout
    document = json.loads((folder / "arrangement.json").read_text("utf-8"))
    assert document["level"] == "as written"
    assert document["transposed_by"] == 0
    assert [lost["onset"] for lost in document["dropped"]] == ["4"]
    assert len(document["notes"]) == 6
    thumbs = [note for note in document["notes"] if note["voice"] == "bass"]
    assert all(note["right"] == "p" for note in thumbs)
    score = etree.parse(folder / "score.musicxml")
    assert len(score.findall(".//technical")) == 6


def test_the_same_from_python(study: Path) -> None:
    first, second = arranger.finger(study), arranger.finger(str(study))
    assert first.arrangement == second.arrangement
    assert first.documents() == second.documents()


def test_a_file_that_is_none_is_said_in_words(tmp_path: Path) -> None:
    missing = tmp_path / "nothing.musicxml"
    result = CliRunner().invoke(app, ["finger", str(missing)])
    assert result.exit_code == 3
    assert "nothing.musicxml" in result.stderr
    assert "Traceback" not in result.stderr


def test_a_capo_that_cannot_be_meant(study: Path) -> None:
    result = CliRunner().invoke(app, ["finger", str(study), "--capo", "13"])
    assert result.exit_code == 2
    assert "--capo" in result.stderr
