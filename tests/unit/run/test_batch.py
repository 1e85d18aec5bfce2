"""A collection: nothing lost, nothing done twice, nothing kept that no longer stands."""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest
from small_pieces import TUNES, small_collection, small_piece, tree

import arranger
from arranger.music.errors import UsageError
from arranger.run import batch as batch_room
from arranger.run import journal as journal_room
from arranger.run.crew import Plan, Report
from arranger.run.errands import perform
from arranger.run.store import MADE
from arranger.run.worker import Made, Setup

LEVELS = ("beginner", "elementary")


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A small collection and its results, made once by two workers."""
    folder = small_collection(tmp_path_factory.mktemp("pieces"))
    out = tmp_path_factory.mktemp("results") / "out"
    list(arranger.batch(folder, levels=LEVELS, out=out, jobs=2))
    return folder, out


@pytest.fixture
def copied(done: tuple[Path, Path], tmp_path: Path) -> tuple[Path, Path]:
    """The same, to be spoilt."""
    for source, name in zip(done, ("pieces", "out"), strict=True):
        subprocess.run(["cp", "-r", str(source), str(tmp_path / name)], check=True)
    return tmp_path / "pieces", tmp_path / "out"


class _Here:
    """The errands done in this process, for tests of what is done and not of who does it."""

    def __init__(self, given: list[tuple[str, str]], setup: Setup, **_: object) -> None:
        self._given, self._setup, self.peak = given, setup, 0.0

    def __enter__(self) -> _Here:
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def work(self, plan: Plan) -> Iterator[Report]:
        for item in plan:
            if isinstance(item, Report):
                yield item
                continue
            self._given.extend((item.piece, errand.level) for errand in item.errands)
            for message in perform(item, self._setup):
                if isinstance(message, Made):
                    yield Report(piece=item.piece, made=message)


@pytest.fixture
def given(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, str]]:
    """What there is to do: (piece, level), as it is given out."""
    seen: list[tuple[str, str]] = []
    monkeypatch.setattr(batch_room, "Crew", partial(_Here, seen))
    return seen


def _again(
    places: tuple[Path, Path], **options: object
) -> dict[tuple[str, str], arranger.Outcome]:
    folder, out = places
    wanted = {"levels": LEVELS, "out": out, "jobs": 1, **options}
    outcomes = list(arranger.batch(folder, **wanted))  # type: ignore[arg-type]
    found = {(outcome.piece, outcome.level): outcome for outcome in outcomes}
    assert len(found) == len(outcomes), "told twice"
    return found


def test_every_piece_has_an_outcome_at_every_level(done: tuple[Path, Path]) -> None:
    found = _again(done)
    pieces = ("arch.mid", "more/broken.mid", "more/step.mid", "scale.mid")
    assert set(found) == {(piece, level) for piece in pieces for level in LEVELS}
    for (piece, level), outcome in found.items():
        if piece == "more/broken.mid":
            assert (outcome.status, outcome.folder) == ("unreadable", "")
            assert "not a MIDI file" in outcome.reason
        else:
            assert outcome.done
            assert outcome.folder == f"{piece.removesuffix('.mid')}/{level}"
            assert outcome.fidelity is not None


def test_results_are_those_of_arrange(done: tuple[Path, Path]) -> None:
    folder, out = done
    for level in LEVELS:
        files = arranger.arrange(folder / "more" / "step.mid", level=level).documents()
        for name, content in files.items():
            assert (out / "more" / "step" / level / name).read_bytes() == content, name


def test_what_is_done_is_not_done_again(
    done: tuple[Path, Path], given: list[tuple[str, str]]
) -> None:
    before = tree(done[1])
    pieces = arranger.batch(done[0], levels=LEVELS, out=done[1])
    assert (len(list(pieces)), pieces.total, pieces.known) == (8, 8, 8)
    assert given == []
    assert tree(done[1]) == before


def test_changed_piece_alone_is_done_again(
    copied: tuple[Path, Path], given: list[tuple[str, str]]
) -> None:
    small_piece(copied[0] / "scale.mid", TUNES["scale"][:4])
    found = _again(copied)
    assert given == [("scale.mid", level) for level in LEVELS]
    assert found["scale.mid", "beginner"].bars == 1


def test_new_level_and_new_piece_alone_are_done(
    copied: tuple[Path, Path], given: list[tuple[str, str]]
) -> None:
    small_piece(copied[0] / "new.mid", TUNES["scale"])
    _again(copied, levels=("elementary", "intermediate"))
    new = {("new.mid", "elementary")}
    other = {(piece, "intermediate") for piece in ("arch.mid", "more/step.mid", "new.mid")}
    assert set(given) == new | other | {
        ("more/broken.mid", "intermediate"),
        ("scale.mid", "intermediate"),
    }
    with (copied[1] / "summary.csv").open(encoding="utf-8") as source:
        rows = {(row["piece"], row["level"]) for row in csv.DictReader(source)}
    assert ("scale.mid", "beginner") in rows, "an earlier run's results stand"
    assert len(rows) == 14


def test_changed_table_of_a_level_touches_that_level_alone(
    copied: tuple[Path, Path], given: list[tuple[str, str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    real = batch_room._level_table  # type: ignore[attr-defined]
    monkeypatch.setattr(
        batch_room, "_level_table", lambda level: real(level) + "!" * (level == "beginner")
    )
    _again(copied)
    assert {level for _, level in given} == {"beginner"}
    assert len(given) == 4


def test_other_program_or_player_or_fresh_does_everything_again(
    copied: tuple[Path, Path], given: list[tuple[str, str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    before = tree(copied[1])
    _again(copied, fresh=True)
    assert len(given) == 8
    assert tree(copied[1]) == before
    anna = copied[0] / "anna.toml"
    anna.write_text('reach = "small"\n', "utf-8")
    _again(copied, player=anna)
    assert len(given) == 16
    monkeypatch.setattr(batch_room, "program_digest", lambda: "another")
    _again(copied)
    assert len(given) == 24


def test_lost_and_torn_results_are_made_again(
    copied: tuple[Path, Path], given: list[tuple[str, str]]
) -> None:
    before = tree(copied[1])
    (copied[1] / "arch" / "beginner" / "tab.txt").unlink()
    subprocess.run(["rm", "-r", str(copied[1] / "scale")], check=True)
    _again(copied)
    assert given == [("arch.mid", "beginner"), *(("scale.mid", level) for level in LEVELS)]
    assert tree(copied[1]) == before


def test_result_written_before_the_journal_knew_is_kept(
    copied: tuple[Path, Path], given: list[tuple[str, str]]
) -> None:
    """Killed between the two: the note beside the result says that it is whole."""
    found = _again(copied)
    journal = copied[1] / ".batch" / "journal.jsonl"
    lines = journal.read_bytes().splitlines(keepends=True)
    journal.write_bytes(b"".join(line for line in lines if b"scale" not in line))
    assert _again(copied) == found
    journal.unlink()
    assert _again(copied) == found
    assert {piece for piece, _ in given} == {"more/broken.mid"}, "it leaves no result"


def test_what_others_made_blocks_its_place_and_no_other(
    copied: tuple[Path, Path], given: list[tuple[str, str]]
) -> None:
    ours = copied[1] / "arch" / "beginner"
    (ours / "tab.txt").write_text("with my fingering")
    (ours / "notes.txt").write_text("mine")
    found = _again(copied, fresh=True)
    assert found["arch.mid", "beginner"].status == "blocked"
    assert "'notes.txt', 'tab.txt'" in found["arch.mid", "beginner"].reason
    assert [at for at, outcome in found.items() if outcome.status == "blocked"] == [
        ("arch.mid", "beginner")
    ]
    assert (ours / "tab.txt").read_text() == "with my fingering"
    assert _again(copied, force=True)["arch.mid", "beginner"].done
    assert not (ours / "notes.txt").exists()


def test_two_runs_do_not_meet(copied: tuple[Path, Path], given: list[tuple[str, str]]) -> None:
    first = arranger.batch(copied[0], levels=LEVELS, out=copied[1])
    next(first)
    with pytest.raises(UsageError, match="another batch"):
        next(arranger.batch(copied[0], levels=LEVELS, out=copied[1]))
    first.close()
    next(arranger.batch(copied[0], levels=LEVELS, out=copied[1]))


def test_crash_is_tried_twice_and_a_limit_only_when_it_is_wider(
    copied: tuple[Path, Path], given: list[tuple[str, str]]
) -> None:
    """The entries are written as a crash and a limit leave them."""
    journal = copied[1] / ".batch" / "journal.jsonl"
    entries = [json.loads(line) for line in journal.read_text("ascii").splitlines()]
    by_place = {(e["outcome"]["piece"], e["outcome"]["level"]): e for e in entries}
    fallen = by_place["more/broken.mid", "beginner"]
    fallen["outcome"]["status"], fallen["tries"] = "crashed", 1
    late = by_place["more/broken.mid", "elementary"]
    late["outcome"]["status"], late["limits"] = "over limit", [5.0, 0.0]
    journal.write_text("".join(json.dumps(entry) + "\n" for entry in entries), "ascii")
    options = {"limit_seconds": 5.0, "limit_memory": 0.0}
    _again(copied, **options)
    assert given == [("more/broken.mid", "beginner")]
    fallen["tries"] = 2
    journal.write_text("".join(json.dumps(entry) + "\n" for entry in entries), "ascii")
    _again(copied, **options)
    assert len(given) == 1
    _again(copied, limit_seconds=6.0, limit_memory=0.0)
    assert given[1:] == [("more/broken.mid", "elementary")]


def test_full_disk_is_one_clear_error_and_the_results_stand(
    copied: tuple[Path, Path], given: list[tuple[str, str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    before = tree(copied[1])
    small_piece(copied[0] / "new.mid", TUNES["scale"])

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(journal_room.os, "fsync", full)
    with pytest.raises(UsageError, match=r"no space left.*--out"):
        _again(copied)
    assert {name: tree(copied[1])[name] for name in before} == before


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"levels": ("master",)}, "no level 'master'"),
        ({"levels": ()}, "no level"),
        ({"jobs": 0}, "--jobs"),
        ({"limit_seconds": -1.0}, "--limit-seconds"),
        ({"limit_memory": 10.0}, "--limit-memory"),
        ({"out": "nowhere://bucket"}, "nowhere://bucket"),
        ({"player": "nobody.toml"}, r"nobody\.toml"),
    ],
)
def test_what_cannot_be_meant_is_said_before_any_work(
    done: tuple[Path, Path], options: dict[str, object], said: str
) -> None:
    with pytest.raises(arranger.ArrangerError, match=said):
        _again(done, **options)


def test_same_music_is_pointed_out(
    copied: tuple[Path, Path], given: list[tuple[str, str]]
) -> None:
    small_piece(copied[0] / "more" / "arch in E.mid", TUNES["arch"], up=4, ticks=96)
    _again(copied, levels=("beginner",))
    with (copied[1] / "summary.csv").open(encoding="utf-8") as source:
        alike = {row["piece"]: row["same_music_as"] for row in csv.DictReader(source)}
    assert alike["arch.mid"] == "more/arch in E.mid"
    assert alike["more/arch in E.mid"] == "arch.mid"
    assert alike["scale.mid"] == ""


RUN = """
import sys, arranger
folder, out, jobs, times = sys.argv[1:]
for time in range(int(times)):
    list(arranger.batch(folder, levels=("beginner", "elementary"), out=out, jobs=int(jobs),
                        fresh=time > 0))
