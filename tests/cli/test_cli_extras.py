"""What can be asked for beside the usual documents, from the command line."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from arranger.run.cli import app

PIECE = Path(__file__).parents[2] / "corpus" / "amazing_grace_hymn.mid"


def _arrange(out: Path, *options: str) -> Result:
    return CliRunner().invoke(app, ["arrange", str(PIECE), "--out", str(out), *options])


def test_extras_land_beside_the_rest_and_other_ways_are_told(tmp_path: Path) -> None:
    asked = ("--spoken", "--wav", "--practice-tempos", "--tab-only", "--paper", "letter")
    result = _arrange(tmp_path, *asked, "--others", "14", "--anyway")
    assert result.exit_code == 0, result.stderr
    made = {file.name for file in (tmp_path / PIECE.stem / "beginner").iterdir()}
    assert made >= {
        "spoken.txt",
        "practice.wav",
        "practice_slow.mid",
        "practice_target.mid",
        "sheet.pdf",
    }
    assert "other ways to play bar 14:" in result.stdout
    assert "[[bar]]" in result.stdout


@pytest.mark.parametrize(
    "options", [("--scale", "9"), ("--paper", "a5"), ("--others", "x"), ("--others", "99")]
)
def test_what_cannot_be_meant_is_said_and_nothing_is_written(
    tmp_path: Path, options: tuple[str, str]
) -> None:
    result = _arrange(tmp_path, *options)
    assert result.exit_code == 2
    assert not (tmp_path / PIECE.stem).exists()
