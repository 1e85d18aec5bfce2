"""A whole folder, as one command."""

from __future__ import annotations

from pathlib import Path

import pytest
from small_pieces import TUNES, small_piece
from typer.testing import CliRunner, Result

from arranger.music.outcome import Outcome
from arranger.run import batch as batch_room
from arranger.run.cli import app


def _batch(folder: Path, *options: str) -> Result:
    return CliRunner().invoke(app, ["batch", str(folder), *options])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pieces")
    small_piece(folder / "arch.mid", TUNES["arch"])
    (folder / "[bold]odd\x1b[2J.mid").write_bytes(b"no music")
    return folder


@pytest.fixture(scope="module")
def first(folder: Path) -> Result:
    """One run with a piece that cannot be read."""
    return _batch(folder, "--out", str(folder / "out"), "--level", "beginner", "--jobs", "1")


def test_failures_are_listed_and_the_rest_is_done(folder: Path, first: Result) -> None:
    assert first.exit_code == 0, first.stderr
    (line,) = first.stderr.splitlines()
    assert line.startswith("[bold]odd?[2J.mid, any level: unreadable: the file is not a MIDI")
    assert "of 2 arrangements: 1 done, 1 unreadable\n" in first.stdout
    for name in ("index.html", "summary.csv", "failures.csv", "arch/beginner/tab.txt"):
        assert (folder / "out" / name).is_file()


def test_strict_ends_with_1_and_nothing_is_done_again(folder: Path, first: Result) -> None:
    result = _batch(folder, "--out", str(folder / "out"), "--strict")
    assert result.exit_code == 1
    assert "(2 by an earlier run)" in result.stdout
    (folder / "out" / "arch" / "beginner" / "tab.txt").unlink()
    fresh = _batch(folder, "--out", str(folder / "out"), "--fresh", "--jobs", "1")
    assert fresh.exit_code == 0, fresh.stderr
    assert "earlier run" not in fresh.stdout
    assert (folder / "out" / "arch" / "beginner" / "tab.txt").is_file()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--level", "master"), "no level 'master'"),
        (("--jobs", "0"), "--jobs"),
        (("--limit-memory", "1"), "--limit-memory"),
        (("--cluster", "tcp://127.0.0.1:9"), "no scheduler answers"),
        (("--out", "/dev/null/out"), "cannot be written"),
    ],
)
def test_what_cannot_be_meant_is_one_sentence(
    folder: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    options: tuple[str, ...],
    said: str,
) -> None:
    monkeypatch.setattr("arranger.run.cluster.PATIENCE", "1s")
    where = () if "--out" in options else ("--out", str(tmp_path))
    result = _batch(folder, *options, *where)
    assert (result.exit_code, result.stdout) == (2, "")
    assert said in result.stderr
    assert "Traceback" not in result.stderr


def test_folder_without_pieces_is_no_input(tmp_path: Path) -> None:
    result = _batch(tmp_path)
    assert (result.exit_code, result.stdout) == (3, "")
    assert "holds no piece" in result.stderr


def test_every_failure_is_a_line_of_its_own(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Refusals, crashes and limits by level; what cannot be read only once."""
    outcomes = [
        Outcome(piece="a.mid", level="beginner", status="unreadable", reason="no music."),
        Outcome(piece="a.mid", level="advanced", status="unreadable", reason="no music."),
        Outcome(piece="b.mid", level="beginner", status="refused", reason="it is\nhard"),
        Outcome(piece="b.mid", level="advanced", status="over limit", reason="slow"),
    ]
    monkeypatch.setattr(batch_room.Batch, "_run", lambda _: (yield from outcomes))
    result = _batch(folder, "--out", str(tmp_path))
    assert result.stderr.splitlines() == [
        "a.mid, any level: unreadable: no music.",
        "b.mid, beginner: refused: it is?hard",
        "b.mid, advanced: over limit: slow",
    ]
    assert "1 over limit, 1 refused, 2 unreadable" in result.stdout
