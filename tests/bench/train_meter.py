"""Learn the weights of ``arranger/tables/heard_meters.toml`` from files that state a meter.

    python tests/bench/train_meter.py FOLDER [--folds 10]

Each piece is heard several times with its meter forgotten: as notated, and as a pianist
without a click might play it at three tempos (one that sways, 12 ms of jitter), on beats
followed by ear. These may be its quarters; a quick piece may be followed in halves and a slow
one in eighths, which makes another meter of it (``SEEN_IN``). Method: a conditional logit over
the meters with an L2 penalty on features of one spread, learnt from pieces in quarters. Prints
in how many kept-back files the meter is right, in how many of those played in quarters the bar
lines stand where they should in the meter stated, and the weights learnt from all files.
"""

from __future__ import annotations

import argparse
import random
import tempfile
from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pretty_midi

from arranger.music.errors import UnreadableInput
from arranger.music.score import Score
from arranger.read import read
from arranger.read.meter_heard import FEATURES, METERS, meter_features
from arranger.read.pickup import find_pickup
from arranger.read.piece import Piece, Signature
from arranger.read.reading import piece_in_time

STEPS, RATE, PENALTY, SEED = 1500, 0.2, 0.003, 3
NAMES = [meter.name for meter in METERS]
COUNTED = {"2/2": "4/4", "4/2": "4/4", "3/2": "3/4"}
COMPOUND = ("3/8", "6/4", "9/8", "12/8")
"""Bars of dotted beats are heard as 6/8."""
STRETCHES = (1.13, 1.8, 0.8)
"""Times as long as the file, a copy for each."""
BEATS = {"quarters": 1.0, "eighths": 2.0, "halves": 0.5}
"""Beats followed in a quarter."""
SEEN_IN = {
    "quarters": {meter: meter for meter in NAMES},
    "eighths": {"2/4": "4/4", "4/4": "4/4", "3/4": "3/4", "6/8": "3/4"},
    "halves": {"2/4": "2/4", "4/4": "2/4", "3/4": "6/8"},
}
"""What a meter becomes when the quarters of the music are other notes: of bars that are too
long the half, of those too short two.
"""
PLAIN = ("notated", "quarters")
NEAR = 0.06
"""Share by which the beats followed may be more or fewer."""
Row = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Hearing:
    """How a piece was heard, its features, its meter then (of NAMES), whether its bar lines
    are right.
    """

    way: str
    features: Row
    meter: int
    bars_right: bool | None = None


def played_copy(path: Path, copy: Path, stretch: float) -> None:
    """All notes on one track, on a tempo that sways by a few per cent, with 12 ms of jitter."""
    dice = np.random.default_rng(SEED)
    instrument = pretty_midi.Instrument(0)
    for note in (n for i in pretty_midi.PrettyMIDI(str(path)).instruments for n in i.notes):
        start, end = (
            stretch * at + 0.25 * np.sin(at / 7) + 0.6 for at in (note.start, note.end)
        )
        start, end = start + dice.normal(0, 0.012), end + dice.normal(0, 0.02)
        velocity = int(np.clip(note.velocity + dice.normal(0, 10), 20, 120))
        pitch, end = note.pitch, max(start + 0.03, end)
        instrument.notes.append(pretty_midi.Note(velocity, pitch, max(0.0, start), end))
    music = pretty_midi.PrettyMIDI(initial_tempo=120)
    music.instruments.append(instrument)
    music.write(str(copy))


def hearings(path: Path, copy: Path) -> list[Hearing]:
    """Empty where the file states no meter of a usual kind."""
    score = read(path)
    stated = Counter(f"{bar.numerator}/{bar.denominator}" for bar in score.bars)
    commonest = stated.most_common(1)[0][0]
    meter = "6/8" if commonest in COMPOUND else COUNTED.get(commonest, commonest)
    if meter not in NAMES:
        return []
    notated = meter_features(replace(piece_in_time(path), signatures=()))
    found = [Hearing("notated", notated, NAMES.index(meter))]
    for stretch in STRETCHES:
        played_copy(path, copy, stretch)
        try:
            piece = piece_in_time(copy)
        except UnreadableInput:
            continue
        way = _beats(piece, score) if piece.followed is not None else None
        if way is None or meter not in SEEN_IN[way]:
            continue
        right = _bars_right(score, piece, commonest) if way == "quarters" else None
        seen = NAMES.index(SEEN_IN[way][meter])
        found.append(Hearing(way, meter_features(piece), seen, right))
    return found


def _beats(piece: Piece, score: Score) -> str | None:
    """Which notes of the score the beats followed are, None for others."""
    span = float(score.notes[-1].onset - score.notes[0].onset)
    followed = (piece.notes[-1].start - piece.notes[0].start) / piece.unit
    for way, beats in BEATS.items():
        if abs(followed / span / beats - 1) < NEAR:
            return way
    return None


def _bars_right(score: Score, piece: Piece, meter: str) -> bool | None:
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


def learnt(found: list[Hearing]) -> Row:
    """The weight of each feature; learnt where the beats are quarters."""
    plain = [h for h in found if h.way in PLAIN]
    rows = np.array([h.features for h in plain])
    spread = rows.std((0, 1)) + 1e-9
    rows = rows / spread
    true = rows[np.arange(len(rows)), [h.meter for h in plain]]
    weights = np.zeros(rows.shape[2])
    for _ in range(STEPS):
        scores = rows @ weights
        shares = np.exp(scores - scores.max(1, keepdims=True))
        shares /= shares.sum(1, keepdims=True)
        expected = (shares[:, :, None] * rows).sum(1)
        weights -= RATE * ((expected - true).mean(0) + PENALTY * weights)
    return weights / spread


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--folds", type=int, default=10)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy.mid"
        pieces = [hearings(path, copy) for path in sorted(args.folder.glob("*.mid"))]
    order = list(pieces)
    random.Random(SEED).shuffle(order)
    count: Counter[str] = Counter()
    right: Counter[str] = Counter()
    told: Counter[str] = Counter()
    for fold in range(args.folds):
        rest = [
            h for place, piece in enumerate(order) if place % args.folds != fold for h in piece
        ]
        weights = learnt(rest)
        for one in (h for piece in order[fold :: args.folds] for h in piece):
            heard = int((one.features @ weights).argmax())
            duple = heard % 2 == one.meter % 2 == 0  # 2/4 and 4/4: the same beats
            count[one.way] += 1
            told[one.way] += heard == one.meter
            right[one.way] += heard == one.meter or duple
    for way in count:
        both = f"2/4 and 4/4 as one {right[way]}, told apart {told[way]}"
        print(f"{way}: of {count[way]} right {both}")
    every = [h for piece in pieces for h in piece]
    bars = [h.bars_right for h in every if h.bars_right is not None]
    print(f"bar lines right in the meter stated: {sum(bars)} of {len(bars)}")
    for name, weight in zip(FEATURES, learnt(every), strict=True):
        print(f'"{name}" = {weight:.2f}')


if __name__ == "__main__":
    main()