"""


@pytest.mark.parametrize(
    ("surroundings", "jobs", "times"),
    [
        (
            {"PYTHONHASHSEED": "1", "TZ": "Pacific/Kiritimati", "LC_ALL": "tr_TR.UTF-8"},
            "1",
            "2",
        ),
        ({"PYTHONHASHSEED": "77", "TZ": "America/St_Johns", "LC_ALL": "C"}, "2", "1"),
    ],
    ids=["one worker, twice in one process", "two workers"],
)
def test_same_bytes_whatever_the_machine(
    done: tuple[Path, Path],
    tmp_path: Path,
    surroundings: dict[str, str],
    jobs: str,
    times: str,
) -> None:
    """Hash seed, time zone, locale, one or two workers, once or twice in one process."""
    out = tmp_path / "out"
    subprocess.run(
        [sys.executable, "-c", RUN, str(done[0]), str(out), jobs, times],
        env={**os.environ, **surroundings},
        cwd=tmp_path,
        check=True,
    )
    assert tree(out) == tree(done[1])


def test_nothing_of_the_machine_is_in_the_results(done: tuple[Path, Path]) -> None:
    folder, out = done
    for name, content in tree(out).items():
        assert str(folder).encode() not in content, name
        assert str(out).encode() not in content, name
    assert (out / MADE).is_file()
