"""The weights of the harmony model, as the table gives them."""

from __future__ import annotations

from arranger.tables import Table, load


class HarmonyTable(Table):
    """``tables/harmony.toml``: see the comments there."""

    prior: dict[str, float]
    prior_in_hymns: dict[str, float]
    tone: tuple[float, float, float, float]
    stranger: float
    absent: tuple[float, float, float, float]
    absent_altered_fifth: float
    heard: float
    heard_in_hymns: float
    bass: tuple[float, float, float, float]
    bass_stranger: float
    first_bass: tuple[float, float, float, float]
    first_bass_stranger: float
    first_bass_in_pattern: tuple[float, float, float, float]
    first_bass_stranger_in_pattern: float
    change: tuple[float, float, float, float]
    change_in_pattern: tuple[float, float, float, float]
    change_in_line: tuple[float, float, float, float]
    short: float
    outside_key: float
    left_hand_in_pattern: float
    struck_on_beat: float
    off_beat: float
    lone_bass: float
    no_chord_enter: float
    no_chord: float
    no_chord_unison: float
    silence: float
    longest: int


def chord_weights() -> HarmonyTable:
    """The weights shipped with the package."""
    return load("harmony", HarmonyTable)
