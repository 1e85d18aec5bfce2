"""How lines of music are broken and filled."""

from __future__ import annotations

from pydantic import Field

from arranger.tables.loader import Table, load


class Pages(Table):
    """How lines are dealt out to the pages of a printed sheet."""

    least: float = Field(ge=0)
    most: float = Field(ge=0)
    shares: tuple[float, ...]
    lonely: float = Field(ge=0)


class Engraver(Table):
    """What the engraver is told of room, see engraving.toml."""

    before_bar_line: float = Field(ge=0, le=2)
    tie: float = Field(gt=0, le=10)
    staves: int = Field(gt=0, le=48)
    last_line: float = Field(gt=0, le=1)


class HandMarks(Table):
    """When marks of the hands are due, see engraving.toml."""

    full_barre: int = Field(ge=2, le=6)
    ease: int = Field(ge=0)
    easy_span: int = Field(ge=0)


class Engraving(Table):
    """The meaning and unit of each field stand in engraving.toml."""

    bar: float = Field(gt=0)
    stroke: float = Field(ge=0)
    time: float = Field(gt=0)
    bend: float = Field(gt=0, le=1)
    head: float = Field(ge=0)
    accidental: float = Field(ge=0)
    repeat: float = Field(ge=0)
    slack: float = Field(ge=0)
    crowded: float = Field(ge=0)
    crowded_most: float = Field(ge=0)
    broken_pair: float = Field(ge=0)
    broken_four: float = Field(ge=0)
    late_section: float = Field(ge=0)
    parted_endings: float = Field(ge=0)
    pages: Pages
    engraver: Engraver
    hands: HandMarks
    glyphs: dict[str, tuple[float, float, float, float]]


def engraving() -> Engraving:
    return load("engraving", Engraving)
