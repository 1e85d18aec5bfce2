"""The table of reading: limits, names of hands, and how near is near."""

from __future__ import annotations

from pydantic import Field

from arranger.tables import Table, load


class Limits(Table):
    """What is refused before any work is done."""

    minutes: float = Field(gt=0)
    notes: int = Field(gt=0)
    megabytes: float = Field(gt=0)
    unpacked: float = Field(ge=1)
    tracks: int = Field(gt=0)
    bars: int = Field(gt=0)
    beats: int = Field(gt=0)
    written_notes: int = Field(gt=0)
    written_bars: int = Field(gt=0)
    humdrum_kilobytes: float = Field(gt=0)
    abc_kilobytes: float = Field(gt=0)
    ticks_a_quarter: int = Field(gt=0)
    rest_quarters: float = Field(gt=0)
    title_letters: int = Field(gt=0)


class TempoTable(Table):
    """Quarter notes a minute."""

    default: float = Field(gt=0)
    first_bars: float = Field(gt=0)
    least: float = Field(gt=0)
    most: float = Field(gt=0)


class HandNames(Table):
    """Words that name a hand, and when two tracks are believed."""

    right: tuple[str, ...]
    left: tuple[str, ...]
    voice: tuple[str, ...]
    tune: tuple[str, ...]
    named_slack: float = Field(ge=0)
    unnamed_gap: float = Field(ge=0)
    unnamed_share: float = Field(ge=0, le=0.5)
    line_overlap: float = Field(ge=0, le=1)
    line_chords: float = Field(ge=0, le=1)
    split: int = Field(ge=0, le=127)


class GridTable(Table):
    """Divisions of a quarter and tolerances, in quarters."""

    divisions: tuple[int, ...] = Field(min_length=1)
    costs: tuple[float, ...] = Field(min_length=1)
    exact: float = Field(gt=0)
    loose: float = Field(gt=0)
    quantised_share: float = Field(gt=0, le=1)
    grace_length: float = Field(gt=0)
    graces: int = Field(ge=1)
    graces_whole: float = Field(gt=0)
    roll_step: float = Field(gt=0)


class Lengths(Table):
    """How a played length becomes a written one."""

    closed: float = Field(gt=0, le=1)
    trusted: float = Field(gt=0, le=1)
    shortest: float = Field(gt=0)


class SwingTable(Table):
    """Shares of a beat, and ratios long:short."""

    earliest: float = Field(gt=0.5, lt=1)
    spread: float = Field(gt=0)
    share: float = Field(gt=0, le=1)
    beats: int = Field(ge=1)
    dotted: float = Field(gt=1)


class PerformanceTable(Table):
    """How the beats of a performance are followed; seconds unless stated there."""

    least_notes: int = Field(ge=2)
    gathered: float = Field(gt=0, lt=1)
    by_chance: float = Field(ge=0)
    step: float = Field(gt=0)
    blur: float = Field(gt=0)
    low: float = Field(ge=0)
    low_pitch: int = Field(ge=0, le=127)
    silence: float
    fastest: float = Field(gt=0)
    slowest: float = Field(gt=0)
    periods: int = Field(ge=2)
    usual: float = Field(gt=0)
    usual_weight: float = Field(ge=0)
    hint_slack: float = Field(gt=1)
    hint_weight: float = Field(ge=0)
    drift: float = Field(ge=0)
    near: float = Field(gt=0)
    between: float = Field(ge=0, le=1)
    refused: float = Field(ge=0, le=1)
    sure: float = Field(ge=0, le=1)
    rehearings: tuple[float, ...]
    convincing: float = Field(ge=0, le=1)


class PageTable(Table):
    """How a page of guitar music is read as it stands."""

    grace: float = Field(gt=0)
    slurred: int = Field(ge=2)


class ChordNamesTable(Table):
    """Where the accompaniment of a tune with chord names lies."""

    bass: int = Field(ge=0, le=115)
    chord: int = Field(ge=0, le=115)
    velocity: int = Field(ge=1, le=127)


class ReadingTable(Table):
    """``tables/reading.toml``; the unit of each value stands beside it there."""

    limits: Limits
    tempo: TempoTable
    hands: HandNames
    grid: GridTable
    lengths: Lengths
    swing: SwingTable
    performance: PerformanceTable
    page: PageTable
    chord_names: ChordNamesTable


def reading_table() -> ReadingTable:
    return load("reading", ReadingTable)
