"""Learn the weights of ``arranger/tables/plucking.toml`` from what editors printed.

    python tests/bench/train_plucking.py DATA [--folds 8] [--write]

DATA is the project's folder of open data. A linear-chain conditional random field with
hidden parts, drawn back towards weights set by hand; strings are those our left hand chose,
with the editor's where printed. Prints agreement cross-validated over all standard-tuning
scores with right-hand labels, with a bootstrap over pieces.
"""

from __future__ import annotations

import argparse
import random
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

import numpy as np
from fingers import Marks, show
from guitar_scores import STANDARD, GuitarScore, guitar_scores
from numpy.typing import NDArray
from train_fingers import SEED, features_of, label_notes, trained_hand

from arranger.neck.chain import field
from arranger.neck.fingered import fingered, learnt_weights
from arranger.neck.habits import Habits, speed
from arranger.neck.plucked import (
    FAMILIES,
    TOTAL,
    Stroke,
    family,
    move_features,
    own_features,
    own_key,
    plucked,
    plucking_chain,
    ways,
)
from arranger.neck.printed import WEIGHTS

Array = NDArray[np.float64]
TABLE = Path(__file__).parents[2] / "arranger" / "tables" / "plucking.toml"
PIMA = "pima"
HEAD = """\
# Which finger guitarists pluck with: log-odds by family of features, in the order of
# arranger/neck/plucked.py. Learnt by tests/bench/train_plucking.py on
# ../shared/data/guitar/labelled (open data, {scores} scores, {labels} labels), seed {seed},
# drawn back ({back}) towards weights set by hand.
# Kept back by piece: p i m a {pima:.1%}, thumb or not {thumb:.1%}.
[weights]
"""
BACK = 0.5
STEPS = 60


@dataclass(frozen=True)
class Plucked:
    name: str
    solo: bool
    strokes: tuple[Stroke, ...]
    labels: tuple[tuple[int | None, ...], ...]

    def masks(self) -> list[NDArray[np.bool_] | None]:
        found: list[NDArray[np.bool_] | None] = []
        for labels in self.labels:
            if all(label is None for label in labels):
                found.append(None)
                continue
            found.append(
                np.array(
                    [
                        all(lab in (None, f) for lab, f in zip(labels, way, strict=True))
                        for way in ways(len(labels))
                    ]
                )
            )
        return found


def plucked_score(score: GuitarScore) -> Plucked | None:
    """The strokes of a piece on our strings, with its right-hand labels."""
    if not any(label.right for label in score.labels):
        return None
    habits = Habits(features_of(score.tuning, trained_hand()), learnt_weights())
    pins = label_notes(score)
    notes = [pins.get(index, note) for index, note in enumerate(score.notes)]
    # Labels pin their own notes alone: strings otherwise as on a page without fingers.
    found = fingered(notes, habits, printed=np.zeros(WEIGHTS))
    order = sorted(found.notes, key=lambda n: (score.notes[n.note].onset, -n.string))
    strokes, labels = [], []
    last = None
    for onset, group in groupby(order, key=lambda note: score.notes[note.note].onset):
        here = list(group)
        strokes.append(
            Stroke(
                strings=tuple(note.string for note in here),
                voices=voices_here([score.notes[note.note].voice for note in here]),
                gap=9.0 if last is None else float(onset - last),
                on_beat=onset.denominator == 1,
            )
        )
        rights = [score.labels[note.note].right for note in here]
        labels.append(tuple(None if r is None else PIMA.index(r) for r in rights))
        last = onset
    return Plucked(score.name, score.solo, tuple(strokes), tuple(labels))


def voices_here(voices: Sequence[int]) -> tuple[int, ...]:
    return tuple(min(max(voice, 0), 2) for voice in voices)


def start() -> Array:
    """Weights set by hand: the home strings, and no finger twice in haste."""
    weights = np.zeros(TOTAL)
    family(weights, "string")[0] = [0, -3.0, -2.0, -0.7, 0.9, 1.3, 1.5]
    family(weights, "string")[1] = [0, -0.6, 0.3, 0.9, 0.3, -0.5, -0.8]
    family(weights, "string")[2] = [0, 0.4, 0.7, 0.3, -0.4, -1.0, -1.2]
    family(weights, "string")[3] = [0, 0.4, -0.4, -1.0, -1.5, -2.0, -2.5]
    family(weights, "voice")[0, 2] = 1.5
    family(weights, "voice")[0, 1] = -1.0
    for finger in range(1, 4):
        family(weights, "next")[:, finger, finger, :] = np.array([-2.0, -1.2, -0.5])[:, None]
    family(weights, "next")[:, 1, 2, 2] = family(weights, "next")[:, 2, 1, 1] = -0.3
    return weights


