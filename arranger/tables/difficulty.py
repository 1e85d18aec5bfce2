"""How hard a piece is: weights, scales and bands of the difficulty score."""

from __future__ import annotations

from math import inf
from typing import Annotated

from pydantic import Field

from arranger.tables.loader import Table, load
from arranger.tables.player import LEVEL_NAMES, LevelName

Weight = Annotated[float, Field(ge=0)]
Scale = Annotated[float, Field(gt=0)]


class Weights(Table):
    """Load by feature; a feature at 1 adds its weight."""

    stretch: Weight
    barre: Weight
    fingers: Weight
    position: Weight
    voices: Weight
    moves: Weight
    plucking: Weight
    repeats: Weight
    independence: Weight
    slurs: Weight
    shifts: Weight
    changes: Weight
    crossing: Weight
    goal: Weight
    shapes: Weight
    places: Weight
    patterns: Weight
    colours: Weight
    length: Weight
    hardest: Weight


class Scales(Table):
    """What counts as 1; the meaning and unit of each field stand in difficulty.toml."""

    stretch_power: float = Field(ge=1)
    small_barre: Scale
    position_from: int = Field(ge=0)
    position_span: Scale
    voices_span: Scale
    finger_width: Scale
    moves_bits: Scale
    hardest_bits: Scale
    hardest_moves: int = Field(ge=1)
    plucking_strokes: Scale
    repeat_seconds: Scale
    leisure_seconds: Scale
    independence_notes: Scale
    slurs_notes: Scale
    shifts_rate: Scale
    changes_rate: Scale
    crossing_strings: Scale
    shapes_span: Scale
    places_span: Scale
    patterns_span: Scale
    colours_span: Scale
    length_span: Scale


class Telling(Table):
    """From which size on a feature is named as a reason; units stand in difficulty.toml.

    A feature that has no line here is a share of the score and nothing to tell a student.
    """

    stretch: Scale
    barre: Scale
    fingers: Scale
    position: Scale
    voices: Scale
    moves: Scale
    plucking: Scale
    repeats: Scale
    independence: Scale
    slurs: Scale
    shifts: Scale
    changes: Scale
    crossing: Scale
    shapes: Scale
    colours: Scale

    def least(self, feature: str) -> float:
        """The size from which a feature is named; infinite where it never is."""
        least: float = getattr(self, feature, inf)
        return least


class Bands(Table):
    """Highest score of each band."""

    beginner: float
    elementary: float
    intermediate: float
    advanced: float

    def of(self, score: float) -> LevelName:
        """The lowest band that reaches up to ``score``."""
        for name in LEVEL_NAMES:
            if score <= getattr(self, name):
                return name
        return LEVEL_NAMES[-1]


class Interval(Table):
    """How far the load may lie off to either side."""

    load: float = Field(ge=0)


class Easier(Table):
    """What is tried to make a piece easier; tempos as shares, saved points of the score."""

    tempo_step: float = Field(gt=0, lt=1)
    tempo_least: float = Field(gt=0, lt=1)
    least_points: float = Field(gt=0)
    capo_most: int = Field(ge=0, le=7)


class Unstated(Table):
    """At what a score that says no tempo is graded: strokes and notes a second, their
    geometric mean.
    """

    plucked: float = Field(gt=0)


class DifficultyTable(Table):
    weights: Weights
    scales: Scales
    unstated: Unstated
    telling: Telling
    interval: Interval
    easier: Easier
    bands: Bands


def difficulty_table() -> DifficultyTable:
    return load("difficulty", DifficultyTable)
