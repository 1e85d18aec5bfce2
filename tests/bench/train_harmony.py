"""Train the weights marked "chorales" in tables/harmony.toml and print them.

A structured perceptron with a margin and averaging (Collins 2002; Tsochantaridis 2005) on
every other analysed chorale; the rest is held out and measured. Run with plain Python:
``python tests/bench/train_harmony.py`` (about a minute).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from chorales import Chorale, agreement, analysed_chorales, quality_of

from arranger.analyse.chord_weights import HarmonyTable, chord_weights
from arranger.analyse.half_beats import NO_BASS, Slots, half_beats
from arranger.analyse.harmony import Scorer, Segment, best_segments
from arranger.analyse.keys import find_keys
from arranger.analyse.texture import find_textures
from arranger.analyse.timeline import Floats, Ints, Timeline, timeline
from arranger.music.chord import Chord

QUALITIES = ("", "m", "dim", "aug", "7", "m7", "maj7", "m7b5", "dim7")
CHORDS = tuple(Chord(root, quality, root) for quality in QUALITIES for root in range(12))
PASSES, STEP, MARGIN, PULL = 40, 0.15, 0.3, 0.0005
NAMES = (
    *(f"tone {role}" for role in range(4)), "stranger",
    *(f"absent {role}" for role in range(4)),
    *(f"bass {role}" for role in range(4)), "bass stranger",
    *(f"first bass {role}" for role in range(4)), "first bass stranger",
    *(f"prior {quality}" for quality in QUALITIES),
    *(f"change {strength}" for strength in range(4)),
    "outside key",
)  # fmt: skip
# Where training starts: by ear.
START = (
    1.0, 0.9, 0.7, 0.7, -0.9, -0.3, -0.4, 0.0, -0.5, 0.2, 0.1, 0.0, -0.05, -0.15,
    0.3, 0.1, 0.0, 0.0, -0.3, 0.0, -0.05, -0.2, -0.5, -0.1, -0.3, -0.4, -0.3, -0.2,
    0.35, 0.5, 0.7, 1.4, -0.15,
)  # fmt: skip


@dataclass(frozen=True)
class Example:
    chorale: Chorale
    line: Timeline
    grid: Slots
    gold: list[Segment]


def example(chorale: Chorale) -> Example:
    line = timeline(chorale.score)
    grid = half_beats(line, find_keys(line), find_textures(line), CHORDS)
    names = []
    for start, end in zip(grid.start, grid.end, strict=True):
        middle = line.beats(int(start + end)) / 2
        label = next((x for x in chorale.labels if x.start <= middle < x.end), None)
        chord = label and Chord(label.root, quality_of(label), label.root)
        names.append(CHORDS.index(chord) if chord in CHORDS else len(CHORDS))
    cuts = [0, *(i for i in range(1, len(names)) if names[i] != names[i - 1]), len(names)]
    gold = [(a, b, names[a]) for a, b in pairwise(cuts)]
    return Example(chorale, line, grid, gold)


def features(grid: Slots, segments: list[Segment]) -> Floats:
    """What the weights of NAMES are multiplied with, summed over the segments."""
    total = np.zeros(len(NAMES))
    enough = chord_weights().heard_in_hymns
    for start, end, index in segments:
        if index == len(CHORDS):
            continue
        chord = CHORDS[index]
        heard = grid.heard[end] - grid.heard[start]
        lowest = grid.lowest[end] - grid.lowest[start]
        sound, bass = heard.sum(), grid.bass[start]
        role = {tone: place for place, tone in enumerate(chord.tones)}
        for tone in range(12):
            total[role.get(tone, 4)] += heard[tone]
            total[9 + role.get(tone, 4)] += lowest[tone]
            if sound > 0 and tone in role:
                total[5 + role[tone]] += 1 - min(1.0, heard[tone] / (enough * sound))
        if bass != NO_BASS:
            total[14 + role.get(int(bass), 4)] += 1
        total[19 + QUALITIES.index(chord.quality)] += 1
        total[28 + grid.strength[start]] -= 1
        total[32] += grid.outside[start, index]
    return total


def as_table(weights: Floats) -> HarmonyTable:
    """The shipped table with these weights; no chord is out of the question."""
    w = [float(weight) for weight in weights]
    return chord_weights().model_copy(
        update={
            "tone": tuple(w[0:4]),
            "stranger": w[4],
            "absent": tuple(w[5:9]),
            "bass": tuple(w[9:13]),
            "bass_stranger": w[13],
            "first_bass": tuple(w[14:18]),
            "first_bass_stranger": w[18],
            "prior": dict(zip(QUALITIES, w[19:28], strict=True)),
            "prior_in_hymns": dict(zip(QUALITIES, w[19:28], strict=True)),
            "change": tuple(w[28:32]),
            "outside_key": w[32],
            "no_chord": -5.0,
            "no_chord_unison": -5.0,
        }
    )


class Taught(Scorer):
    """A scorer that gains a margin for every half beat named wrongly."""

    def with_margin(self, gold: list[Segment]) -> Taught:
        wrong = np.full((len(self.grid.start), len(CHORDS) + 1), MARGIN)
        for start, end, chord in gold:
            wrong[start:end, chord] = 0.0
        object.__setattr__(self, "margin", np.vstack([0 * wrong[:1], np.cumsum(wrong, axis=0)]))
        return self

    def segments(self, starts: Ints, ends: Ints) -> Floats:
        margin: Floats = self.margin  # type: ignore[attr-defined]
        scores: Floats = super().segments(starts, ends) + margin[ends] - margin[starts]
        return scores


def train(examples: list[Example]) -> Floats:
    random = np.random.default_rng(0)
    start = np.array(START)
    weights, total, steps = start.copy(), np.zeros(len(NAMES)), 0
    for _ in range(PASSES):
        for index in random.permutation(len(examples)):
            one = examples[index]
            taught = Taught(weights=as_table(weights), chords=CHORDS, grid=one.grid)
            guess = best_segments(taught.with_margin(one.gold))
            error = features(one.grid, one.gold) - features(one.grid, guess)
            weights = weights + STEP * error / max(10, len(one.gold)) - PULL * (weights - start)
            total += weights
            steps += 1
    return total / steps


def report(name: str, examples: list[Example], weights: Floats) -> None:
    pairs = []
    for one in examples:
        score = Scorer(weights=as_table(weights), chords=CHORDS, grid=one.grid)
        named = [
            (
                one.line.beats(int(one.grid.start[start])),
                one.line.beats(int(one.grid.end[end - 1])),
                CHORDS[chord] if chord < len(CHORDS) else None,
            )
            for start, end, chord in best_segments(score)
        ]
        pairs.append((one.chorale.labels, named))
    found = agreement(pairs)
    print(f"{name}: root {found.root:.3f}, triad {found.triad:.3f}, exact {found.exact:.3f}")


def main() -> None:
    examples = [example(chorale) for chorale in analysed_chorales()]
    weights = train(examples[0::2])
    report("trained on", examples[0::2], weights)
    report("held out", examples[1::2], weights)
    for name, weight in zip(NAMES, weights, strict=True):
        print(f"{name:20} {weight:6.2f}")


if __name__ == "__main__":
    main()
