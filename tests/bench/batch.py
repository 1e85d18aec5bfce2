"""A whole collection: is it complete, how fast, how large, and does it survive?

    python tests/bench/batch.py whole FOLDER OUT [--levels ...] [--jobs 2] [--every N]
    python tests/bench/batch.py ratio FOLDER [--levels ...] [--every N]
    python tests/bench/batch.py killed FOLDER [--times 10]
    python tests/bench/batch.py hostile FOLDER
    python tests/bench/batch.py many [--files 100000]

* *whole*: every piece of a folder and of ``corpus/`` at the levels asked for, resumed where
  an earlier run stopped; outcomes counted, every reason told, rules of the hand checked anew.
* *ratio*: the same pieces with one worker and with two: wall time, processor time, and what
  is spent beyond the pieces' own time. A busy machine shows in the share of processor time.
* *killed*: SIGKILL at random moments, resumed until done, compared byte for byte.
* *hostile*: fifty broken files among fifty good ones.
* *many*: a folder of tiny files whose arranging is left out (in this script only): listing,
  journal, resuming and overview by themselves, and the memory they take.
"""

from __future__ import annotations

import argparse
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from arranger import batch
from arranger.music.outcome import Outcome
from arranger.music.verdict import Fidelity
from arranger.run.batch import Batch
from arranger.run.worker import Began, Made, Message, Setup, Task, serve
from arranger.tables import LEVEL_NAMES

CORPUS = Path(__file__).parents[2] / "corpus"
MB = 1e6


