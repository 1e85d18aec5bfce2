"""The commands as a teacher types them."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

import arranger
from arranger.run.cli import app
from arranger.tables import LEVEL_NAMES, levels

CORPUS = Path(__file__).parents[2] / "corpus"
PIECES = sorted(CORPUS.glob("*.mid"))
SLOW = {
    "numpy",
    "ortools",
    "music21",
    "pretty_midi",
    "pydantic",
    "rich",
    "lxml",
    "verovio",
    "typst",
    "mido",
}


def test_help_names_every_command() -> None:
    result = CliRunner().invoke(app, ["--help"])
    assert result.exit_code == 0
    for command in ("arrange", "compare", "look", "levels"):
        assert command in result.stdout


COMMANDS = ("", "arrange", "compare", "batch", "finger", "rate", "look", "levels")


@pytest.mark.parametrize("command", COMMANDS)
def test_help_reads_well_at_80_columns(command: str) -> None:
    """However wide the terminal is: a page of a manual has 80 columns."""
    for wide in ("80", "200"):
        asked = [command, "--help"] if command else ["--help"]
        result = CliRunner().invoke(app, asked, env={"COLUMNS": wide})
        assert result.exit_code == 0
        assert [line for line in result.stdout.splitlines() if len(line) > 80] == []


def test_no_command_is_without_help() -> None:
    assert {info.name or info.callback.__name__ for info in app.registered_commands} == {
        *COMMANDS[1:]
    }


@pytest.mark.parametrize(
    ("shell", "words", "answer"),
    [
        ("bash", "arranger com", "compare"),
        ("zsh", "arranger lev", "levels"),
        ("bash", "arranger arrange x.mid --level elem", "elementary"),
        ("fish", "arranger batch x --level adv", "advanced"),
    ],
)
def test_shell_completes_commands_and_levels(shell: str, words: str, answer: str) -> None:
    asked = {
        "_ARRANGER_COMPLETE": f"complete_{shell}",
        "COMP_WORDS": words,
        "COMP_CWORD": str(words.count(" ")),
        "_TYPER_COMPLETE_FISH_ACTION": "get-args",
        "_TYPER_COMPLETE_ARGS": words,
    }
    code = "from arranger.run.cli import app; app(prog_name='arranger')"
    ended = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, **asked},
    )
    assert answer in ended.stdout


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_terminal_without_our_signs_is_no_fault(encoding: str) -> None:
    """Such a terminal, or a file on some systems, has no flat sign and no box lines."""
    for command in (("levels",), ("look", str(CORPUS / "greensleeves.mid"))):
        ended = subprocess.run(
            [sys.executable, "-c", "from arranger.run.cli import main; main()", *command],
            capture_output=True,
            check=False,
            env={**os.environ, "PYTHONIOENCODING": encoding},
        )
        assert ended.stderr == b""
        assert ended.returncode == 0
        assert ended.stdout.decode(encoding)


def test_help_loads_no_slow_library() -> None:
    """What keeps ``arranger --help`` and ``import arranger`` quick."""
    code = (
        "import sys, arranger; from arranger.run.cli import app;"
        "app(['--help'], standalone_mode=False);"
        "print(*sys.modules, file=sys.stderr)"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert SLOW & set(ended.stderr.split()) == set()


def test_version_is_said() -> None:
    result = CliRunner().invoke(app, ["--version"])
    assert result.exit_code == 0
    assert result.stdout.startswith("arranger ")


def test_levels_shows_the_numbers_of_the_table() -> None:
    result = CliRunner().invoke(app, ["levels"])
    assert result.exit_code == 0
    for name in LEVEL_NAMES:
        assert name in result.stdout
        assert f"{levels().named(name).melody_gap:.2f} s" in result.stdout or name == "advanced"


@pytest.mark.parametrize("piece", PIECES, ids=lambda piece: piece.stem)
def test_look_shows_a_page_that_fits_a_terminal(piece: Path) -> None:
    result = CliRunner().invoke(app, ["look", str(piece)])
    assert result.exit_code == 0
    assert "chords by bar" in result.stdout
    assert max(len(line) for line in result.stdout.splitlines()) <= 80


def test_look_says_the_same_as_json() -> None:
    result = CliRunner().invoke(app, ["look", "--json", str(CORPUS / "tin_kettle_rag.mid")])
    assert result.exit_code == 0
    said = json.loads(result.stdout)
    assert said["title"] == "Tin Kettle Rag"
    assert said["key_sections"][0]["key"] == "F major"
    assert said["meter"][0] == {"bar": 0, "onset": "0", "length": "1/2", "meter": "2/4"}
    assert {note["voice"] for note in said["notes"]} == {"melody", "bass", "inner"}


def test_look_takes_the_teacher_at_his_word() -> None:
    piece = str(CORPUS / "greensleeves.mid")
    result = CliRunner().invoke(app, ["look", piece, "--key", "Am"])
    assert "A minor from bar 0" in result.stdout


def test_public_names_can_be_had() -> None:
    assert {"ArrangerError", "Result", "arrange", "compare"} <= set(arranger.__all__)
    for name in arranger.__all__:
        assert getattr(arranger, name)
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = arranger.nothing
