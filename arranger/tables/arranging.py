"""What each choice of an arranger costs the music; the numbers stand in arranging.toml."""

from __future__ import annotations

from pydantic import Field

from arranger.tables.loader import Table, load


class TempoTable(Table):
    unstated_stride_2_4: float = Field(gt=0)
    unstated: float = Field(gt=0)
    slowest_share: float = Field(gt=0, le=1)
    step: float = Field(gt=0, lt=1)
    use_of_slowness: float = Field(ge=0, le=1)


class MelodyCosts(Table):
    breath: float = Field(ge=0)
    pickup_gap: float = Field(gt=0, le=1)
    omit: float = Field(ge=0)
    omit_neighbour: float = Field(ge=0, le=1)
    cut: float = Field(ge=0)
    octave_phrase: float = Field(ge=0)
    octave_breath: float = Field(ge=0)
    octave_inside: float = Field(ge=0)
    octave_doubled: float = Field(ge=0)
    contour_broken: float = Field(ge=0)
    close: int = Field(ge=0)
    close_interval: float = Field(ge=0)
    two_octaves: float = Field(ge=0)
    motif: float = Field(ge=0)
    motif_most: float = Field(ge=1)
    motif_steps: int = Field(ge=1)
    neighbour_step: int = Field(ge=1)
    echo_notes: int = Field(ge=2)
    echo_within: int = Field(ge=2)
    comfortable_low: int = Field(ge=40, le=70)
    low: float = Field(ge=0)
    thumb_string: float = Field(ge=0)
    past_open: float = Field(ge=0)


class BassCosts(Table):
    rest: float = Field(ge=0)
    rest_line: float = Field(ge=0)
    root: float = Field(ge=0)
    source_tone: float = Field(ge=0)
    source_missed: float = Field(ge=0)
    root_for_other: float = Field(ge=0)
    root_owed: float = Field(ge=0)
    not_root_strong: float = Field(ge=0)
    fifth_weak: float = Field(ge=0)
    root_weak: float = Field(ge=0)
    third_weak: float = Field(ge=0)
    third_for_repeat: float = Field(ge=0)
    third_answers: float = Field(ge=0)
    other_weak: float = Field(ge=0)
    leading: float = Field(ge=0)
    leading_missed: float = Field(ge=0)
    same_string: float = Field(ge=0)
    same_pitch: float = Field(ge=0)
    cuts_off: float = Field(ge=0)
    direction: float = Field(ge=0)
    near: int = Field(ge=1, le=11)
    leap: float = Field(ge=0)
    broken_above: int = Field(ge=0)
    comfortable_high: int = Field(ge=40, le=76)
    high: float = Field(ge=0)
    past_open: float = Field(ge=0)
    released: float = Field(ge=0)


class FillCosts(Table):
    third: float = Field(ge=0)
    weak_beat: float = Field(ge=0)
    melody_beat: float = Field(ge=0)
    silent_tune: float = Field(ge=0)
    second: float = Field(ge=0, le=1)


class KeyCosts(Table):
    accidental: float = Field(ge=0)
    most: int = Field(ge=1)
    first: tuple[str, ...]
    later: float = Field(ge=0)


class ArrangingTable(Table):
    tempo: TempoTable
    melody: MelodyCosts
    bass: BassCosts
    fill: FillCosts
    keys: KeyCosts


def arranging() -> ArrangingTable:
    return load("arranging", ArrangingTable)
