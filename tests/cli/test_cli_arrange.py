"""The main job, as one command."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from small_pieces import small_piece
from typer.testing import CliRunner, Result

from arranger.music.errors import InternalFault, LevelMismatch
from arranger.run import pipeline
from arranger.run.cli import app

CORPUS = Path(__file__).parents[2] / "corpus"
FILES = {
    "arrangement.json",
    "practice.mid",
    "score.musicxml",
    "sheet.html",
    "sheet.pdf",
    "tab.txt",
}


def _arrange(out: Path, *options: str, piece: str = "yankee_doodle_march") -> Result:
    return CliRunner().invoke(
        app, ["arrange", str(CORPUS / f"{piece}.mid"), "--out", str(out), *options]
    )


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("out")
    result = _arrange(out, "--anyway")
    assert result.exit_code == 0, result.stderr
    return out / "yankee_doodle_march" / "beginner"


def test_files_land_in_a_folder_by_piece_and_level(folder: Path) -> None:
    assert {file.name for file in folder.iterdir()} >= FILES
    assert all(file.stat().st_size for file in folder.iterdir())


def test_same_input_gives_the_same_bytes(folder: Path, tmp_path: Path) -> None:
    result = _arrange(tmp_path, "--anyway")
    assert result.exit_code == 0
    again = tmp_path / "yankee_doodle_march" / "beginner"
    for file in folder.iterdir():
        assert (again / file.name).read_bytes() == file.read_bytes(), file.name


def test_every_decision_is_a_line_with_its_option(folder: Path, tmp_path: Path) -> None:
    result = _arrange(tmp_path, "--anyway")
    decided = [line for line in result.stdout.splitlines() if line.startswith("decided: ")]
    assert decided
    assert all(line.endswith("]") and "[" in line for line in decided)


def test_options_that_decisions_name_exist(folder: Path, tmp_path: Path) -> None:
    """A line may only offer an option that the command has."""
    usage = CliRunner().invoke(app, ["arrange", "--help"]).stdout
    result = _arrange(tmp_path, "--anyway")
    for line in result.stdout.splitlines():
        if line.startswith("decided: "):
            option = line.rsplit("[", 1)[1].rstrip("]").split()[0]
            assert option in usage, line


def test_key_and_capo_asked_for_are_the_key_and_capo_played(tmp_path: Path) -> None:
    result = _arrange(tmp_path, "--anyway", "--key", "C", "--capo", "2")
    assert result.exit_code == 0, result.stderr
    made = tmp_path / "yankee_doodle_march" / "beginner" / "arrangement.json"
    said = json.loads(made.read_text("utf-8"))
    assert (said["key"], said["capo"]) == ("C major", 2)


def test_keys_are_ranked_with_reasons(tmp_path: Path) -> None:
    """Every major key of a beginner's list, the one taken before all others."""
    result = _arrange(tmp_path, "--keys", "--anyway")
    lines = result.stdout.splitlines()
    first = next(k for k, line in enumerate(lines) if line.startswith("keys tried"))
    ranked = [line for line in lines[first + 1 :] if line.startswith("  ")]
    assert ranked[0].split()[1:3] == ["taken,", "best:"]
    assert sorted(line.split()[0] for line in ranked) == ["A", "C", "D", "E", "G"]
    assert all("of the time its chords lie in shapes" in line for line in ranked)


def test_added_bass_notes_are_said_and_can_be_had_without(tmp_path: Path) -> None:
    options = ("--level", "elementary", "--key", "G")
    led = _arrange(tmp_path / "led", *options, piece="tin_kettle_rag")
    (line,) = (line for line in led.stdout.splitlines() if "bass notes added" in line)
    assert line.startswith("decided: bass notes added that lead to the next chord, in bar")
    assert line.endswith("[--plain-bass]")
    plain = _arrange(tmp_path / "plain", *options, "--plain-bass", piece="tin_kettle_rag")
    assert plain.exit_code == 0
    assert "bass notes added" not in plain.stdout


def test_strain_is_arranged_alone_and_said_so(tmp_path: Path) -> None:
    result = _arrange(tmp_path, "--anyway", "--bars", "17-24")
    assert result.exit_code == 0, result.stderr
    assert "noticed: bars 17 to 24 only" in result.stdout
    made = tmp_path / "yankee_doodle_march" / "beginner" / "arrangement.json"
    bars = json.loads(made.read_text("utf-8"))["bars"]
    assert [bar["bar"] for bar in bars] == list(range(17, 25))
    assert bars[0]["start"] == "0"


