"""How a lesson is laid out: loops, drills, the tempo ladder, care for the hands."""

from __future__ import annotations

from pydantic import Field

from arranger.tables.loader import Table, load


class ChangePoints(Table):
    """What a finger's part in a change of shape costs, in points."""

    slide: float = Field(ge=0)
    land: float = Field(ge=0)
    jump: float = Field(ge=0)
    step: float = Field(ge=0)
    barre: float = Field(ge=0)


class Care(Table):
    """Minutes of rest and practice."""

    break_minutes: int = Field(ge=1)
    every_minutes: int = Field(ge=5)
    more_minutes: int = Field(ge=1)


class OpenStrings(Table):
    """The strings that wait for the plucking fingers, 1 the highest."""

    i: int = Field(ge=1, le=6)
    m: int = Field(ge=1, le=6)
    a: int = Field(ge=1, le=6)


class Teaching(Table):
    """The meaning and unit of each field stand in teaching.toml."""

    loop_bars: int = Field(ge=2)
    loop_bars_least: int = Field(ge=1)
    loop_differs: int = Field(ge=0)
    repeat_differs: int = Field(ge=1)
    differences_told: int = Field(ge=0)
    new_share: float = Field(ge=0, le=1)
    drills: int = Field(ge=0)
    drill_times: int = Field(ge=1)
    lead_share: float = Field(ge=0, le=1)
    changes_named: int = Field(ge=1)
    repeats_named: int = Field(ge=1)
    shift_frets: int = Field(ge=1)
    closing_bars: int = Field(ge=1)
    near_notes: int = Field(ge=0)
    ladder_start: float = Field(gt=0, le=1)
    ladder_ratio: float = Field(gt=1, le=2)
    clean_passes: int = Field(ge=1)
    metronome_slowest: float = Field(gt=0)
    metronome_fastest: float = Field(gt=0)
    points_named: int = Field(ge=0)
    reasons_named: int = Field(ge=1)
    open_strings: OpenStrings
    change: ChangePoints
    care: Care


def teaching() -> Teaching:
    return load("teaching", Teaching)
