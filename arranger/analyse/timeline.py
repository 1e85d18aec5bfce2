"""A score as integer arrays: exact time in ticks, and the meter of every bar.

*Conventions* A tick is the largest fraction of a quarter note that measures every onset,
length and bar line of the score exactly; nothing is rounded. Arrays run over
``Score.notes``. ``phase`` places a bar inside its meter: a pick-up of one eighth in 2/4
begins at phase 3/2, an ordinary bar at phase 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from math import lcm

import numpy as np
from numpy.typing import NDArray

from arranger.music.score import Bar, Score
from arranger.music.time import Beat

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# Every meter's half beat and a sixteenth must fall on ticks.
_FINEST_GRID = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """A bar in ticks, with its meter.

    ``beat`` is the counted beat (a dotted quarter in 6/8), ``half`` the step of the
    harmony grid (half a beat; a third of a dotted beat), ``full`` the length that the
    meter asks for, ``phase`` where in the meter the bar begins.
    """

    start: int
    end: int
    full: int
    beat: int
    half: int
    phase: int
    numerator: int
    denominator: int

    @property
    def compound(self) -> bool:
        return is_compound(self.numerator, self.denominator)

    @property
    def triple(self) -> bool:
        return self.numerator == 3 or (self.numerator == 9 and self.compound)


def is_compound(numerator: int, denominator: int) -> bool:
    """Whether a meter counts dotted beats: 6/8, 9/8, 12/8, 6/16 and the like."""
    return denominator >= 8 and numerator % 3 == 0 and numerator > 3


def _nominal(bars: tuple[Bar, ...]) -> list[tuple[int, int]]:
    """The meter of each bar: a pick-up written as a short meter takes the next bar's."""
    meters = [(bar.numerator, bar.denominator) for bar in bars]
    for index in range(len(bars) - 2, -1, -1):
        if bars[index].number == 0 and bars[index].length < bars[index + 1].length:
            meters[index] = meters[index + 1]
    return meters


def _phases(bars: tuple[Bar, ...], full: list[Fraction]) -> list[Fraction]:
    """Where in its meter each bar begins.

    A short first bar is a pick-up and ends where its meter ends; of two short bars that
    make up one full bar between them (halves at a repeat) the second goes on where the
    first left off; any other bar begins on one.
    """
    phases: list[Fraction] = []
    for index, bar in enumerate(bars):
        phase = Fraction(0)
        missing = full[index] - bar.length
        if missing > 0:
            continues = index > 0 and phases[-1] == 0 and bars[index - 1].length == missing
            if index == 0 or continues:
                phase = missing
        phases.append(phase)
    return phases


@dataclass(frozen=True, kw_only=True)
class Timeline:
    """A score on an exact integer time axis; ``unit`` is the ticks of a quarter note."""

    score: Score
    unit: int
    onset: Ints
    end: Ints
    midi: Ints
    right: Bools
    grace: Bools
    bar: Ints
    measures: tuple[Measure, ...]

    def ticks(self, beat: Beat) -> int:
        return beat.numerator * (self.unit // beat.denominator)

    def beats(self, ticks: int) -> Beat:
        return Fraction(int(ticks), self.unit)

    @property
    def last(self) -> int:
        """The end of the piece in ticks."""
        return self.measures[-1].end

    @cached_property
    def by_bar(self) -> tuple[Ints, ...]:
        """For each bar the indices of the notes that begin in it."""
        edges = np.searchsorted(self.bar, np.arange(len(self.measures) + 1))
        index = np.arange(len(self.bar))
        return tuple(index[a:b] for a, b in pairwise(edges))

    def position(self, note: int) -> int:
        """The place of a note in its meter, in ticks after the first beat."""
        measure = self.measures[self.bar[note]]
        place: int = int(self.onset[note]) - measure.start + measure.phase
        return place


def timeline(score: Score) -> Timeline:
    """``score`` in exact ticks."""
    denominators = {_FINEST_GRID}
    for note in score.notes:
        denominators.update((note.onset.denominator, note.length.denominator))
    for bar in score.bars:
        denominators.update((bar.start.denominator, bar.length.denominator, bar.denominator))
    unit = lcm(*denominators)

    def ticks(beat: Beat) -> int:
        return beat.numerator * (unit // beat.denominator)

    onset = np.array([ticks(note.onset) for note in score.notes], dtype=np.int64)
    length = np.array([ticks(note.length) for note in score.notes], dtype=np.int64)
    measures = _measures(score.bars, unit)
    starts = np.array([measure.start for measure in measures], dtype=np.int64)
    bar_of = np.clip(np.searchsorted(starts, onset, side="right") - 1, 0, len(measures) - 1)
    return Timeline(
        score=score,
        unit=unit,
        onset=onset,
        end=onset + length,
        midi=np.array([note.midi for note in score.notes], dtype=np.int64),
        right=np.array([note.hand == "right" for note in score.notes], dtype=np.bool_),
        grace=np.array([note.ornament == "grace" for note in score.notes], dtype=np.bool_),
        bar=bar_of,
        measures=measures,
    )


def _measures(bars: tuple[Bar, ...], unit: int) -> tuple[Measure, ...]:
    meters = _nominal(bars)
    full = [Fraction(4 * numerator, denominator) for numerator, denominator in meters]
    measures = []
    phases = _phases(bars, full)
    for bar, meter, whole, phase in zip(bars, meters, full, phases, strict=True):
        compound = is_compound(*meter)
        beat = Fraction(12 if compound else 4, meter[1])
        half = beat / (3 if compound else 2)
        measures.append(
            Measure(
                start=int(bar.start * unit),
                end=int(bar.end * unit),
                full=int(max(whole, bar.length) * unit),
                beat=int(beat * unit),
                half=max(1, int(half * unit)),
                phase=int(phase * unit),
                numerator=meter[0],
                denominator=meter[1],
            )
        )
    return tuple(measures)
