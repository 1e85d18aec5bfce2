"""How hard a tab is that exists already, why, and what would make it easier."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from arranger.judge import (
    difficulty,
    easier,
    hand_violations,
    hardest_bars,
    usual_tempo,
    violations,
)
from arranger.music.arrangement import Arrangement
from arranger.music.errors import UnreadableInput
from arranger.music.rating import Rating
from arranger.read import tablature
from arranger.render import arrangement_from_json
from arranger.run.fingering import finger
from arranger.run.refinger import solved_easings
from arranger.run.understand import metronome
from arranger.tables import (
    LEVEL_NAMES,
    Level,
    default_player,
    level_named,
    player_from_file,
)
from arranger.tables.habits import as_written

NOTATION = (".musicxml", ".xml", ".mxl")


def rate(
    path: str | Path,
    *,
    level: str | None = None,
    player: str | Path | None = None,
    tempo: float | None = None,
) -> Rating:
    """Difficulty and rule check of a tab.

    Parameters
    ----------
    path : an ``arrangement.json`` of ours, or MusicXML with strings, frets and left fingers;
        any other score, MIDI too, is fingered first.
    level : whose rules are checked; None is the one it was arranged for, else a trained hand.
    player : a player file; None takes the student that the level describes.
    tempo : quarter notes a minute to rate it at; None is the student's in the file, and
        where it says none one at which strokes come as often as in most studies.

    Raises
    ------
    UnreadableInput : the file cannot be read or holds no music.
    InternalFault : our own fingering breaks a rule of the hand.
    UsageError : an option says what cannot be meant.
    """
    arrangement = _tab(Path(path), Path(player) if player else None)
    known = _level(level, arrangement)
    who = player_from_file(Path(player), known) if player else default_player(known)
    if tempo is not None:
        arrangement = _at_tempo(arrangement, metronome(tempo))
    elif any(warning.code == "tempo-default" for warning in arrangement.warnings):
        arrangement = _at_tempo(arrangement, float(round(usual_tempo(arrangement))))
    # What the level asks of an arrangement is checked where one was made for a level.
    check = violations if arrangement.level in LEVEL_NAMES else hand_violations
    hardest = hardest_bars(arrangement, known, who)
    return Rating(
        arrangement=arrangement,
        difficulty=difficulty(arrangement, known, who),
        violations=check(arrangement, known, who),
        hardest=hardest,
        easings=tuple(
            sorted(
                (
                    *easier(arrangement, known, who, [reason.bar for reason in hardest]),
                    *solved_easings(arrangement, known, who),
                ),
                key=lambda easing: -easing.points,
            )
        ),
    )


def _level(asked: str | None, arrangement: Arrangement) -> Level:
    """The level asked for, else the one it was arranged for, else a hand without limits."""
    if asked is None and arrangement.level not in LEVEL_NAMES:
        return as_written()
    return level_named(asked or arrangement.level)


def _at_tempo(arrangement: Arrangement, tempo: float) -> Arrangement:
    """The tempo to aim at is no slower than the one rated."""
    return replace(
        arrangement,
        student_tempo=tempo,
        target_tempo=max(tempo, arrangement.target_tempo)
        if arrangement.level in LEVEL_NAMES
        else tempo,
    )


def _tab(path: Path, player: Path | None) -> Arrangement:
    """The tab in a file; a score that does not say the hands is fingered first."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise UnreadableInput(
            f"the file cannot be read ({error.strerror or error})".lower(), where=path.name
        ) from error
    if data.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] in (b"{", b"["):
        return _only(arrangement_from_json(data.decode("utf-8", "replace")), path)
    found = tablature(path) if path.suffix.lower() in NOTATION else None
    if found is None:
        return finger(
            path, keep_fingering=path.suffix.lower() in NOTATION, player=player
        ).arrangement
    return found


def _only(arrangements: tuple[Arrangement, ...], path: Path) -> Arrangement:
    if len(arrangements) > 1:
        raise UnreadableInput(
            f"the file holds {len(arrangements)} arrangements",
            where=path.name,
            next_step="Rate them one by one.",
        )
    return arrangements[0]
