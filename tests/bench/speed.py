"""Where the time goes: stages, bars a second, memory, and what to measure them against.

    python tests/bench/speed.py PIECE [--level LEVEL …] [--whole SECONDS] [--times 3]

Commands are run as a teacher runs them, each in a process of its own: ``--help``, ``arrange``
with all its documents for each level, and ``compare``. Of several runs the quickest counts, for
what else the machine does only ever adds. Wall time and processor time are shown: on a busy
machine only the second says something. Peak memory is that of the process.

Then the stages of ``arrange`` by the same functions that it calls, in processor seconds, with
two ratios: to parsing the file alone, and, with ``--whole``, of choosing the grips to a plain
constraint model of the whole piece (``solve.py``) that is given so many seconds. The aims
are 0.3 s for ``--help``, 6 s for ``arrange`` of a rag of 130 bars and 15 s for ``compare``,
with two cores that nobody else uses.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import mido
from solve import WholePiece, problem

from arranger.run import pipeline
from arranger.tables import LEVEL_NAMES

AIMS = {"--help": 0.3, "arrange": 6.0, "compare": 15.0}
STAGES = {
    "understand": "read and analyse",
    "reduce": "reduce",
    "place": "choose grips and fingers",
    "judge": "judge",
    "teach": "teach",
    "render_documents": "write documents",
}
"""Functions that ``arrange`` calls, by their names in ``arranger.run.pipeline``."""


@dataclass(frozen=True, slots=True, order=True)
class Run:
    """A command that was run: wall and processor seconds, peak memory in MB."""

    wall: float
    processor: float
    memory: float


def run(*words: str | Path) -> Run:
    """Run one ``arranger`` command in a process of its own."""
    code = "from arranger.run.cli import main; main()"
    command = [sys.executable, "-c", code, *map(str, words)]
    began = time.perf_counter()
    child = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    said = child.stderr.read().decode() if child.stderr else ""
    _, status, usage = os.wait4(child.pid, 0)
    wall = time.perf_counter() - began
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        raise SystemExit(f"{' '.join(map(str, words))} ended with {child.returncode}: {said}")
    return Run(wall, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024)


def commands(piece: Path, levels: list[str], times: int) -> None:
    """The table of commands."""
    print(f"{'command':<30}{'wall s':>8}{'processor s':>13}{'peak MB':>9}  aim")
    with tempfile.TemporaryDirectory() as folder:
        end = ("--out", folder)
        asked: list[tuple[str | Path, ...]] = [("--help",)]
        asked += [("arrange", piece, "--level", name, "--anyway", *end) for name in levels]
        asked.append(("compare", piece, *end))
        for words in asked:
            best = min(run(*words) for _ in range(times))
            name = " ".join(str(word) for word in words[:1] + words[3:4] * ("--level" in words))
            aim = AIMS[str(words[0])]
            print(
                f"{name:<30}{best.wall:8.2f}{best.processor:13.2f}{best.memory:9.0f}"
                f"  {aim:g} s{'' if best.wall <= aim else ', missed'}",
                flush=True,
            )


def stages(piece: Path, level: str, whole: float) -> None:
    """The table of stages of one arrangement, in a process that has all it needs."""
    spent: Counter[str] = Counter()
    kept = {name: getattr(pipeline, name) for name in STAGES}
    for name, function in kept.items():
        setattr(pipeline, name, _timed(spent, name, function))
    try:
        began = time.process_time()
        result = pipeline.arrange(piece, level=level, anyway=True)
        result.documents()
        total = time.process_time() - began
    finally:
        for name, function in kept.items():
            setattr(pipeline, name, function)
    bars = len(result.arrangement.bars)
    print(f"\n{level}: {bars} bars, {bars / total:.0f} a second")
    for name, said in STAGES.items():
        print(f"  {said:<28}{spent[name]:8.2f} s{spent[name] / total:7.0%}")
    print(f"  {'all':<28}{total:8.2f} s")
    if piece.suffix.lower() in {".mid", ".midi"}:
        began = time.process_time()
        mido.MidiFile(piece)
        alone = time.process_time() - began
        print(f"  {total / alone:.0f} times as long as parsing the file alone ({alone:.3f} s)")
    if whole:
        print(f"  {_against_whole(piece, level, whole, spent['place'])}", flush=True)


def _timed(spent: Counter[str], name: str, function: Callable[..., Any]) -> Callable[..., Any]:
    def timed(*args: Any, **named: Any) -> Any:
        began = time.process_time()
        try:
            return function(*args, **named)
        finally:
            spent[name] += time.process_time() - began  # type: ignore[assignment]

    return timed


def _against_whole(piece: Path, level: str, seconds: float, ours: float) -> str:
    """Our choice of grips against one plain model of the whole piece."""
    given = problem(piece, level)
    model = WholePiece.of(given, tied=False)
    found = model.solve(seconds, {})
    took = given.tried + model.seconds + found.solving
    more = "" if found.status == "OPTIMAL" else " and was not done"
    return (
        f"the whole-piece model took {took:.1f} s{more} ({found.status.lower()}):"
        f" choosing grips takes {ours / took:.2f} of that"
    )


def main() -> None:
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("piece", type=Path)
    reader.add_argument("--level", action="append", choices=LEVEL_NAMES, default=[])
    reader.add_argument("--whole", type=float, default=0.0, help="seconds for the plain model")
    reader.add_argument("--times", type=int, default=3, help="runs of each command")
    told = reader.parse_args()
    levels = [str(name) for name in told.level or LEVEL_NAMES]
    commands(told.piece, levels, told.times)
    for level in levels:
        stages(told.piece, level, told.whole)


if __name__ == "__main__":
    main()
