"""What the README shows works as shown."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from typer.testing import CliRunner

from arranger.run.cli import app
from arranger.tables import default_player, level_named, player_from_file
from arranger.tables.marks import marks_from_file

ROOT = Path(__file__).parents[3]
README = (ROOT / "README.md").read_text("utf-8")
TOML_SHOWN = re.findall(r"```toml\n(.*?)```", README, re.DOTALL)


def test_ci_runs_the_test_command_word_for_word() -> None:
    command = "python3 -m venv .venv && .venv/bin/pip install '.[test]' && .venv/bin/pytest"
    assert f"    {command}\n" in README
    assert f"\n{command}\n" in (ROOT / ".ci" / "run").read_text("utf-8")


def test_piece_of_the_first_command_exists() -> None:
    found = re.search(r"arranger arrange (corpus/\S+\.mid)", README)
    assert found
    assert (ROOT / found[1]).is_file()


def test_limits_stated_are_those_of_the_table() -> None:
    table = tomllib.loads((ROOT / "arranger" / "tables" / "reading.toml").read_text("utf-8"))
    limits = table["limits"]
    section = README.partition("## Limits")[2].partition("\n## ")[0]
    said = set(re.findall(r"\d+", section))
    limits["unpacked"] *= limits["megabytes"]
    del limits["ticks_a_quarter"]  # no unit that a teacher knows
    assert {f"{limit:.0f}" for limit in limits.values()} <= said


def test_player_file_shown_is_a_player_file(tmp_path: Path) -> None:
    path = tmp_path / "anna.toml"
    path.write_text(TOML_SHOWN[0], "utf-8")
    level = level_named("beginner")
    anna, usual = player_from_file(path, level), default_player(level)
    assert anna.name == "Anna"
    assert anna.scale_length == 630.0
    assert anna.reach.between(1, 4) < usual.reach.between(1, 4)


def test_marks_file_shown_is_a_marks_file(tmp_path: Path) -> None:
    path = tmp_path / "wishes.toml"
    path.write_text(TOML_SHOWN[1], "utf-8")
    marks = marks_from_file(path)
    assert marks.leave_out == (16,)
    assert [voicing.name for voicing in marks.voicings] == ["G7", "C"]
    assert marks.marked_bars == {3}
    assert [note.string for note in marks.note_marks] == [6, 2, 3, None]


def test_commands_and_options_shown_exist() -> None:
    for command, options in re.findall(r"^    arranger (\w+)(.*)$", README, re.MULTILINE):
        usage = CliRunner().invoke(app, [command, "--help"])
        assert usage.exit_code == 0, command
        for option in re.findall(r"--\w+", options):
            assert option in usage.stdout
