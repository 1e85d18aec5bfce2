"""How well scores of difficulty follow the order in which composers put their studies.

``python tests/bench/difficulty.py`` prints rank correlations (Spearman) with bootstrap
intervals over pieces: within each progressive collection, and of all pieces with the standing
of their collection. The trained weights are cross-validated by piece and by whole collections;
beside them stand the weights of the table as they are, a few baselines, and a second opinion.

References
----------
Second opinion: the weights of a published rubric for songs in chords: positions 3, fingers 2,
repetition 2, right hand 2, speed of change 1. Its parts are estimated from what is fingered.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from ordered_studies import PROGRESSIVE, STANDING, Study, studies
from scipy.stats import rankdata, spearmanr
from train_difficulty import NAMES, Vector, by_hand, held_out, held_out_whole, matrix

from arranger.tables.difficulty import difficulty_table

SAMPLES = 2000
SEED = 11


def notes_a_quarter(piece: Study) -> float:
    """Notes a second, but for the tempo, which no study says."""
    return len(piece.arrangement.notes) / float(piece.arrangement.bars[-1].end)


def highest_fret(piece: Study) -> float:
    return max(note.fret for note in piece.arrangement.notes)


def notes_in_all(piece: Study) -> float:
    return len(piece.arrangement.notes)


def rubric(pieces: Sequence[Study], data: Vector) -> Vector:
    """Parts as ranks among the pieces, 0 to 1, weighted as the rubric does."""

    def part(*names: str) -> Vector:
        values = sum(data[:, NAMES.index(name)] for name in names)
        return np.asarray((rankdata(values) - 1) / (len(pieces) - 1))

    parts = (
        (3, part("position", "shifts")),
        (2, part("fingers", "barre")),
        (2, part("places")),
        (2, part("patterns")),
        (1, part("moves")),
    )
    return np.asarray(sum(weight * value for weight, value in parts))


def told(
    pieces: Sequence[Study], loads: Vector, at: Sequence[int], label: Callable[[Study], int]
) -> str:
    """``0.52 [0.12, 0.77]``: rank correlation, and nine of ten samples drawn anew."""
    labels = np.array([label(pieces[i]) for i in at], dtype=float)
    values = loads[list(at)]
    draw = np.random.default_rng(SEED)
    samples = []
    for _ in range(SAMPLES):
        chosen = draw.integers(0, len(at), len(at))
        if len(set(labels[chosen])) > 1 and len(set(values[chosen])) > 1:
            samples.append(spearmanr(labels[chosen], values[chosen]).statistic)
    low, high = np.quantile(samples, (0.05, 0.95))
    return f"{spearmanr(labels, values).statistic:5.2f} [{low:5.2f}, {high:5.2f}]"


def main() -> None:
    pieces = studies()
    data = matrix(pieces)
    weights = difficulty_table().weights
    table = np.array([getattr(weights, name) for name in NAMES])
    rows = {
        "trained, held out": held_out(pieces, data),
        "collection held out": held_out_whole(pieces, data),
        "the table as it is": data @ table,
        "weights by hand": data @ by_hand(),
        "rubric for songs": rubric(pieces, data),
        "notes a quarter": np.array([notes_a_quarter(piece) for piece in pieces]),
        "places by finger": data[:, NAMES.index("places")],
        "highest fret": np.array([highest_fret(piece) for piece in pieces]),
        "notes in all": np.array([notes_in_all(piece) for piece in pieces]),
    }
    for collection in PROGRESSIVE:
        at = [i for i, piece in enumerate(pieces) if piece.collection == collection]
        print(f"{collection}, {len(at)} pieces, against their numbers")
        for name, loads in rows.items():
            print(f"  {name:20}{told(pieces, loads, at, lambda piece: piece.number)}")
    print(f"all {len(pieces)} pieces against the standing of their collections")
    for name, loads in rows.items():
        every = range(len(pieces))
        said = told(pieces, loads, every, lambda piece: STANDING[piece.collection])
        print(f"  {name:20}{said}")


if __name__ == "__main__":
    main()
