"""Learn the weights of ``arranger/tables/pickup.toml`` from files that state their pick-up.

    python tests/bench/train_pickup.py FOLDER [--folds 6]

Each piece is cut to its first stretch of equal bars; its pick-up is forgotten and every
phase (in eighths) is a candidate. Method: multinomial logistic regression over the phases
of a piece with an L2 penalty. Prints the share of kept-back files whose phase is right, how
many pick-ups were found where there is none, and the weights learnt from all files.
"""

from __future__ import annotations

import argparse
import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from arranger.read.meter import played_bars
from arranger.read.pickup import FEATURES, features_of
from arranger.read.reading import gridded_piece
from arranger.read.signatures import read_signatures

STEPS, RATE, PENALTY, SEED = 1500, 0.3, 0.004, 1
LEAST_BARS, MOST_BARS = 4, 32
Example = tuple[str, npt.NDArray[np.float64], int]


def example(path: Path) -> Example | None:
    """Name, features by phase, index of the true phase; None for too few equal bars."""
    piece, _ = gridded_piece(path)
    eighth = piece.unit // 2
    _, signatures, _ = read_signatures(piece)
    bars = played_bars(signatures, piece.last_onset + piece.unit // 32, piece.unit)
    short = bars[0].written < bars[0].meter_length
    pickup = bars[0].length if short else 0
    regular = bars[int(short) :]
    length = regular[0].meter_length
    count = next((i for i, bar in enumerate(regular) if bar.length != length), len(regular))
    if count < LEAST_BARS or pickup % eighth or length % eighth:
        return None
    stop = regular[count - 1].end
    cut = replace(
        piece,
        notes=tuple(note for note in piece.notes if note.start < stop),
        keys=tuple(key for key in piece.keys if key.at < stop),
        tempos=tuple(tempo for tempo in piece.tempos if tempo.at < stop),
    )
    phases = range(0, length, eighth)
    rows = [features_of(cut, length, phase, MOST_BARS) for phase in phases]
    return path.stem, np.array(rows), pickup // eighth


def learnt(examples: list[Example]) -> npt.NDArray[np.float64]:
    """Weights in the order of FEATURES."""
    weights = np.zeros(len(FEATURES))
    for _ in range(STEPS):
        gradient = -2 * PENALTY * weights
        for _, rows, true in examples:
            scores = rows @ weights
            shares = np.exp(scores - scores.max())
            shares /= shares.sum()
            gradient += (rows[true] - shares @ rows) / len(examples)
        weights = weights + RATE * gradient
    return weights


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--folds", type=int, default=6)
    args = parser.parse_args()
    found = [example(path) for path in sorted(args.folder.glob("*.mid"))]
    examples = [e for e in found if e is not None]
    order = list(examples)
    random.Random(SEED).shuffle(order)
    right = false = 0
    for fold in range(args.folds):
        kept_back = order[fold :: args.folds]
        names = {e[0] for e in kept_back}
        weights = learnt([e for e in order if e[0] not in names])
        for name, rows, true in kept_back:
            heard = int((rows @ weights).argmax())
            right += heard == true
            false += true == 0 and heard != 0
            if heard != true:
                print(f"  {name}: {true} eighths, heard {heard}")
    pickups = sum(true > 0 for _, _, true in examples)
    print(f"{len(examples)} files, {pickups} with a pick-up")
    print(f"right {right / len(examples):.3f}, false pick-ups {false}")
    for name, value in zip(FEATURES, learnt(examples), strict=True):
        print(f"{name} = {value:.2f}")


if __name__ == "__main__":
    main()
