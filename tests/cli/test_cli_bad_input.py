"""What is not music is refused in one sentence: what, where, what next; never a traceback."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import mido
import pytest
from small_pieces import small_piece
from typer.testing import CliRunner

from arranger.run.cli import app
from arranger.run.store import piece_name

CORPUS = Path(__file__).parents[2] / "corpus"


def _drums_only(path: Path) -> None:
    """One bar of bass drum (note 36) on the percussion channel, counted from 0 as 9."""
    track = mido.MidiTrack()
    for _ in range(4):
        track.append(mido.Message("note_on", channel=9, note=36, velocity=90, time=0))
        track.append(mido.Message("note_off", channel=9, note=36, velocity=0, time=480))
    file = mido.MidiFile(ticks_per_beat=480)
    file.tracks.append(track)
    file.save(path)


@pytest.fixture
def bad(tmp_path: Path, request: pytest.FixtureRequest) -> Path:
    path = tmp_path / "bad.mid"
    kind = request.param
    if kind == "empty":
        path.write_bytes(b"")
    elif kind == "text":
        path.write_text("Dear student, here is no music.", "utf-8")
    elif kind == "header only":
        path.write_bytes(bytes.fromhex("4d546864 00000006 0000 0001 01e0"))
    elif kind == "drums only":
        _drums_only(path)
    elif kind == "folder":
        path.mkdir()
    return path


KINDS = ["empty", "text", "header only", "drums only", "folder", "missing"]


@pytest.mark.parametrize("bad", KINDS, indirect=True)
@pytest.mark.parametrize("command", ["look", "arrange"])
def test_unreadable_input_ends_with_3(command: str, bad: Path, tmp_path: Path) -> None:
    options = ["--out", str(tmp_path / "out")] if command == "arrange" else []
    result = CliRunner().invoke(app, [command, str(bad), *options])
    assert result.exit_code == 3
    assert result.stdout == ""
    assert result.stderr.startswith("arranger: bad.mid: ")
    assert result.stderr.count("\n") == 1
    assert not (tmp_path / "out").exists()


def test_no_traceback_reaches_the_terminal(tmp_path: Path) -> None:
    path = tmp_path / "bad.mid"
    path.write_bytes(b"RIFF")
    command = [sys.executable, "-c", "from arranger.run.cli import main; main()"]
    ended = subprocess.run(
        [*command, "look", str(path)], capture_output=True, text=True, check=False
    )
    assert ended.returncode == 3
    assert "Traceback" not in ended.stdout + ended.stderr


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--level", "expert"], "there is no level 'expert'"),
        (["--key", "H"], "'H' is not a key"),
        (["--capo", "30"], "capo"),
        (["--player", "nobody.toml"], "the player file cannot be read"),
        (["--meter", "three"], "three"),
        (["--marks", "nothing.toml"], "the marks file cannot be read"),
        (["--bars", "8-2"], "not a range of bars"),
        (["--bars", "90-99"], "the piece has bars 1 to 32"),
        (["--tempo", "0"], "a tempo of 0"),
        (["--colour", "blue"], "--colour"),
    ],
)
def test_wrong_usage_ends_with_2(options: list[str], said: str, tmp_path: Path) -> None:
    piece = CORPUS / "little_minuet.mid"
    result = CliRunner().invoke(
        app, ["arrange", str(piece), "--out", str(tmp_path / "out"), *options]
    )
    assert result.exit_code == 2
    assert said in result.stderr
    assert not (tmp_path / "out").exists()


STEERS = "a\x1b[31m\x07\u202e\\b"
"""A name that would colour a terminal, ring, and turn what follows round."""


@pytest.mark.skipif(sys.platform == "win32", reason="no such file names there")
def test_names_of_files_and_players_steer_no_terminal(tmp_path: Path) -> None:
    piece = small_piece(tmp_path / f"{STEERS}\n.mid")
    player = tmp_path / "player.toml"
    player.write_text('name = "a\\u001b[31m\\u0007"', "utf-8")
    out = ["--out", str(tmp_path / f"{STEERS}out")]
    runs = [
        CliRunner().invoke(app, [command, str(piece), *options])
        for command, *options in (
            ("look", "--key", "Am"),
            ("arrange", "--anyway", "--keys", *out),
            ("compare", "--level", "beginner", "--player", str(player), *out),
            ("finger", *out),
        )
    ]
    made = tmp_path / f"{STEERS}out" / piece_name(piece) / "beginner" / "arrangement.json"
    document = json.loads(made.read_text("utf-8"))
    assert document["source"]["file"] == piece.name
    document["title"] = STEERS
    made.write_text(json.dumps(document), "utf-8")
    runs.append(CliRunner().invoke(app, ["rate", str(made)]))
    for run in runs:
        assert run.exit_code == 0, run.output
        assert all(char.isprintable() or char == "\n" for char in run.output)


@pytest.mark.skipif(sys.platform == "win32", reason="no such file names there")
@pytest.mark.parametrize("command", ["look", "arrange", "rate", "finger", "compare"])
def test_refusal_is_one_line_whatever_the_name(command: str, tmp_path: Path) -> None:
    path = tmp_path / f"{STEERS}\n.mid"
    path.write_bytes(b"no music")
    result = CliRunner().invoke(app, [command, str(path)])
    assert result.exit_code == 3
    assert result.stderr.count("\n") == 1
    assert result.stderr[:-1].isprintable()


def test_place_that_cannot_be_written_to_ends_with_2(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file, not a folder")
    piece = CORPUS / "little_minuet.mid"
    result = CliRunner().invoke(
        app, ["arrange", str(piece), "--anyway", "--out", str(tmp_path / "out")]
    )
    assert result.exit_code == 2
    assert "--out" in result.stderr
