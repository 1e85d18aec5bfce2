"""What any hand may do: barres, thumb over the neck, room under the melody."""

from __future__ import annotations

from pydantic import Field

from arranger.tables.loader import Table, load


class Hand(Table):
    """Limits of the hand; meaning and unit of each field stand in hand.toml."""

    half_barre_strings: int = Field(ge=2, le=6)
    full_barre_strings: int = Field(ge=2, le=6)
    first_barre_fret: int = Field(ge=1, le=12)
    small_barre_strings: int = Field(ge=2, le=6)
    thumb_string: int = Field(ge=1, le=6)
    thumb_fret_most: int = Field(ge=1, le=12)
    thumb_behind: float = Field(gt=0)
    thumb_ahead: float = Field(gt=0)
    bass_string_highest: int = Field(ge=1, le=6)
    inner_below_melody: int = Field(ge=1)
    bass_below_melody: int = Field(ge=1)


def hand() -> Hand:
    return load("hand", Hand)
