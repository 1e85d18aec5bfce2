"""The same on a cluster: a scheduler and two workers here, one of them killed in the middle."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from small_pieces import TUNES, small_piece, tree

import arranger
from arranger.music.errors import UsageError
from arranger.run import cluster as cluster_room
from arranger.run.batch import Batch

distributed = pytest.importorskip("distributed")
pytestmark = pytest.mark.xdist_group("cluster")


def _started(stack: ExitStack, *command: str, say: str) -> subprocess.Popen[str]:
    """A process of the cluster, once it has said a word that shows that it is up."""
    process = subprocess.Popen(
        [sys.executable, "-m", "distributed.cli." + command[0], *command[1:]],
        stderr=subprocess.PIPE,
        text=True,
    )
    stack.callback(process.wait)
    stack.callback(process.kill)
    assert process.stderr is not None
    for line in process.stderr:
        if say in line:
            return process
    raise AssertionError(f"{command} ended before it said {say}")


class _Cluster:
    """As two people would start it by hand, each worker without a guard to start it anew."""

    def __init__(self, stack: ExitStack, room: Path) -> None:
        where = room / "scheduler.json"
        local = ("--host", "127.0.0.1", "--no-dashboard")
        _started(
            stack,
            "dask_scheduler",
            *local,
            "--port",
            "0",
            "--scheduler-file",
            str(where),
            say="Scheduler at",
        )
        self.workers = [
            _started(
                stack,
                "dask_worker",
                *local,
                "--no-nanny",
                "--nthreads",
                "1",
                "--scheduler-file",
                str(where),
                "--local-directory",
                str(room / name),
                say="Registered to",
            )
            for name in ("one", "two")
        ]
        with distributed.Client(scheduler_file=str(where)) as client:
            self.address = client.scheduler.address


@pytest.fixture(scope="module")
def cluster(tmp_path_factory: pytest.TempPathFactory) -> Iterator[_Cluster]:
    with ExitStack() as stack:
        yield _Cluster(stack, tmp_path_factory.mktemp("cluster"))


@pytest.fixture(scope="module")
def pieces(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pieces")
    for number in range(4):
        tune = TUNES[("arch", "scale", "step")[number % 3]]
        small_piece(folder / f"{number}.mid", tune, up=number // 3)
    (folder / "broken.mid").write_bytes(b"no music")
    (folder / "anna.toml").write_text('reach = "small"\n', "utf-8")
    return folder


def _batch(pieces: Path, out: Path | str, **options: object) -> Batch:
    return arranger.batch(pieces, player=pieces / "anna.toml", out=out, **options)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def here(pieces: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """What this machine makes of the pieces by itself."""
    out = tmp_path_factory.mktemp("here")
    list(_batch(pieces, out, jobs=1))
    return tree(out)


def test_results_at_a_url_are_those_of_this_machine(
    cluster: _Cluster,
    pieces: Path,
    here: dict[str, bytes],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    url = (tmp_path / "far").as_uri()
    outcomes = list(_batch(pieces, url, cluster=cluster.address))
    assert [outcome.piece for outcome in outcomes if not outcome.done] == ["broken.mid"]
    assert _documents(tree(tmp_path / "far")) == _documents(here)
    again = _batch(pieces, url, cluster=cluster.address)
    assert len(list(again)) == again.known == 5
    (tmp_path / "far" / "0" / "beginner" / "tab.txt").unlink()
    again = _batch(pieces, url, cluster=cluster.address)
    assert (len(list(again)), again.known) == (5, 4)
    (tmp_path / "far" / "1" / "beginner" / "mine.txt").write_text("mine")
    blocked = [o for o in _batch(pieces, url, jobs=1, fresh=True) if o.status == "blocked"]
    assert [outcome.piece for outcome in blocked] == ["1.mid"]
    assert (tmp_path / "far" / "1" / "beginner" / "mine.txt").read_text() == "mine"


def _documents(files: dict[str, bytes]) -> dict[str, bytes]:
    """Without the lists of what was made, which hold sizes for a folder only."""
    return {name: content for name, content in files.items() if ".made" not in name}


def test_strange_places_and_versions_are_refused(
    cluster: _Cluster, pieces: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as other:
        other.setattr(cluster_room, "program_digest", lambda: "another")
        with pytest.raises(UsageError, match="another version"):
            list(_batch(pieces, tmp_path / "out", cluster=cluster.address))
    with monkeypatch.context() as apart:
        apart.setattr("arranger.run.shelf.FolderShelf.intact", lambda *_: False)
        with pytest.raises(UsageError, match="does not arrive here"):
            list(_batch(pieces, tmp_path / "out", cluster=cluster.address))


def test_worker_is_killed_in_the_middle_and_nothing_is_lost(
    cluster: _Cluster, pieces: Path, here: dict[str, bytes], tmp_path: Path
) -> None:
    """The last test of the cluster: it has one worker less afterwards."""
    work = _batch(pieces, tmp_path / "out", cluster=cluster.address)
    found = [next(work).piece]
    os.kill(cluster.workers[0].pid, signal.SIGKILL)
    found += [outcome.piece for outcome in work]
    assert sorted(found) == [*(f"{number}.mid" for number in range(4)), "broken.mid"]
    assert tree(tmp_path / "out") == here
