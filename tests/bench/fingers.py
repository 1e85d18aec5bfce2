"""How often our left hand does what editors printed, in pieces it has never seen.

    python tests/bench/fingers.py DATA [--folds 5] [--epochs 8] [--share 1.0] [--shipped]

Solo pieces in standard tuning, cross-validated over pieces (training takes all labelled
scores but the fold's); intervals are a bootstrap over pieces. ``--share`` learns from that
share of them, drawn at random: how agreement grows with what there is to learn from (left
fingers about 59, 62 and 63 % at .3, .6 and 1 of some 98 pieces). ``--shipped`` measures the
shipped weights on the pieces they were learnt from, quickly, and is no evidence.
"""

from __future__ import annotations

import argparse
import random
import statistics
import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from guitar_scores import STANDARD, GuitarScore, guitar_scores
from numpy.typing import NDArray
from train_fingers import (
    SEED,
    Example,
    Rates,
    examples,
    features_of,
    hidden,
    label_notes,
    learnt,
    learnt_printed,
    start,
    trained_hand,
    whole_lattice,
)

from arranger.neck.fingered import (
    FingeredNote,
    fingered,
    learnt_weights,
    printed_weights,
    with_open_strings,
)
from arranger.neck.habits import Habits
from arranger.neck.holding import Widths
from arranger.neck.lattice import lattice
from arranger.tables.habits import left_habits

Array = NDArray[np.float64]
Marks = dict[str, list[bool]]
BOOTSTRAP = 2000
PARTS = 5
"""A page that states most of its fingers lacks those of one onset in so many."""


def agreement(score: GuitarScore, found: Sequence[FingeredNote], marks: Marks) -> None:
    """Marks what of the labels was met."""
    for note in found:
        label = score.labels[note.note]
        if label.string is not None and label.explicit:
            marks["explicit strings"].append(note.string == label.string)
        if label.string is not None and label.open_string:
            marks["open-string labels"].append(note.string == label.string)
        if label.string is not None:
            marks["all strings"].append(note.string == label.string)
        if label.left:
            marks["left fingers"].append(note.finger == label.left)
        if label.position is not None:
            kind = "barre positions" if label.barre else "positions"
            marks[kind].append(note.position == label.position)


def beside_labels(score: GuitarScore, weights: Array, printed: Array, marks: Marks) -> None:
    """Each finger printed, told by the model that knows all labels of other onsets."""
    habits = Habits(features_of(score.tuning, trained_hand()), weights)
    pins = label_notes(score)
    stages = lattice(score.notes, habits, Widths(), labels=pins).stages
    for one in hidden(score, stages, habits):
        marks["left fingers, other labels given"].append(one.told(printed) == one.finger)


def partly_given(score: GuitarScore, weights: Array, printed: Array, marks: Marks) -> None:
    """Labels of one onset in ``PARTS``, played as a page that states all the others."""
    habits = Habits(features_of(score.tuning, trained_hand()), weights)
    pins = label_notes(score)
    onsets = sorted({score.notes[index].onset for index in pins})
    random.Random(SEED).shuffle(onsets)
    for part in range(PARTS):
        gone = set(onsets[part::PARTS])
        page = [
            replace(note, string=pins[index].string, finger=pins[index].finger)
            if index in pins and note.onset not in gone
            else note
            for index, note in enumerate(score.notes)
        ]
        if gone:
            found = fingered(page, habits, printed=printed)
            back = [note for note in found.notes if score.notes[note.note].onset in gone]
            told: Marks = defaultdict(list)
            agreement(score, back, told)
            for kind in ("left fingers", "explicit strings", "open-string labels"):
                marks[f"{kind}, most others given"] += told[kind]


def by_rule(score: GuitarScore, position: bool) -> Iterator[tuple[int, int, int]]:
    """Note, string, finger by the lowest fret, or by the nearest position."""
    stand = 1.0
    for index, note in enumerate(score.notes):
        spots = [
            (string, note.midi - opened)
            for string, opened in enumerate(score.tuning, 1)
            if 0 <= note.midi - opened <= 19
        ]
        if not spots:
            continue
        if position:
            near = stand

            def away(spot: tuple[int, int], near: float = near) -> tuple[float, int]:
                return (abs(spot[1] - near - 1.5) if spot[1] else 0.0), spot[1]

            string, fret = min(spots, key=away)
            if fret and not stand <= fret <= stand + 3:
                stand = max(1.0, min(float(fret), stand) if fret < stand else fret - 3.0)
            finger = max(1, min(4, round(fret - stand + 1))) if fret else 0
        else:
            string, fret = min(spots, key=lambda spot: spot[1])
            finger = min(4, fret)
        yield index, string, finger


def baseline(score: GuitarScore, position: bool, marks: Marks) -> None:
    for index, string, finger in by_rule(score, position):
        label = score.labels[index]
        if label.string is not None:
            kind = "explicit strings" if label.explicit else "open-string labels"
            marks[kind].append(string == label.string)
            marks["all strings"].append(string == label.string)
        if label.left:
            marks["left fingers"].append(finger == label.left)


