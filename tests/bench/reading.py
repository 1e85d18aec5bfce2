"""Figures of reading on open piano files whose two tracks are the two hands.

    python tests/bench/reading.py FOLDER [--whole] [--odd FOLDER] [--flips N]

Prints hands from one merged stream with the shipped weights (learnt on the same files;
figures of kept-back files stand in tables/hands.toml and are printed by train_hands.py),
against the plain split at middle C; onsets on the grid; odd bars and graces; milliseconds
a file; swing. ``--whole`` adds what analysis.py, form.py and songs.py print. ``--odd`` reads a
folder of damaged files, ``--flips`` reads that many copies of small files with bytes flipped;
both count scores, refusals and tracebacks, the longest time and the memory of this process.
"""

from __future__ import annotations

import argparse
import random
import resource
import tempfile
import time
from collections import Counter
from pathlib import Path
from statistics import median

import analysis
import form
import mido
import songs
from train_hands import Example, example, right_notes

from arranger.music.errors import ArrangerError
from arranger.music.score import Score
from arranger.read import read
from arranger.read.reading import gridded_piece
from arranger.read.split import SplitTable
from arranger.tables import load

MIDDLE_C = 60
SMALLEST = 12  # files of which damaged copies are made


def percent(part: float, whole: float) -> str:
    return f"{100 * part / whole:6.2f} %" if whole else "     -"


def hands(examples: list[Example]) -> None:
    """Notes given to the true hand."""
    by = load("hands", SplitTable).hearings()
    rags = [e for e in examples if e[0].startswith("joplin")]
    for name, chosen in (("rags", rags), ("all", examples)):
        total = sum(len(e[3]) for e in chosen)
        plain = sum(
            (pitch >= MIDDLE_C) == right
            for e in chosen
            for pitch, right in zip((p for g in e[1] for p in g.pitches), e[3], strict=True)
        )
        learnt = sum(right_notes(e, by) for e in chosen)
        print(
            f"hands, {name:4} {total:6} notes   middle C {percent(plain, total)}"
            f"   told by ear {percent(learnt, total)}"
        )


def grid(paths: list[Path]) -> None:
    """Onsets that lie on their grid, ornaments apart."""
    missed = total = written = 0.0
    for path in paths:
        piece, gridded = gridded_piece(path)
        total += len(piece.notes)
        missed += gridded.miss * len(piece.notes)
        written += gridded.quantised
    print(f"grid       {int(total):6} notes   on it {percent(total - missed, total)}")
    print(f"           {len(paths):6} files   taken as written {int(written)}")


def bars(scores: list[Score]) -> None:
    """Bars, how many are odd, and how often a bar begins with a note in the left hand."""
    counted = odd = struck = 0
    graces = Counter(note.ornament for s in scores for note in s.notes if note.ornament)
    for score in scores:
        low = {note.onset for note in score.notes if note.hand == "left"}
        for bar in score.bars:
            counted += 1
            odd += bar.length * bar.denominator != 4 * bar.numerator
            struck += bar.start in low
    pickups = sum(score.bars[0].number == 0 for score in scores)
    print(
        f"bars       {counted:6}         odd lengths {odd}, pieces with a pick-up {pickups}, "
        f"left hand strikes on the bar line {percent(struck, counted)}"
    )
    print(f"ornaments  {dict(graces)}")


def outcomes(paths: list[Path], name: str) -> None:
    """Scores, refusals and tracebacks, and the longest time."""
    counts: Counter[str] = Counter()
    longest = 0.0
    for path in paths:
        started = time.perf_counter()
        try:
            read(path)
            counts["read"] += 1
        except ArrangerError:
            counts["refused in words"] += 1
        except Exception as error:  # a traceback is what this bench looks for
            counts["TRACEBACK"] += 1
            print(f"  {path.name}: {error!r}")
        longest = max(longest, time.perf_counter() - started)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{name:10} {len(paths):6} files   {dict(counts)}, longest {longest:.2f} s, "
        f"memory so far {memory:.0f} MB"
    )


def flipped(paths: list[Path], count: int) -> None:
    """``count`` copies of small files in turn, each with one to twenty bytes changed."""
    dice = random.Random(1)
    sources = [path.read_bytes() for path in paths]
    with tempfile.TemporaryDirectory() as folder:
        copies = []
        for number in range(count):
            damaged = bytearray(sources[number % len(sources)])
            for _ in range(dice.randint(1, 20)):
                damaged[dice.randrange(len(damaged))] = dice.randrange(256)
            copy = Path(folder) / f"{number}.mid"
            copy.write_bytes(bytes(damaged))
            copies.append(copy)
        outcomes(copies, "flips")


def swing(count: int = 50) -> None:
    """Tunes in swung eighths with 15 ms of jitter at 120 a minute: found, and how nearly."""
    dice = random.Random(2)
    for ratio in (1.0, 1.5, 2.0, 3.0):
        found = []
        for _ in range(count):
            file = mido.MidiFile(type=0, ticks_per_beat=480)
            track = mido.MidiTrack([mido.MetaMessage("time_signature", numerator=4)])
            file.tracks.append(track)
            onsets = [beat + late for beat in range(64) for late in (0.0, ratio / (1 + ratio))]
            jitter = [at + dice.uniform(-0.03, 0.03) for at in onsets]
            ticks = sorted(max(0, round(480 * at)) for at in jitter)
            for at, after in zip(ticks, [*ticks[1:], ticks[-1] + 240], strict=True):
                note = dice.choice((60, 62, 64, 65, 67, 69, 71, 72))
                begin = at if at == ticks[0] else 0
                track.append(mido.Message("note_on", note=note, time=begin))
                track.append(mido.Message("note_off", note=note, time=after - at))
            with tempfile.TemporaryDirectory() as folder:
                file.save(Path(folder) / "tune.mid")
                score = read(
                    Path(folder) / "tune.mid", straight=False if ratio == 3.0 else None
                )
                found.append(score.swing)
        near = sum(abs(one / ratio - 1) <= 0.15 for one in found)
        asked = " (--swing)" if ratio == 3.0 else ""
        print(f"swing {ratio:g}{asked:10} {count:4} tunes   within 15 % {percent(near, count)}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--odd", type=Path)
    parser.add_argument("--flips", type=int, default=0)
    parser.add_argument("--whole", action="store_true", help="keys, harmony, tune, form too")
    args = parser.parse_args()
    paths = sorted(args.folder.glob("*.mid"))
    scores, milliseconds = [], []
    for path in paths:
        started = time.perf_counter()
        scores.append(read(path))
        milliseconds.append(1000 * (time.perf_counter() - started))
    print(
        f"time       {len(paths):6} files   median {median(milliseconds):.0f} ms, "
        f"longest {max(milliseconds):.0f} ms"
    )
    grid(paths)
    bars(scores)
    hands([e for e in map(example, paths) if e is not None])
    swing()
    if args.odd:
        outcomes(sorted(args.odd.iterdir()), "odd")
    if args.whole:
        analysis.show(args.folder)
        form.show(args.folder)
        songs.show()
    if args.flips:
        flipped(sorted(paths, key=lambda path: path.stat().st_size)[:SMALLEST], args.flips)


if __name__ == "__main__":
    main()
