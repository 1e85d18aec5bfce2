"""The first half of the way, which needs no solver: read a file and listen to it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from arranger.analyse import analyse
from arranger.music.analysis import Analysis
from arranger.music.errors import UsageError
from arranger.music.key import Key
from arranger.read import read

SLOWEST, FASTEST = 10, 400
"""Quarter notes a minute that a metronome shows, with room to spare; common practice."""


def understand(
    path: Path,
    *,
    meter: str | None = None,
    straight: bool | None = None,
    source_key: Key | None = None,
    tempo: float | None = None,
) -> Analysis:
    """What is heard in a file.

    Parameters
    ----------
    meter : a time signature such as ``3/4`` that overrules the file's.
    straight : True takes eighths as they stand, False for swing, None listens.
    source_key : the key of the whole piece, where a teacher knows better.
    tempo : the tempo to aim at in quarter notes a minute, whatever the file says.

    Raises
    ------
    UnreadableInput : the file cannot be read or holds no music to arrange.
    UsageError : an option says something that cannot be meant.
    """
    score = read(path, meter=meter, straight=straight)
    if tempo is not None:
        if not SLOWEST <= tempo <= FASTEST:
            raise UsageError(
                f"a tempo of {tempo:g} quarter notes a minute cannot be meant",
                where="--tempo",
                next_step=f"Give a number from {SLOWEST} to {FASTEST}.",
            )
        score = replace(score, tempo=tempo, tempo_stated=True)
    return analyse(score, key=source_key)