def interval(pieces: Sequence[list[bool]]) -> tuple[float, float, float, int]:
    """Share, and its 95 % bootstrap interval over pieces; the number of labels."""
    pieces = [piece for piece in pieces if piece]
    total = sum(map(len, pieces))
    share = sum(map(sum, pieces)) / max(1, total)
    dice = random.Random(SEED)
    shares = []
    for _ in range(BOOTSTRAP if pieces else 0):
        drawn = dice.choices(pieces, k=len(pieces))
        shares.append(sum(map(sum, drawn)) / sum(map(len, drawn)))
    shares.sort()
    low, high = (shares[50], shares[-51]) if shares else (0.0, 0.0)
    return share, low, high, total


def show(title: str, marks: Sequence[Marks]) -> None:
    print(title)
    for kind in sorted({kind for one in marks for kind in one}):
        share, low, high, total = interval([one.get(kind, []) for one in marks])
        print(f"  {kind:38} {share:6.1%}  [{low:.1%}, {high:.1%}]  of {total}")


def measured(score: GuitarScore, weights: Array, printed: Array, agree: float | None) -> Marks:
    marks: Marks = defaultdict(list)
    habits = Habits(features_of(score.tuning, trained_hand()), weights)
    found = fingered(score.notes, habits, agree=agree)
    agreement(score, found.notes, marks)
    beside_labels(score, weights, printed, marks)
    partly_given(score, weights, printed, marks)
    return marks


def cross_validated(
    scores: Sequence[GuitarScore], folds: int, rates: Rates, agree: float, share: float
) -> list[Marks]:
    player, begin = trained_hand(), start()
    trained: dict[str, list[Example]] = {
        score.name: examples(score, begin, player) for score in scores
    }
    whole = {
        score.name: whole_lattice(score, begin, player)
        for score in scores
        if label_notes(score)
    }
    order = sorted((score for score in scores if score.solo), key=lambda score: score.name)
    random.Random(SEED).shuffle(order)
    marks: list[Marks] = []
    for fold in range(folds):
        dice, back = random.Random(fold), {score.name for score in order[fold::folds]}
        known = [s for s in scores if s.name in whole and s.name not in back]
        known = [score for score in known if dice.random() < share]
        rest = [trained[score.name] for score in known if trained[score.name]]
        weights = with_open_strings(learnt(rest, rates, begin))
        printed = learnt_printed([(score, whole[score.name]) for score in known], weights)
        new = [measured(score, weights, printed, agree) for score in order[fold::folds]]
        marks += new
        show(f"fold {fold + 1}", new)
    return marks


def solved_bars(scores: Sequence[GuitarScore], habits: Habits) -> None:
    """Bars of four quarters in which every note is played, and the time a bar takes."""
    bars = played = 0
    times = []
    for score in scores:
        began = time.process_time()
        found = fingered(score.notes, habits)
        spent = time.process_time() - began
        count = int(max(note.end for note in score.notes) // 4) + 1
        lost = {int(score.notes[one.note].onset // 4) for one in found.unplayable}
        bars += count
        played += count - len(lost)
        times.append(spent / count * 1000)
    print(f"  bars solved {played} of {bars}: {played / bars:.2%};", end=" ")
    print(f"{statistics.median(times):.1f} ms a bar (of one processor) at the median")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("data", type=Path)
    parser.add_argument("--folds", type=int, default=5)
    parser.add_argument("--epochs", type=int, default=Rates.epochs)
    parser.add_argument("--agree", type=float, default=left_habits().agree)
    parser.add_argument("--share", type=float, default=1.0)
    parser.add_argument("--shipped", action="store_true")
    args = parser.parse_args()
    scores = [s for s in guitar_scores(args.data, "labelled") if s.tuning]
    solo = [score for score in scores if score.solo and score.tuning == STANDARD]
    rules: dict[str, Callable[[GuitarScore, Marks], None]] = {
        "lowest fret": lambda score, marks: baseline(score, False, marks),
        "nearest position": lambda score, marks: baseline(score, True, marks),
    }
    for title, rule in rules.items():
        found: list[Marks] = []
        for score in solo:
            marks: Marks = defaultdict(list)
            rule(score, marks)
            found.append(marks)
        show(title, found)
    if args.shipped:
        seen = [
            measured(score, learnt_weights(), printed_weights(), args.agree) for score in solo
        ]
        show("shipped weights, pieces they were learnt from", seen)
    else:
        kept = [s for s in scores if not s.solo or s.tuning == STANDARD]
        rates = Rates(epochs=args.epochs)
        show("kept back", cross_validated(kept, args.folds, rates, args.agree, args.share))
    habits = Habits(features_of(STANDARD, trained_hand()), learnt_weights())
    for folder in ("labelled", "plain"):
        chosen = [
            s for s in guitar_scores(args.data, folder) if s.solo and s.tuning == STANDARD
        ]
        print(f"{folder}, {len(chosen)} scores")
        solved_bars(chosen, habits)


if __name__ == "__main__":
    main()
