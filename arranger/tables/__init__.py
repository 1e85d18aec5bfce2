"""The data of the trade, with unit and source, and the one loader that reads it."""

from arranger.tables.loader import Table, load, validate
from arranger.tables.player import (
    LEVEL_NAMES,
    Instrument,
    Level,
    LevelName,
    Player,
    PlayerFile,
    Reach,
    Technique,
    default_player,
    instrument,
    level_named,
    levels,
    player_from_file,
    player_of,
)

__all__ = [
    "LEVEL_NAMES",
    "Instrument",
    "Level",
    "LevelName",
    "Player",
    "PlayerFile",
    "Reach",
    "Table",
    "Technique",
    "default_player",
    "instrument",
    "level_named",
    "levels",
    "load",
    "player_from_file",
    "player_of",
    "validate",
]
