"""Repeats of played-out rags found again: recall and precision.

    python tests/bench/form.py [FOLDER]

Two sets. *Printed*: music21's Joplin rags with their printed repeats played out; the truth is
which printed bar each played bar is. *Composed*: strains of sixteen bars cut from the rags
in FOLDER (default ``$ARRANGER_DATA/piano``), played as AABBACCDD and the like, every repeat
with another ending of one or two bars; no two strains share four bars.

A pair of bars is wanted when both are one printed bar (endings, of which each is played once,
make no pair); it is found when both lie in sections of one letter at the same distance from
the section's beginning. A pair found is wrong unless it is wanted, its bars hold the same
notes, or one of them lies in an ending.
"""

from __future__ import annotations

import os
import random
import sys
import tempfile
from collections import defaultdict
from collections.abc import Hashable, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import combinations
from pathlib import Path

from arranger.analyse import analyse
from arranger.analyse.form import likeness
from arranger.analyse.timeline import timeline
from arranger.music.analysis import Section
from arranger.music.score import Bar, Note, Score
from arranger.read import read

SEED = 5
STRAIN = 16
PHRASE = 4  # bars
PLANS = ("AABB", "AABBA", "AABBACC", "AABBACCDD", "AABBCCDD", "ABAB", "AABA")
Pair = tuple[int, int]


def pairs(labels: Sequence[Hashable | None]) -> set[Pair]:
    """Pairs of places with one label."""
    places: dict[Hashable, list[int]] = defaultdict(list)
    for place, label in enumerate(labels):
        if label is not None:
            places[label].append(place)
    return {pair for same in places.values() for pair in combinations(same, 2)}


def found_labels(sections: Sequence[Section], score: Score) -> list[Hashable]:
    """For each bar its section's letter and its distance from the beginning, pick-up apart."""
    labels: list[Hashable] = []
    for section in sections:
        pickup = section.first == 0 and score.bars[0].number == 0
        labels += [
            (section.letter, bar - section.first - pickup)
            for bar in range(section.first, section.last + 1)
        ]
    return labels


def compared(score: Score, truth: Sequence[Hashable | None], endings: set[int]) -> list[int]:
    """Pairs wanted, found of those, found in all, wrong."""
    wanted = {p for p in pairs(truth) if not endings & set(p)}
    alike = likeness(timeline(score))
    found = {
        p for p in pairs(found_labels(analyse(score).sections, score)) if not endings & set(p)
    }
    wrong = {p for p in found - wanted if alike[p] < 0.999}
    return [len(wanted), len(wanted & found), len(found), len(wrong)]


# ---- composed -------------------------------------------------------------------------


def strains(rags: Sequence[Score], dice: random.Random, count: int) -> list[tuple[Score, int]]:
    """Stretches of sixteen full bars: the rag and the first bar.

    No two share as much as a phrase, or one music would have two letters in the truth.
    """
    chosen: list[tuple[Score, int]] = []
    music: list[set[frozenset[tuple[Fraction, int]]]] = []
    while len(chosen) < count:
        rag = dice.choice(rags)
        first = dice.randrange(1, len(rag.bars) - STRAIN)
        bars = rag.bars[first : first + STRAIN]
        if not all(bar.length == 2 for bar in bars):
            continue
        held = {content(rag, bar) for bar in bars}
        if all(len(held & other) < PHRASE for other in music):
            chosen.append((rag, first))
            music.append(held)
    return chosen


def content(score: Score, bar: Bar) -> frozenset[tuple[Fraction, int]]:
    """Places in the bar and pitches."""
    return frozenset(
        (note.onset - bar.start, note.midi)
        for note in score.notes
        if bar.start <= note.onset < bar.end
    )


def composed(
    rags: Sequence[Score], plan: str, dice: random.Random
) -> tuple[Score, list[Hashable], set[int]]:
    """A rag by plan, the truth about each bar, and the bars of its endings."""
    letters = sorted(set(plan))
    sources = dict(zip(letters, strains(rags, dice, len(letters)), strict=True))
    spare = [strains(rags, dice, 1)[0] for _ in plan]
    rows: list[tuple[Score, int]] = []
    truth: list[Hashable] = []
    endings: set[int] = set()
    for turn, letter in enumerate(plan):
        rag, first = sources[letter]
        ending = dice.choice((1, 2)) if turn and plan[turn - 1] == letter else 0
        for bar in range(STRAIN):
            if bar >= STRAIN - ending:
                other, start = spare[turn]
                rows.append((other, start + bar))
            else:
                rows.append((rag, first + bar))
            if bar >= STRAIN - 2:
                endings.add(len(truth))
            truth.append((letter, bar))
    return joined(rows), truth, endings


def joined(rows: Sequence[tuple[Score, int]]) -> Score:
    """A score of the bars in ``rows``, one after another."""
    notes: list[Note] = []
    bars: list[Bar] = []
    at = Fraction(0)
    for score, place in rows:
        bar = score.bars[place]
        own = [note for note in score.notes if bar.start <= note.onset < bar.end]
        notes += [
            replace(note, index=len(notes) + k, onset=note.onset - bar.start + at)
            for k, note in enumerate(own)
        ]
        bars.append(replace(bar, number=len(bars) + 1, start=at))
        at += bar.length
    return replace(rows[0][0], notes=tuple(notes), bars=tuple(bars), keys=())


# ---- printed --------------------------------------------------------------------------


def printed() -> list[tuple[Score, list[Hashable | None], set[int]]]:
    """music21's rags as played, with the printed number of every bar."""
    from music21 import corpus  # noqa: PLC0415 (slow to load)

    result = []
    for path in corpus.getComposer("joplin"):
        played = corpus.parse(path).expandRepeats()
        measures = list(played.parts[0].getElementsByClass("Measure"))
        with tempfile.TemporaryDirectory() as folder:
            file = Path(folder) / "rag.mid"
            played.write("midi", fp=file)
            score = read(file)
        numbers: list[Hashable | None] = [measure.number for measure in measures]
        result.append((score, numbers[: len(score.bars)], set[int]()))
    return result


def report(name: str, counts: Sequence[Sequence[int]]) -> None:
    wanted, both, found, wrong = (sum(column) for column in zip(*counts, strict=True))
    print(
        f"{name:10} {len(counts):4} pieces   wanted {wanted:6}   recall {both / wanted:.3f}"
        f"   precision {1 - wrong / found:.3f}"
    )


def main() -> None:
    data = Path(os.environ.get("ARRANGER_DATA", "../shared/data")) / "piano"
    show(Path(sys.argv[1]) if len(sys.argv) > 1 else data)


def show(folder: Path) -> None:
    """Print the figures; strains are cut from the rags in ``folder``."""
    counts = []
    for score, truth, endings in printed():
        form = " ".join(f"{s.letter}{s.last - s.first + 1}" for s in analyse(score).sections)
        print(f"{score.title}: {len(score.bars)} bars, {form}")
        padded = [*truth, *[None] * (len(score.bars) - len(truth))]
        counts.append(compared(score, padded, endings))
    report("printed", counts)
    rags = [read(path) for path in sorted(folder.glob("joplins*.mid"))]
    dice = random.Random(SEED)
    for plan in PLANS:
        report(plan, [compared(*composed(rags, plan, dice)) for _ in range(6)])


if __name__ == "__main__":
    main()