def main() -> None:
    """One of the benchmarks above."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("what", choices=("whole", "ratio", "killed", "hostile", "many", "stub"))
    parser.add_argument("places", nargs="*", type=Path)
    parser.add_argument("--levels", nargs="+", default=list(LEVEL_NAMES))
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--every", type=int, default=1, help="every N-th piece only")
    parser.add_argument("--times", type=int, default=10)
    parser.add_argument("--files", type=int, default=100_000)
    parser.add_argument("--seconds", type=float, default=600.0, help="limit of a step")
    asked = parser.parse_args()
    if asked.what == "stub":
        serve(stubbed)
    with TemporaryDirectory() as room:
        benchmarks: dict[str, Callable[[argparse.Namespace, Path], None]] = {
            "whole": whole,
            "ratio": ratio,
            "killed": killed,
            "hostile": hostile,
            "many": many,
        }
        benchmarks[asked.what](asked, Path(room))


def whole(asked: argparse.Namespace, room: Path) -> None:
    """Outcomes, reasons and rules of a whole folder."""
    source, out = asked.places
    folder = linked(room / "pieces", source, asked.every)
    start = time.perf_counter()
    pieces = batch(
        folder, levels=asked.levels, out=out, jobs=asked.jobs, limit_seconds=asked.seconds
    )
    outcomes = []
    for outcome in pieces:
        outcomes.append(outcome)
        print(f"{len(outcomes)}/{pieces.total} {outcome.piece} {outcome.level}", end=" ")
        print(outcome.status, outcome.reason, flush=True)
    wall = time.perf_counter() - start
    print(
        "\n  level         " + "".join(f"{name:>14}" for name in ("done", "refused", "other"))
    )
    for level in asked.levels:
        counts = Counter(o.status for o in outcomes if o.level == level)
        other = counts.total() - counts["done"] - counts["refused"]
        print(f"  {level:14}{counts['done']:14}{counts['refused']:14}{other:14}")
    print(f"complete: {len(outcomes)} of {pieces.total}; without a reason:", end=" ")
    print(sum(not o.done and not o.reason for o in outcomes))
    faults = [o for o in outcomes if o.status in {"crashed", "over limit", "blocked"}]
    print(f"rules of the hand broken or crashed: {len(faults)}")
    print(
        f"{wall:.0f} s, of {pieces.spent:.0f} s by the pieces' own time, {pieces.known} known;"
        f" at most {pieces.peak:.0f} MB a worker, {peak():.0f} MB the parent"
    )


def ratio(asked: argparse.Namespace, room: Path) -> None:
    """One worker against two."""
    folder = linked(room / "pieces", asked.places[0], asked.every)
    walls = {}
    print("  jobs    wall s   pieces s   overhead   cores used   worker MB")
    for jobs in (1, 2):
        start, before = time.perf_counter(), processor_seconds()
        pieces = batch(folder, levels=asked.levels, out=room / f"out{jobs}", jobs=jobs)
        for _ in pieces:
            pass
        walls[jobs] = time.perf_counter() - start
        used = processor_seconds() - before
        over = jobs * walls[jobs] / pieces.spent - 1
        print(
            f"  {jobs:4}{walls[jobs]:10.1f}{pieces.spent:11.1f}{over:11.1%}"
            f"{used / walls[jobs]:13.2f}{pieces.peak:12.0f}",
            flush=True,
        )
    print(f"two workers are {walls[1] / walls[2]:.2f} times as fast as one")
    print("same bytes:", tree(room / "out1") == tree(room / "out2"))


def killed(asked: argparse.Namespace, room: Path) -> None:
    """Killed at random moments, resumed each time."""
    folder = linked(room / "pieces", asked.places[0], asked.every)
    options: dict[str, Any] = {"levels": asked.levels, "jobs": asked.jobs}
    start = time.perf_counter()
    total = len(list(batch(folder, out=room / "undisturbed", **options)))
    took = time.perf_counter() - start
    chance = random.Random(8)
    code = (
        "import sys, arranger\n"
        "folder, out, jobs, *levels = sys.argv[1:]\n"
        "for outcome in arranger.batch(folder, out=out, jobs=int(jobs), levels=levels):\n"
        "    print(outcome.piece, outcome.level, flush=True)\n"
    )
    out = room / "disturbed"
    for number in range(asked.times):
        process = subprocess.Popen(
            [sys.executable, "-c", code, folder, out, str(asked.jobs), *asked.levels],
            stdout=subprocess.PIPE,
        )
        time.sleep(2 + chance.random() * 2 * took / asked.times)
        process.send_signal(signal.SIGKILL)
        assert process.stdout is not None
        told = len(process.stdout.read().splitlines())
        process.wait()
        print(f"kill {number + 1}: {told} of {total} were told by then", flush=True)
    pieces = batch(folder, out=out, **options)
    count = len(list(pieces))
    print(f"resumed: {count} outcomes, {pieces.known} of them known")
    same = tree(out) == tree(room / "undisturbed")
    print("same bytes as undisturbed:", same)


def hostile(asked: argparse.Namespace, room: Path) -> None:
    """Fifty good pieces, fifty that are not."""
    folder, good = room / "pieces", sorted(CORPUS.glob("*.mid"))
    folder.mkdir()
    chance = random.Random(50)
    for number in range(50):
        content = good[number % len(good)].read_bytes()
        (folder / f"{number:02} good.mid").write_bytes(content)
        (folder / f"{number:02} hostile.mid").write_bytes(hurt(content, number, chance))
    start = time.perf_counter()
    outcomes = list(
        batch(folder, levels=["beginner"], out=room / "out", jobs=asked.jobs, anyway=True)
    )
    for kind in ("good", "hostile"):
        counts = Counter(o.status for o in outcomes if kind in o.piece)
        print(f"{kind}: {dict(counts)}")
    print(f"{time.perf_counter() - start:.0f} s")


def hurt(content: bytes, number: int, chance: random.Random) -> bytes:
    """A MIDI file that holds no piece, in one of ten ways."""
    ways: list[Callable[[], bytes]] = [
        lambda: b"",
        lambda: b"MThd",
        lambda: content[: chance.randint(4, 13)],
        lambda: chance.randbytes(4000),
        lambda: b"\0" * 100_000,
        lambda: b"<?xml version='1.0'?><!DOCTYPE a [<!ENTITY b 'c'>]><a>&b;</a>",
        lambda: b"PK\x03\x04" + chance.randbytes(500),
        lambda: content[:14],
        lambda: b"MThd\0\0\0\6\0\1\0\1\0\x60MTrk\0\0\0\4\0\xff\x2f\0",
        lambda: "nothing to see here\n".encode("utf-16"),
    ]
    return ways[number % len(ways)]()


def many(asked: argparse.Namespace, room: Path) -> None:
    """A hundred thousand tiny files; a worker of this script answers at once."""
    crew_command = (sys.executable, __file__, "stub")
    batch_room_module = sys.modules[Batch.__module__]
    batch_room_module.COMMAND = crew_command  # type: ignore[attr-defined]
    folder, out = room / "pieces", room / "out"
    for number in range(asked.files):
        file = folder / f"{number // 1000:03}" / f"{number:06}.mid"
        if number % 1000 == 0:
            file.parent.mkdir(parents=True)
        file.write_bytes(b"%d" % number)
    print("  run                    outcomes   known        s   parent MB   journal MB")
    for name in ("stopped half-way", "resumed", "all known"):
        start = time.perf_counter()
        pieces = batch(folder, levels=["beginner"], out=out, jobs=2)
        count = 0
        for _ in pieces:
            count += 1
            if name == "stopped half-way" and count == asked.files // 2:
                pieces.close()
        took = time.perf_counter() - start
        journal = (out / ".batch" / "journal.jsonl").stat().st_size / MB
        print(
            f"  {name:20}{count:11}{pieces.known:8}{took:9.1f}{peak():12.0f}{journal:13.0f}",
            flush=True,
        )
    size = (out / "index.html").stat().st_size / MB
    print(f"index.html {size:.0f} MB")


def stubbed(task: Task, setup: Setup) -> Iterator[Message]:
    """What a worker says of a piece, without looking at it."""
    yield Began(level="")
    for errand in task.errands:
        number = int(Path(task.piece).stem)
        outcome = Outcome(
            piece=task.piece,
            level=errand.level,
            status="done",
            folder=errand.folder,
            title=f"Piece {number}",
            key="G major",
            bars=32,
            difficulty=number % 1000 / 10,
            fidelity=Fidelity(
                melody_kept=1 - number % 97 / 1000,
                grid_fidelity=1.0,
                contour_breaks=0.0,
                bass_roots=1.0,
                thirds=1.0,
                thumb_beats=1.0,
                alternation=1.0,
            ),
            music=errand.key[:16],
        )
        yield Made(errand=errand, outcome=outcome)


def linked(folder: Path, source: Path, every: int) -> Path:
    """The pieces of a folder and of the corpus, or every so many of them."""
    folder.mkdir()
    for file in sorted([*source.glob("*.mid"), *CORPUS.glob("*.mid")])[::every]:
        shutil.copyfile(file, folder / file.name)
    return folder


def tree(out: Path) -> dict[str, bytes]:
    """Every file of results by its path."""
    return {
        file.relative_to(out).as_posix(): file.read_bytes()
        for file in out.rglob("*")
        if file.is_file() and ".batch" not in file.parts
    }


def processor_seconds() -> float:
    """Of this process and those it has ended."""
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system


def peak() -> float:
    """The most memory this process has held, in MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / MB


if __name__ == "__main__":
    main()
