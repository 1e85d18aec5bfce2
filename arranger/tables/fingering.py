"""What the left hand's work costs; meaning and unit of each value stand in fingering.toml."""

from __future__ import annotations

from pydantic import Field

from arranger.tables.loader import Table, load


class HoldCosts(Table):
    fret: float = Field(ge=0)
    little_finger: float = Field(ge=0)
    ring_finger: float = Field(ge=0)
    first_finger: float = Field(ge=0)
    off_fret: float = Field(ge=0)
    off_fret_little_back: float = Field(ge=0)
    stretch: float = Field(ge=0)
    stretch_power: float = Field(ge=1)
    far: float = Field(ge=0)
    far_power: float = Field(ge=1)
    same_fret_reversed: float = Field(ge=0)
    barre: float = Field(ge=0)
    full_barre: float = Field(ge=0)
    thumb_over: float = Field(ge=0)
    tune_string: int = Field(ge=1, le=6)
    low_frets: int = Field(ge=0)
    above_low_frets: float = Field(ge=0)
    high_on_low: float = Field(ge=0)
    not_in_shape: float = Field(ge=0)
    melody_roams: float = Field(ge=0)


class ShapeCosts(Table):
    free_hand: float = Field(ge=0)
    beside_book: float = Field(ge=0)
    plainer: float = Field(ge=0)
    grade_two: float = Field(ge=0)
    grade_three: float = Field(ge=0)
    new: float = Field(ge=0)
    beyond_wish: float = Field(ge=0)
    change_within: float = Field(ge=0)


class MoveCosts(Table):
    place: float = Field(ge=0)
    guide: float = Field(ge=0)
    hop: float = Field(ge=0)
    hop_fret: float = Field(ge=0)
    crossed: float = Field(ge=0)
    legato_hop: float = Field(ge=0)
    legato_slide: float = Field(ge=0)
    against: float = Field(ge=0)
    shift: float = Field(ge=0)
    shift_fret: float = Field(ge=0)
    shift_free: float = Field(ge=0, le=1)
    fast: float = Field(ge=1)
    fast_seconds: float = Field(gt=0)
    slow: float = Field(gt=0, le=1)
    slow_seconds: float = Field(gt=0)


class LevelFactors(Table):
    beginner: float = Field(gt=0)
    elementary: float = Field(gt=0)
    intermediate: float = Field(gt=0)
    advanced: float = Field(gt=0)


class LevelPoints(Table):
    beginner: float = Field(ge=0)
    elementary: float = Field(ge=0)
    intermediate: float = Field(ge=0)
    advanced: float = Field(ge=0)


class RightHandCosts(Table):
    away: float = Field(ge=0)
    repeat: float = Field(ge=0)
    repeat_seconds: float = Field(gt=0)
    repeat_slow: float = Field(ge=0)
    crossing: float = Field(ge=0)
    ring_finger: float = Field(ge=0)


class SlurRules(Table):
    most_frets: int = Field(ge=1, le=5)
    slide_frets: int = Field(ge=1, le=5)
    most_seconds: float = Field(gt=0)


class FingeringTable(Table):
    hold: HoldCosts
    shape: ShapeCosts
    move: MoveCosts
    level: LevelFactors
    far: LevelPoints
    right: RightHandCosts
    slur: SlurRules

    def hold_at(self, level: str) -> HoldCosts:
        """What holding costs a student of the level."""
        return self.hold.model_copy(update={"far": float(getattr(self.far, level))})


def fingering() -> FingeringTable:
    return load("fingering", FingeringTable)
