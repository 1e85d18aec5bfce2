"""The first half of the way, which needs no solver: read a file and listen to it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from arranger.analyse import analyse
from arranger.music.analysis import Analysis
from arranger.music.errors import UsageError
from arranger.music.excerpt import excerpt
from arranger.music.key import Key
from arranger.music.score import Score, SourceWarning
from arranger.read import read

SLOWEST, FASTEST = 10, 400
"""Quarter notes a minute that a metronome shows, with room to spare; common practice."""


def understand(
    path: Path,
    *,
    meter: str | None = None,
    straight: bool | None = None,
    hands: str | None = None,
    melody_track: int | None = None,
    tempo_hint: float | None = None,
    beats: Path | None = None,
    source_key: Key | None = None,
    tempo: float | None = None,
    bars: tuple[int, int] | None = None,
    leave_out: tuple[int, ...] = (),
) -> Analysis:
    """What is heard in a file.

    Parameters
    ----------
    meter : a time signature such as ``3/4`` that overrules the file's.
    straight : True takes eighths as they stand, False for swing, None listens.
    hands : ``C4`` (from there up the right hand), ``1/2`` (parts of right and left),
        ``heard`` (by ear), or a file of such lines by bars; None believes the parts.
    melody_track : the part that has the tune, counted from 1 as ``look`` lists them.
    tempo_hint : beats a minute, or nearly, of a performance that keeps no time by itself.
    beats : a file with the times (s) at which its beats fall.
    source_key : the key of the whole piece, where a teacher knows better.
    tempo : the tempo to aim at in quarter notes a minute, whatever the file says.
    bars : first and last bar of a strain to take alone, printed numbers.
    leave_out : bars to leave out, printed numbers.

    Raises
    ------
    UnreadableInput : the file cannot be read or holds no music to arrange.
    UsageError : an option says something that cannot be meant.
    """
    score = read(
        path,
        meter=meter,
        straight=straight,
        hands=hands,
        tempo_hint=tempo_hint,
        beats=beats,
    )
    tune = None if melody_track is None else _part(score, melody_track)
    if tempo is not None:
        score = _at_tempo(score, tempo)
    if bars is not None or leave_out:
        score = _only(score, bars, leave_out)
    return analyse(score, key=source_key, melody_track=tune)


def _part(score: Score, number: int) -> int:
    """The index of a part that a teacher counts from 1."""
    if not 1 <= number <= len(score.parts):
        raise UsageError(
            f"the piece has parts 1 to {len(score.parts)}, no part {number}",
            where="--melody-track",
            next_step="The command look lists them.",
        )
    return number - 1


def _at_tempo(score: Score, tempo: float) -> Score:
    return replace(score, tempo=metronome(tempo), tempo_stated=True)


def metronome(tempo: float) -> float:
    """The tempo asked for, in quarter notes a minute.

    Raises
    ------
    UsageError : no metronome shows it.
    """
    if not SLOWEST <= tempo <= FASTEST:
        raise UsageError(
            f"a tempo of {tempo:g} quarter notes a minute cannot be meant",
            where="--tempo",
            next_step=f"Give a number from {SLOWEST} to {FASTEST}.",
        )
    return tempo


def _only(score: Score, bars: tuple[int, int] | None, leave_out: tuple[int, ...]) -> Score:
    """The bars asked for, with a remark that says so."""
    first, last = bars or (score.bars[0].number, score.bars[-1].number)
    try:
        strain = excerpt(score, set(range(first, last + 1)) - set(leave_out))
    except ValueError as error:
        raise UsageError(
            f"{error} of {first}-{last}; the piece has bars {score.bars[0].number} to"
            f" {score.bars[-1].number}",
            where="--bars",
        ) from error
    kept = f"bars {first} to {last} only" if bars else "the whole piece"
    but = f", without bar {', '.join(str(bar) for bar in leave_out)}" if leave_out else ""
    remark = SourceWarning(code="excerpt", text=kept + but)
    return replace(strain, warnings=(*strain.warnings, remark))
