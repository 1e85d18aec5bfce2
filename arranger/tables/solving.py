"""How hard the solver tries; meaning and unit of each value stand in solving.toml."""

from __future__ import annotations

from pydantic import Field

from arranger.tables.loader import Table, load


class SolvingTable(Table):
    lowest_tune: int = Field(ge=40, le=64)
    ceiling: float = Field(gt=0)
    rounds: int = Field(ge=1)
    turns: int = Field(ge=1)
    looks: int = Field(ge=0)
    pricings: int = Field(ge=1)
    follow: float = Field(ge=0, le=1)
    narrowings: tuple[int, ...] = Field(min_length=1)
    shrunk: float = Field(gt=0, le=1)
    shape_step: float = Field(gt=0)
    width: float = Field(gt=0)
    model_width: float = Field(gt=0)
    model_moves: int = Field(ge=1000)
    work: float = Field(gt=0)
    seconds: float = Field(gt=0)
    keys_in_full: int = Field(ge=1)
    bars_in_full: int = Field(ge=1)
    keys_after_plain: int = Field(ge=1)
    close_keys: float = Field(ge=0)
    even_keys: float = Field(ge=0)
    keys_beside: int = Field(ge=0)
    keys_hinted: int = Field(ge=1)
    far_keys: float = Field(ge=0)
    paces: tuple[tuple[float, float], ...] = Field(min_length=1)
    plain_rounds: tuple[tuple[int, int], ...] = Field(min_length=1)
    others: int = Field(ge=1)
    other_points: float = Field(gt=0)
    other_moments: int = Field(ge=1)
    others_unasked: int = Field(ge=0)


def solving() -> SolvingTable:
    return load("solving", SolvingTable)