def test_marks_have_the_last_word(tmp_path: Path) -> None:
    wishes = tmp_path / "wishes.toml"
    wishes.write_text('key = "G"\nleave_out = [1, 2]\n', "utf-8")
    result = _arrange(tmp_path, "--anyway", "--marks", str(wishes))
    assert result.exit_code == 0, result.stderr
    made = tmp_path / "yankee_doodle_march" / "beginner" / "arrangement.json"
    said = json.loads(made.read_text("utf-8"))
    assert said["key"] == "G major"
    assert said["bars"][0]["bar"] == 3


def test_misfit_ends_with_4_and_names_bars_and_level(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise LevelMismatch("it does not suit", bars=(3, 4), nearest="elementary")

    monkeypatch.setattr(pipeline, "arrange", refuse)
    result = _arrange(tmp_path / "out")
    assert result.exit_code == 4
    assert "it does not suit" in result.stderr
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (InternalFault("a rule was broken", report=("bar 3: reach",)), "a rule was broken"),
        (ZeroDivisionError("in the solver"), "ZeroDivisionError"),
    ],
    ids=["refused by the judge", "a bug"],
)
def test_fault_of_ours_ends_with_70_and_keeps_the_input(
    error: Exception, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setattr(pipeline, "arrange", fail)
    result = _arrange(tmp_path / "out")
    assert result.exit_code == 70
    assert said in result.stderr
    assert "Traceback" not in result.stderr
    assert not (tmp_path / "out").exists()
    (report,) = (tmp_path / "state").rglob("report.txt")
    assert said in report.read_text("utf-8")
    kept = report.with_name("input.mid")
    assert kept.read_bytes() == (CORPUS / "yankee_doodle_march.mid").read_bytes()


def _easier(out: Path, *options: str) -> Result:
    piece = small_piece(out / "arch.mid")
    return CliRunner().invoke(app, ["arrange", str(piece), "--out", str(out), *options])


def test_the_richest_no_harder_than_asked_for(tmp_path: Path) -> None:
    result = _easier(tmp_path, "--difficulty", "13")
    assert result.exit_code == 0, result.stderr
    folder = tmp_path / "arch" / "difficulty-13"
    grade = json.loads((folder / "arrangement.json").read_text("utf-8"))["difficulty"]
    assert grade["low"] < grade["score"] <= min(13, grade["high"])
    assert "the richest found at 13 or less" in result.stdout
    assert "[--difficulty]" in result.stdout


def test_a_piece_that_cannot_be_so_easy_says_how_easy_it_can_be(tmp_path: Path) -> None:
    asked = ("--level", "beginner", "--difficulty")
    result = _easier(tmp_path, *asked, "5")
    assert result.exit_code == 4
    assert "the easiest has " in result.stderr
    assert "bars " in result.stderr
    assert not (tmp_path / "arch").exists()
    again = result.stderr.split("--difficulty ")[1].split(",")[0]
    assert _easier(tmp_path, *asked, again).exit_code == 0
    assert (tmp_path / "arch" / f"beginner-difficulty-{again}").is_dir()


@pytest.mark.parametrize("score", ["0", "-3", "101", "nan"])
def test_a_difficulty_that_is_no_score_is_refused(score: str, tmp_path: Path) -> None:
    result = _arrange(tmp_path, "--difficulty", score)
    assert result.exit_code == 2
    assert "--difficulty" in result.stderr


def test_a_tune_alone_is_said_to_have_no_bass(tmp_path: Path) -> None:
    tune = tmp_path / "tune.abc"
    tune.write_text("X:1\nT:Alone\nM:2/4\nL:1/4\nK:G\nG A | B c | d c | B A | G B | A G |]\n")
    result = CliRunner().invoke(app, ["arrange", str(tune), "--out", str(tmp_path / "out")])
    assert result.exit_code == 0, result.stderr
    assert "no bass: the piece has none" in result.stdout
    assert "the piece has a tune alone, which lies best here" in result.stdout
    assert "thumb on" not in result.stdout
