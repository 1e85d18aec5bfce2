"""A batch that is killed, at whatever moment, and started again ends as if nothing had been.

The law: for every moment of a kill, results after resuming = results of an undisturbed
run, byte for byte, and what had been told was not done again.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from small_pieces import TUNES, small_piece, tree

import arranger
from arranger.run.journal import Journal

# Tells each outcome as it comes, as a caller would hear it.
RUN = """
import sys, arranger
for outcome in arranger.batch(sys.argv[1], out=sys.argv[2], jobs=int(sys.argv[3])):
    print(outcome.piece, flush=True)
"""
pytestmark = pytest.mark.skipif(os.name == "nt", reason="no SIGKILL there")


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, bytes]]:
    folder = tmp_path_factory.mktemp("pieces")
    for number in range(8):
        tune = TUNES[("arch", "scale", "step")[number % 3]]
        small_piece(folder / f"{number:02}.mid", tune, up=number // 3)
    (folder / "04 broken.mid").write_bytes(b"no music")
    out = tmp_path_factory.mktemp("undisturbed")
    list(arranger.batch(folder, out=out, jobs=2))
    return folder, tree(out)


def _begin(folder: Path, out: Path, jobs: int) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-c", RUN, str(folder), str(out), str(jobs)],
        stdout=subprocess.PIPE,
    )


@pytest.mark.parametrize("seed", range(3))
def test_killed_at_a_random_moment_and_resumed(
    undisturbed: tuple[Path, dict[str, bytes]], tmp_path: Path, seed: int
) -> None:
    """Killed once some pieces have been told and a random while has passed."""
    folder, expected = undisturbed
    chance = random.Random(seed)
    process = _begin(folder, tmp_path, jobs=1 + seed % 2)
    assert process.stdout is not None
    told = {process.stdout.readline().strip() for _ in range(chance.randint(1, 6))}
    time.sleep(chance.random() * 0.3)
    process.send_signal(signal.SIGKILL)
    told |= {line.strip() for line in process.stdout.read().splitlines()}
    process.wait()
    with Journal(tmp_path / ".batch" / "journal.jsonl") as journal:
        assert len(journal) >= len(told), "told before it was kept"
    pieces = arranger.batch(folder, out=tmp_path, jobs=1)
    found = [outcome.piece for outcome in pieces]
    assert len(found) == len(set(found)) == 9
    assert pieces.known >= len(told), "done twice"
    assert tree(tmp_path) == expected
    assert not list((tmp_path / ".batch").glob("work/*")), "something half written is left"