def expected(piece: Plucked, weights: Array) -> Array:
    """Gradient of the log-likelihood of the labels."""
    chained = plucking_chain(piece.strokes, weights)
    free = field(chained)
    told = field(chained, piece.masks(), free.moves)
    total = np.zeros(TOTAL)
    for at, stroke in enumerate(piece.strokes):
        for row, share in zip(
            own_features(own_key(stroke)), told.shares(at) - free.shares(at), strict=True
        ):
            np.add.at(total, list(row), share)
        if at:
            shares = told.pair_shares(at) - free.pair_shares(at)
            if np.abs(shares).max() < 1e-6:
                continue
            table = move_features(
                piece.strokes[at - 1].strings, stroke.strings, speed(stroke.gap)
            )
            for row_, line in zip(table, shares, strict=True):
                for cell, share in zip(row_, line, strict=True):
                    np.add.at(total, list(cell), share)
    return total


def learnt(pieces: Sequence[Plucked]) -> Array:
    begin = start()
    weights, sums = begin.copy(), np.full(TOTAL, 1.0)
    for _ in range(STEPS):
        up = sum((expected(piece, weights) for piece in pieces), np.zeros(TOTAL))
        up -= BACK * (weights - begin)
        sums += up * up
        weights += 0.3 * up / np.sqrt(sums)
    return weights


def marked(piece: Plucked, weights: Array) -> Marks:
    marks: Marks = defaultdict(list)
    for fingers, labels in zip(plucked(piece.strokes, weights), piece.labels, strict=True):
        for finger, label in zip(fingers, labels, strict=True):
            if label is not None:
                for kind in ("", ", solo") if piece.solo else ("",):
                    marks[f"p i m a{kind}"].append(finger == label)
                    marks[f"thumb or not{kind}"].append((finger == 0) == (label == 0))
    return marks


def near(piece: Plucked) -> Plucked:
    """The stretches around labels, joined; moves between them say little."""
    known = {
        at for at, row in enumerate(piece.labels) if any(label is not None for label in row)
    }
    kept = [
        at
        for at in range(len(piece.strokes))
        if any(near_ in known for near_ in range(at - 6, at + 7))
    ]
    return Plucked(
        piece.name,
        piece.solo,
        tuple(piece.strokes[at] for at in kept),
        tuple(piece.labels[at] for at in kept),
    )


def table_text(weights: Array, **facts: object) -> str:
    text = HEAD.format(**facts)
    for name in FAMILIES:
        values = [f"{value:.2f}" for value in family(weights, name).ravel()]
        lines = [", ".join(values[at : at + 12]) for at in range(0, len(values), 12)]
        text += f"{name} = [\n  " + ",\n  ".join(lines) + ",\n]\n"
    return text


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("data", type=Path)
    parser.add_argument("--folds", type=int, default=8)
    parser.add_argument("--write", action="store_true")
    args = parser.parse_args()
    scores = [s for s in guitar_scores(args.data, "labelled") if s.tuning == STANDARD]
    pieces = [found for score in scores if (found := plucked_score(score))]
    random.Random(SEED).shuffle(pieces)
    marks = []
    for fold in range(args.folds):
        back = pieces[fold :: args.folds]
        weights = learnt([near(piece) for piece in pieces if piece not in back])
        marks += [marked(piece, weights) for piece in back]
    show("right hand, kept back", marks)
    rule = [marked(piece, start()) for piece in pieces]
    show("right hand, weights set by hand", rule)
    if args.write:
        count = [len(one["p i m a"]) for one in marks]
        facts = {
            "scores": len(pieces),
            "labels": sum(count),
            "seed": SEED,
            "back": BACK,
            "pima": sum(sum(one["p i m a"]) for one in marks) / sum(count),
            "thumb": sum(sum(one["thumb or not"]) for one in marks) / sum(count),
        }
        TABLE.write_text(
            table_text(learnt([near(piece) for piece in pieces]), **facts), "utf-8"
        )


if __name__ == "__main__":
    main()
