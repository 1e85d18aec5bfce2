"""Levels stand in order from easy to hard; a player file says only what differs."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from arranger.music.errors import UsageError
from arranger.music.key import parse_key
from arranger.tables import LEVEL_NAMES, default_player, level_named, levels, player_from_file

IN_ORDER = [levels().named(name) for name in LEVEL_NAMES]


@pytest.mark.parametrize(
    "limit",
    [
        "max_fret",
        "little_finger_fret",
        "top_note",
        "barre_strings",
        "barre_max_fret",
        "changes_per_bar",
        "shifts_per_bar",
        "voices",
        "patterns",
        "tempo_share",
    ],
)
def test_no_level_allows_less_than_an_easier_one(limit: str) -> None:
    for easier, harder in pairwise(IN_ORDER):
        assert getattr(easier, limit) <= getattr(harder, limit)


@pytest.mark.parametrize("limit", ["melody_gap", "thumb_gap"])
def test_no_level_is_slower_than_an_easier_one(limit: str) -> None:
    for easier, harder in pairwise(IN_ORDER):
        assert getattr(easier, limit) >= getattr(harder, limit)


def test_techniques_are_never_lost() -> None:
    for easier, harder in pairwise(IN_ORDER):
        assert set(easier.techniques) <= set(harder.techniques)


@pytest.mark.parametrize(
    ("level", "key", "plays"),
    [
        ("beginner", "G", True),
        ("beginner", "F", False),
        ("elementary", "F", True),
        ("intermediate", "Eb", True),
        ("intermediate", "Ab", False),
        ("advanced", "F#", True),
    ],
)
def test_keys_are_listed_or_counted_in_accidentals(level: str, key: str, plays: bool) -> None:
    assert level_named(level).plays_in(parse_key(key)) == plays


def test_level_that_is_not_there_is_refused() -> None:
    with pytest.raises(UsageError, match="Choose one of beginner, elementary"):
        level_named("expert")


def _written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "player.toml"
    path.write_text(text, "utf-8")
    return path


def test_empty_player_file_is_the_player_of_the_level(tmp_path: Path) -> None:
    level = level_named("elementary")
    assert player_from_file(_written(tmp_path, ""), level) == default_player(level)


def test_player_file_overrides_what_it_names(tmp_path: Path) -> None:
    level = level_named("intermediate")
    text = 'reach = "small"\nhighest_fret = 4\ntechniques = []\n'
    player = player_from_file(_written(tmp_path, text), level)
    assert (player.highest_fret, player.techniques) == (4, frozenset())
    assert player.reach.between(1, 4) < default_player(level).reach.between(1, 4)
    assert player.scale_length == default_player(level).scale_length


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('reach = "tiny"', "'reach' is not as it should be"),
        ("scale_length = 90", "'scale_length'"),
        ("hat_size = 7", "'hat_size' is not known here"),
        ("name = ", "cannot be read"),
    ],
)
def test_player_file_that_cannot_be_meant_names_the_line(
    tmp_path: Path, text: str, said: str
) -> None:
    with pytest.raises(UsageError, match=said):
        player_from_file(_written(tmp_path, text), level_named("beginner"))
