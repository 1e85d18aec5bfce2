"""Side by side, as a teacher types it."""

from __future__ import annotations

import contextlib
import errno
import json
from pathlib import Path

import pytest
from small_pieces import small_piece
from typer.testing import CliRunner, Result

import arranger
from arranger.music.comparison import Refusal
from arranger.music.errors import LevelMismatch
from arranger.run import cli, pipeline
from arranger.run import compare as comparing
from arranger.run.cli import app
from arranger.tables import LEVEL_NAMES

HYMN = Path(__file__).parents[2] / "corpus" / "amazing_grace_hymn.mid"


def _compare(out: Path, *options: str) -> Result:
    return CliRunner().invoke(app, ["compare", str(HYMN), "--out", str(out), *options])


def test_the_four_levels_on_the_terminal_and_as_a_page(tmp_path: Path) -> None:
    result = _compare(tmp_path, "--bars", "1-4")
    assert result.exit_code == 0, result.stderr
    for word in (*LEVEL_NAMES, "difficulty", "techniques"):
        assert word in result.stdout
    page = tmp_path / HYMN.stem / "compare.html"
    assert page.read_text("utf-8").startswith("<!doctype html>")
    again = page.read_bytes()
    assert _compare(tmp_path, "--bars", "1-4").exit_code == 0
    assert page.read_bytes() == again
    seen = {file.name for file in page.parent.iterdir() if not file.name.startswith(".")}
    assert seen == {"compare.html"}


def test_two_processes_make_what_one_makes() -> None:
    one, two = (
        arranger.compare(HYMN, levels=LEVEL_NAMES[:2], bars="1-2", jobs=jobs) for jobs in (1, 2)
    )
    assert one == two


def test_players_are_called_as_their_files_say(tmp_path: Path) -> None:
    (tmp_path / "first.toml").write_text('name = "Anna"\n', "utf-8")
    (tmp_path / "second.toml").write_text('reach = "large"\n', "utf-8")
    (tmp_path / "third.toml").write_text('name = "Anna"\nreach = "small"\n', "utf-8")

    def names(*stems: str) -> list[str]:
        files = [tmp_path / f"{stem}.toml" for stem in stems]
        found = arranger.compare(HYMN, players=files, bars="1-2")
        return [column.name for column in found.columns]

    assert names("first", "second") == ["Anna", "second"]
    assert names("first", "third") == ["first", "third"]


def test_two_players_against_each_other(tmp_path: Path) -> None:
    for name, reach in (("anna", "small"), ("ben", "large")):
        (tmp_path / f"{name}.toml").write_text(f'reach = "{reach}"\n', "utf-8")
    files = [tmp_path / "anna.toml", tmp_path / "ben.toml"]
    found = arranger.compare(HYMN, players=files, bars="1-4")
    assert [column.name for column in found.columns] == ["anna", "ben"]
    both = arranger.compare(HYMN, players=files, levels=["beginner", "advanced"], bars="1-2")
    assert [column.name for column in both.columns] == [
        "anna, beginner",
        "ben, beginner",
        "anna, advanced",
        "ben, advanced",
    ]


def test_the_piece_is_understood_once(monkeypatch: pytest.MonkeyPatch) -> None:
    heard = []
    understand = comparing.understand

    def listening(*args: object, **options: object) -> object:
        heard.append(args)
        return understand(*args, **options)  # type: ignore[arg-type]

    monkeypatch.setattr(comparing, "understand", listening)
    assert len(arranger.compare(HYMN, bars="1-2").columns) == 4
    assert len(heard) == 1


def test_a_level_that_does_not_suit_is_a_column_that_says_why(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def unsuited(analysis: object, level: str, wishes: object) -> object:
        if level == "beginner":
            raise LevelMismatch("the tune is lost", bars=(3,))
        return pipeline.suited(analysis, level, wishes)  # type: ignore[arg-type]

    monkeypatch.setattr(comparing, "suited", unsuited)
    first, *others = arranger.compare(HYMN, bars="1-2").columns
    assert first.outcome == Refusal(why="the tune is lost", bars=(3,))
    assert all(column.version for column in others)


@pytest.mark.parametrize(
    "options", [["--level", "master"], ["--player", "nobody.toml"], ["--bars", "9999-10000"]]
)
def test_wrong_options_are_one_sentence(tmp_path: Path, options: list[str]) -> None:
    result = _compare(tmp_path, *options)
    assert result.exit_code == 2
    assert result.stderr.startswith("arranger: ")
    assert "Traceback" not in result.output
    assert not list(tmp_path.iterdir())


def test_the_curve_keeps_more_at_every_ten(tmp_path: Path) -> None:
    piece = small_piece(tmp_path / "arch.mid")
    asked = ["compare", str(piece), "--curve", "--json", "--out", str(tmp_path)]
    result = CliRunner().invoke(app, asked)
    assert result.exit_code == 0, result.stderr
    told = json.loads(result.stdout)
    assert [column["name"] for column in told["columns"]] == list(LEVEL_NAMES)
    limits = [point["limit"] for point in told["curve"]]
    assert limits == list(range(limits[0], 100, 10))  # none is left out above the easiest
    assert all(point["score"] <= point["limit"] for point in told["curve"])
    kept = [point["richness"] for point in told["curve"]]
    assert kept == sorted(kept)
    front = [(point["score"], point["richness"]) for point in told["front"]]
    assert front == sorted(set(front))
    assert [share for _, share in front] == sorted({share for _, share in front})
    page = (tmp_path / "arch" / "compare.html").read_text("utf-8")
    assert "The most that can be kept at each difficulty" in page


def test_a_curve_is_of_one_player(tmp_path: Path) -> None:
    for name in ("anna", "ben"):
        (tmp_path / f"{name}.toml").write_text('reach = "small"\n', "utf-8")
    players = [option for name in ("anna", "ben") for option in ("--player", f"{name}.toml")]
    asked = ["compare", str(HYMN), "--curve", "--out", str(tmp_path / "out")]
    with contextlib.chdir(tmp_path):
        result = CliRunner().invoke(app, [*asked, *players])
    assert result.exit_code == 2
    assert "--curve: a curve is of one player" in result.stderr


def test_a_reader_that_has_seen_enough_is_no_fault(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is piped into ``head`` ends without a word."""

    def closed(_: object) -> None:
        raise BrokenPipeError(errno.EPIPE, "Broken pipe")

    monkeypatch.setattr(cli, "_say", closed)
    result = _compare(tmp_path, "--bars", "1-2", "--level", "beginner")
    assert result.exit_code == 1
    assert "fault" not in result.output
    assert (tmp_path / HYMN.stem / "compare.html").is_file()
