"""A teacher corrects what was heard, from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from arranger.run.cli import app

PIECE = str(Path(__file__).parents[2] / "corpus" / "little_minuet.mid")


def look(*options: str) -> dict[str, list[dict[str, object]]]:
    result = CliRunner().invoke(app, ["look", PIECE, "--json", *options])
    assert result.exit_code == 0, result.output
    said: dict[str, list[dict[str, object]]] = json.loads(result.stdout)
    return said


def test_hands_and_melody_are_as_told() -> None:
    notes = look("--hands", "C4")["notes"]
    assert all((n["hand"] == "right") == (int(str(n["midi"])) >= 60) for n in notes)
    heard, told = look(), look("--melody-track", "2")
    lower = {n["midi"] for n in heard["notes"] if n["hand"] == "left"}
    tune = {n["midi"] for n in told["notes"] if n["voice"] == "melody"}
    assert tune <= lower


def test_every_decision_names_an_option_of_the_command() -> None:
    options = {o for said in look()["decisions"] for o in str(said["option"]).split("/")}
    shown = CliRunner().invoke(app, ["look", "--help"], terminal_width=200).stdout
    assert options
    assert all(option in shown for option in options)


@pytest.mark.parametrize(
    "options",
    [
        ("--hands", "nowhere.txt"),
        ("--melody-track", "7"),
        ("--melody-track", "0"),
        ("--tempo-hint", "9000"),
        ("--beats", "nowhere.txt"),
    ],
)
def test_what_cannot_be_meant_is_wrong_usage(options: tuple[str, str]) -> None:
    for command in ("look", "arrange"):
        result = CliRunner().invoke(app, [command, PIECE, *options])
        assert result.exit_code == 2
        assert options[0] in result.output
