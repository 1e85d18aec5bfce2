"""The level table as rows of words, from the numbers of tables/levels.toml."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from arranger.music.pitch import note_name
from arranger.tables import LEVEL_NAMES, Level, levels


def _frets(level: Level) -> str:
    if level.little_finger_fret > level.max_fret:
        return f"0–{level.max_fret}; string 1 to {level.little_finger_fret}"
    return f"0–{level.max_fret}"


def _keys(level: Level) -> str:
    return " ".join(level.keys) or f"up to {level.max_accidentals} sharps or flats"


def _barre(level: Level) -> str:
    if not level.barre_strings:
        return "none"
    return f"{level.barre_strings} strings, to fret {level.barre_max_fret}"


def _shapes(level: Level) -> str:
    if not level.shapes_wanted:
        return "free"
    most = f", at most {level.shapes_most}" if level.shapes_most else ""
    return f"{level.shapes_wanted}{most}"


ROWS: dict[str, Callable[[Level], str]] = {
    "frets": _frets,
    "highest melody note": lambda level: note_name(level.top_note),
    "keys": _keys,
    "barre": _barre,
    "shapes in a piece": _shapes,
    "shape changes in a bar": lambda level: f"{level.changes_per_bar:g}",
    "position shifts in a bar": lambda level: f"{level.shifts_per_bar:g}",
    "notes at once": lambda level: f"{level.voices}",
    "shortest time between melody notes": lambda level: (
        f"{level.melody_gap:.2f} s" if level.melody_gap else "as the source"
    ),
    "right-hand patterns in a section": lambda level: f"{level.patterns}",
    "tempo, at most": lambda level: f"{level.tempo_share:.0%} of the target",
    "slower, to keep of the tune": lambda level: (
        f"{level.melody_least:.0%}" if level.melody_least and level.melody_gap else "no"
    ),
    "shortest time between thumb notes": lambda level: f"{level.thumb_gap:.2f} s",
    "tune heard on the grid, at least": lambda level: f"{level.grid_fidelity_least:.0%}",
    "notes of the tune kept, at least": lambda level: f"{level.melody_kept_least:.0%}",
    "tune steps turned, at most": lambda level: f"{level.contour_breaks_most:.0%}",
    "bass notes added to lead on": lambda level: "yes" if level.leading_bass else "no",
    "techniques": lambda level: ", ".join(level.techniques) or "none",
}
"""What a row is called, and how a level's value is said."""


def rows() -> Iterator[tuple[str, ...]]:
    """A row for each limit: its name, then its value at each level, easiest first."""
    named = [levels().named(name) for name in LEVEL_NAMES]
    for name, value in ROWS.items():
        yield (name, *(value(level) for level in named))
