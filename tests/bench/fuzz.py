"""Very many damaged and malicious MIDI files: is each refused in words, or arranged?

``python tests/bench/fuzz.py --count 100000 --seed 1`` reads, analyses and shows each of that
many mutants (``hostile_files.mutant``); those whose seed is a multiple of ``--whole`` it
arranges, documents included. It prints the totals by what became of them, the longest case,
peak memory, and every traceback with the seed that makes it again (``--count 1 --seed N``);
the exit code is the number of tracebacks and hangs, at most 99. A case that takes longer than
``--limit`` seconds is ended and counts as a hang; an arrangement, for which a solver searches,
may take six times that. Time is processor time, so that a busy machine makes no hangs.
"""

from __future__ import annotations

import argparse
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType

sys.path.insert(0, str(Path(__file__).parents[1]))

from hostile_files import mutant

from arranger.music.errors import ArrangerError
from arranger.run.look import page
from arranger.run.pipeline import arrange
from arranger.run.understand import understand
from arranger.tables import LEVEL_NAMES


class Hang(BaseException):
    """The case took longer than it may; nothing in the program may catch this."""


@dataclass(slots=True)
class Tally:
    """What became of the cases so far; ``longest`` as (seconds, seed, way)."""

    ends: Counter[str] = field(default_factory=Counter)
    refusals: Counter[str] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)
    longest: dict[str, tuple[float, int]] = field(default_factory=dict)


def _ended(signum: int, frame: FrameType | None) -> None:
    raise Hang


def one_case(seed: int, file: Path, tally: Tally, *, limit: float, whole: bool) -> None:
    """Read and show the mutant of ``seed``; with ``whole``, arrange it too."""
    file.write_bytes(mutant(seed))
    way = "arrange" if whole else "look"
    began = time.process_time()
    limit *= 6 if whole else 1
    signal.setitimer(signal.ITIMER_PROF, limit)
    try:
        if whole:
            level = LEVEL_NAMES[seed // 7 % len(LEVEL_NAMES)]
            arrange(file, level=level, anyway=seed % 3 == 0).documents()
        else:
            page(understand(file))
        tally.ends[f"{way}: done"] += 1
    except ArrangerError as error:
        tally.ends[f"{way}: exit {error.exit_code}"] += 1
        tally.refusals["".join(c for c in error.what if not c.isdigit())[:60]] += 1
        if error.exit_code not in (3, 4):
            tally.faults.append(f"seed {seed}, {way}: {error}")
    except Hang:
        tally.ends[f"{way}: hang"] += 1
        tally.faults.append(f"seed {seed}, {way}: longer than {limit:g} s")
    except Exception:
        tally.ends[f"{way}: traceback"] += 1
        tally.faults.append(f"seed {seed}, {way}: {traceback.format_exc()}")
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
    took = time.process_time() - began
    tally.longest[way] = max(tally.longest.get(way, (0.0, 0)), (took, seed))


def report(tally: Tally, seconds: float) -> None:
    """The totals so far; ``seconds`` of processor time they took."""
    cases = sum(tally.ends.values())
    print(f"{cases} cases in {seconds:.0f} s, {cases / seconds:.1f} a second")
    for end, count in sorted(tally.ends.items()):
        print(f"  {count:7} {end}")
    for what, count in tally.refusals.most_common(12):
        print(f"  {count:7} refused: {what}")
    for way, (took, seed) in sorted(tally.longest.items()):
        print(f"longest {way}: {took:.2f} s (seed {seed})")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory {peak:.0f} MB; {len(tally.faults)} tracebacks and hangs", flush=True)


def main() -> int:
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--count", type=int, default=1000)
    reader.add_argument("--seed", type=int, default=1, help="of the first case")
    reader.add_argument("--whole", type=int, default=200, help="arrange the multiples of it")
    reader.add_argument("--limit", type=float, default=10.0, help="seconds a case")
    reader.add_argument("--every", type=int, default=2000, help="report after so many")
    told = reader.parse_args()
    signal.signal(signal.SIGPROF, _ended)
    tally = Tally()
    began = time.process_time()
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "mutant.mid"
        for case in range(told.count):
            seed = told.seed + case
            known = len(tally.faults)
            one_case(seed, file, tally, limit=told.limit, whole=seed % told.whole == 0)
            for fault in tally.faults[known:]:
                print(fault, flush=True)
            if (case + 1) % told.every == 0:
                report(tally, time.process_time() - began)
    report(tally, time.process_time() - began)
    return min(99, len(tally.faults))


if __name__ == "__main__":
    sys.exit(main())
