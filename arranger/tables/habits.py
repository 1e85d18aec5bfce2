"""What guitarists do rather than not: learnt weights, and the hand that plays as written."""

from __future__ import annotations

from pydantic import Field

from arranger.tables.loader import Table, load
from arranger.tables.player import Level


class LeftHabits(Table):
    """Log-odds by family of features (see ``neck/habits.py``), each family in row order.

    ``agree`` is how much the likeliest fingering as a whole counts beside the likeliest
    finger of each note, and there ``held`` the press of a held note beside that of a struck
    one, ``position`` the position beside a press; ``open_low`` is added for an open string in
    positions 1 to ``open_position``. ``around`` is how many onsets on either side have to be
    the same for two places to be fingered alike. At most ``rests`` fingers stay where their
    note has ended, until ``rest_for`` quarters after it began.

    ``slur`` is added where a slur of the page is played as one, over at most ``slur_frets``
    between two fingers.

    ``printed`` are log-odds that a finger printed elsewhere on the page gives to presses like
    it, in the order of ``neck/printed.py``.
    """

    agree: float = Field(ge=0)
    held: float = Field(ge=0)
    position: float = Field(ge=0)
    open_low: float = Field(ge=0)
    open_position: int = Field(ge=1, le=12)
    around: int = Field(ge=0, le=8)
    rests: int = Field(ge=0, le=4)
    rest_for: float = Field(ge=0)
    slur: float = Field(ge=0)
    slur_frets: int = Field(ge=1, le=6)
    printed: tuple[float, ...]
    weights: dict[str, tuple[float, ...]]


def left_habits() -> LeftHabits:
    return load("habits", LeftHabits)


def as_written() -> Level:
    """The level of a hand that plays a score as it is written."""
    return load("as_written", Level)


class RightHabits(Table):
    """Log-odds by family of features (see ``neck/plucked.py``), each family in row order."""

    weights: dict[str, tuple[float, ...]]


def right_habits() -> RightHabits:
    return load("plucking", RightHabits)
