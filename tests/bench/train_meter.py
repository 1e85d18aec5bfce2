"""Learn the weights of ``arranger/tables/heard_meters.toml`` from files that state a meter.

    python tests/bench/train_meter.py FOLDER [--folds 10]

Each piece is heard twice with its meter forgotten: as notated, and as a pianist without a
click might play it (a tempo that sways, 12 ms of jitter), on beats followed by ear, where
these are its quarters. Method: multinomial logistic regression with an L2 penalty on the
standardised features. Prints in how many kept-back files the meter is right, as notated and
as played, in how many of those played the bar lines stand where they should in the meter
stated, and the weights learnt from all files.
"""

from __future__ import annotations

import argparse
import random
import tempfile
from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import median

import numpy as np
import numpy.typing as npt
import pretty_midi

from arranger.music.errors import UnreadableInput
from arranger.read import read
from arranger.read.meter_heard import meter_features
from arranger.read.pickup import find_pickup
from arranger.read.piece import Piece, Signature
from arranger.read.reading import piece_on_beats

STEPS, RATE, PENALTY, SEED = 3000, 0.3, 0.01, 3
METERS = ("2/4", "3/4", "4/4", "6/8")
COUNTED = {"2/2": "4/4", "4/2": "4/4", "3/2": "3/4"}
COMPOUND = ("3/8", "6/4", "9/8", "12/8")
"""Bars of dotted beats are heard as 6/8."""
QUARTERS = (95.0, 125.0)
"""Tempos of a copy whose beats are the quarters of a file at 120, 106 as played."""
Row = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Example:
    """A piece: its meter (of METERS), and features as notated and as played, if followed."""

    name: str
    meter: int
    notated: Row
    played: Row | None
    bars_right: bool | None


def played_copy(path: Path, copy: Path, seed: int) -> None:
    """All notes on one track, on a tempo that sways by a few per cent, with 12 ms of jitter."""
    dice = np.random.default_rng(seed)
    instrument = pretty_midi.Instrument(0)
    for note in (n for i in pretty_midi.PrettyMIDI(str(path)).instruments for n in i.notes):
        start, end = (1.13 * at + 0.25 * np.sin(at / 7) + 0.6 for at in (note.start, note.end))
        start, end = start + dice.normal(0, 0.012), end + dice.normal(0, 0.02)
        velocity = int(np.clip(note.velocity + dice.normal(0, 10), 20, 120))
        pitch, end = note.pitch, max(start + 0.03, end)
        instrument.notes.append(pretty_midi.Note(velocity, pitch, max(0.0, start), end))
    music = pretty_midi.PrettyMIDI(initial_tempo=120)
    music.instruments.append(instrument)
    music.write(str(copy))


def example(path: Path, copy: Path) -> Example | None:
    """None where the file states no meter of a usual kind."""
    score = read(path)
    stated = Counter(f"{bar.numerator}/{bar.denominator}" for bar in score.bars)
    commonest = stated.most_common(1)[0][0]
    name = "6/8" if commonest in COMPOUND else COUNTED.get(commonest, commonest)
    if name not in METERS:
        return None
    notated = meter_features(replace(piece_on_beats(path), signatures=()))
    played_copy(path, copy, SEED)
    played, right = None, None
    try:
        piece = piece_on_beats(copy)
    except UnreadableInput:
        pass
    else:
        if piece.followed is not None and QUARTERS[0] < _tempo(piece) < QUARTERS[1]:
            played = meter_features(piece)
            right = _bars_right(score, piece, commonest)
    return Example(path.stem, METERS.index(name), notated, played, right)


def _tempo(piece: Piece) -> float:
    """Beats a minute, the middle one."""
    return median(mark.quarters for mark in piece.tempos)


def _bars_right(score, piece: Piece, meter: str) -> bool | None:
    """Whether most notes that begin a bar of the file begin a bar of the copy in this meter.

    Notes are told by their pitch and their place among notes of that pitch. None where the
    beats followed change their side too often to tell.
    """
    top, bottom = (int(number) for number in meter.split("/"))
    signature = Signature(at=0, numerator=top, denominator=bottom)
    bar, eighth = signature.bar_length(piece.unit), piece.unit // 2
    starts = {
        one.start for one in score.bars if (one.numerator, one.denominator) == (top, bottom)
    }
    written, heard = defaultdict(list), defaultdict(list)
    for note in sorted(score.notes, key=lambda note: note.onset):
        written[note.midi].append(note.onset)
    for note in sorted(piece.notes, key=lambda note: note.start):
        heard[note.midi].append(note.start)
    places: Counter[int] = Counter()
    for midi, onsets in written.items():
        if len(onsets) == len(heard[midi]):
            pairs = zip(onsets, heard[midi], strict=True)
            places.update(
                round(at % bar / eighth) % (bar // eighth) for o, at in pairs if o in starts
            )
    if not places or places.most_common(1)[0][1] < 0.6 * places.total():
        return None
    return find_pickup(piece, signature) == places.most_common(1)[0][0] * eighth


def learnt(rows: Row, meters: npt.NDArray[np.int64]) -> Row:
    """Weights, shape (features + 1, METERS), for features as they are."""
    mean, spread = rows.mean(0), rows.std(0) + 1e-9
    beside = np.c_[(rows - mean) / spread, np.ones(len(rows))]
    true = np.eye(len(METERS))[meters]
    weights = np.zeros((beside.shape[1], len(METERS)))
    shrunk = np.ones((beside.shape[1], 1))
    shrunk[-1] = 0.0
    for _ in range(STEPS):
        scores = beside @ weights
        shares = np.exp(scores - scores.max(1, keepdims=True))
        shares /= shares.sum(1, keepdims=True)
        weights -= RATE * (beside.T @ (shares - true) / len(rows) + PENALTY * shrunk * weights)
    plain = weights[:-1] / spread[:, None]
    return np.r_[plain, [weights[-1] - mean @ plain]]


def learnt_from(examples: list[Example]) -> Row:
    rows = [
        (row, e.meter) for e in examples for row in (e.notated, e.played) if row is not None
    ]
    return learnt(np.array([row for row, _ in rows]), np.array([meter for _, meter in rows]))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--folds", type=int, default=10)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy.mid"
        found = [example(path, copy) for path in sorted(args.folder.glob("*.mid"))]
    examples = [e for e in found if e is not None]
    order = list(examples)
    random.Random(SEED).shuffle(order)
    right: Counter[str] = Counter()
    for fold in range(args.folds):
        kept_back = order[fold :: args.folds]
        names = {e.name for e in kept_back}
        weights = learnt_from([e for e in order if e.name not in names])
        for e in kept_back:
            for way, row in (("notated", e.notated), ("played", e.played)):
                if row is None:
                    continue
                heard = int((np.append(row, 1.0) @ weights).argmax())
                right[way] += heard == e.meter
                # 2/4 and 4/4 differ in how bars are counted, not in their beats
                both_duple = heard % 2 == e.meter % 2 == 0
                right[f"{way}, 2/4 as 4/4"] += heard == e.meter or both_duple
                right[f"{way}, of"] += 1
    phases = [e.bars_right for e in examples if e.bars_right is not None]
    for way, count in sorted(right.items()):
        print(f"{way}: {count}")
    print(f"played, bar lines right in the meter stated: {sum(phases)} of {len(phases)}")
    for name, row in zip(METERS, learnt_from(examples).T, strict=True):
        print(f'"{name}" = [{", ".join(f"{value:.3g}" for value in row)}]')


if __name__ == "__main__":
    main()
