"""Levels, players and the instrument: who plays, on what, with which techniques."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import Field

from arranger.music.errors import UsageError
from arranger.music.key import Key
from arranger.tables.hand import Hand
from arranger.tables.loader import Table, load, toml_from_file, validate

LevelName = Literal["beginner", "elementary", "intermediate", "advanced"]
LEVEL_NAMES: tuple[LevelName, ...] = (
    "beginner",
    "elementary",
    "intermediate",
    "advanced",
)

Technique = Literal[
    "half barre",
    "full barre",
    "thumb over",
    "hammer-on under thumb",
    "slides",
    "quick shifts",
    "fast thumb",
]

ReachName = Literal["small", "medium", "large"]


class Instrument(Table):
    """The guitar: ``tuning`` in MIDI numbers of strings 1..6, lengths in mm."""

    tuning: tuple[int, ...] = Field(min_length=6, max_length=6)
    scale_length: float = Field(gt=500, lt=750)
    string_spacing: float = Field(gt=5, lt=12)
    frets: int = Field(ge=12, le=24)


class Level(Table):
    """What a level allows; the meaning and unit of each field stand in levels.toml."""

    max_fret: int = Field(ge=1, le=19)
    little_finger_fret: int = Field(ge=1, le=19)
    top_note: int = Field(ge=60, le=88)
    keys: tuple[str, ...]
    max_accidentals: int = Field(ge=0, le=7)
    barre_strings: int = Field(ge=0, le=6)
    barre_max_fret: int = Field(ge=0, le=19)
    small_barres: bool
    shapes_wanted: int = Field(ge=0)
    shapes_most: int = Field(ge=0)
    changes_per_bar: float = Field(ge=0)
    shifts_per_bar: float = Field(ge=0)
    voices: int = Field(ge=2, le=6)
    melody_gap: float = Field(ge=0)
    patterns: int = Field(ge=1)
    slurs: bool
    leading_bass: bool
    melody_least: float = Field(ge=0, le=1)
    tempo_share: float = Field(gt=0, le=1)
    thumb_gap: float = Field(gt=0)
    grid_fidelity_least: float = Field(ge=0, le=1)
    melody_kept_least: float = Field(ge=0, le=1)
    contour_breaks_most: float = Field(ge=0, le=1)
    techniques: tuple[Technique, ...]

    def plays_in(self, key: Key) -> bool:
        """Whether the level's hand may play in ``key``."""
        if self.keys:
            return key.short in self.keys
        return abs(key.sharps) <= self.max_accidentals

    @property
    def tune_and_thumb(self) -> bool:
        """Whether the tune and the thumb's note leave no voice for inner notes."""
        return self.voices <= 2


class Levels(Table):
    beginner: Level
    elementary: Level
    intermediate: Level
    advanced: Level

    def named(self, name: LevelName) -> Level:
        level: Level = getattr(self, name)
        return level


class Reach(Table):
    """Most mm between two fretting fingers, by pair."""

    f12: float = Field(alias="12", gt=0)
    f13: float = Field(alias="13", gt=0)
    f14: float = Field(alias="14", gt=0)
    f23: float = Field(alias="23", gt=0)
    f24: float = Field(alias="24", gt=0)
    f34: float = Field(alias="34", gt=0)

    def between(self, lower: int, higher: int) -> float:
        """Most mm between fingers ``lower`` < ``higher`` (1..4)."""
        most: float = getattr(self, f"f{lower}{higher}")
        return most


class Reaches(Table):
    small: Reach
    medium: Reach
    large: Reach


class PlayerFile(Table):
    """A player file as a teacher writes it; everything may be left out."""

    name: str = ""
    reach: ReachName | Reach = "medium"
    scale_length: float | None = Field(default=None, gt=500, lt=750)
    highest_fret: int | None = Field(default=None, ge=1, le=24)
    techniques: tuple[Technique, ...] | None = None


class Player(Table):
    """One student's hand: reach, scale length (mm), highest comfortable fret, techniques.

    ``barre_strings`` is the widest barre of the first finger (0: none) up to fret
    ``barre_max_fret``: the level's, unless a player file names the techniques.
    """

    name: str
    reach: Reach
    scale_length: float
    highest_fret: int
    techniques: frozenset[Technique]
    barre_strings: int
    barre_max_fret: int


def levels() -> Levels:
    return load("levels", Levels)


def instrument() -> Instrument:
    return load("instrument", Instrument)


def level_named(name: str) -> Level:
    """The level called ``name``.

    Raises
    ------
    UsageError : there is no such level.
    """
    for known in LEVEL_NAMES:
        if known == name:
            return levels().named(known)
    raise UsageError(
        f"there is no level '{name}'",
        next_step=f"Choose one of {', '.join(LEVEL_NAMES)}.",
    )


def default_player(level: Level) -> Player:
    """The student a level describes when no player file is given."""
    return player_of(PlayerFile(), level)


def player_from_file(path: Path, level: Level) -> Player:
    """The player of a TOML file; what the file leaves out comes from the level.

    Raises
    ------
    UsageError : the file is missing, is not TOML, or holds an unknown or wrong value.
    """
    data = toml_from_file(path, "player")
    return player_of(validate(PlayerFile, data, where=path.name), level)


def player_of(file: PlayerFile, level: Level) -> Player:
    """The player of a file already read; what it leaves out comes from the level.

    Techniques that the file names have the last word: a beginner whose file says "full
    barre" may play barres.
    """
    reach = (
        getattr(load("reach", Reaches), file.reach)
        if isinstance(file.reach, str)
        else file.reach
    )
    guitar = instrument()
    highest = max(level.max_fret, level.little_finger_fret)
    techniques = frozenset(level.techniques if file.techniques is None else file.techniques)
    common = load("hand", Hand)
    widest = common.half_barre_strings if "half barre" in techniques else 0
    if "full barre" in techniques:
        widest = common.full_barre_strings
    own = file.techniques is not None
    return Player(
        barre_strings=widest if own else min(widest, level.barre_strings),
        barre_max_fret=max(level.barre_max_fret, common.first_barre_fret)
        if own
        else level.barre_max_fret,
        name=file.name or "the level's own",
        reach=reach,
        scale_length=file.scale_length or guitar.scale_length,
        highest_fret=min(file.highest_fret or highest, guitar.frets),
        techniques=techniques,
    )
