"""Beats that a teacher tapped: a file with one time in seconds a line."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

from arranger.music.errors import UsageError

OPTION = "--beats"
LEAST, MOST = 0.15, 4.0
"""Seconds from beat to beat that a hand taps, with room to spare; common practice."""


def tapped_beats(path: Path) -> tuple[float, ...]:
    """The times in ``path``, in order; empty lines and lines that begin with # are left out.

    Raises
    ------
    UsageError : the file cannot be read, or holds no row of beats.
    """
    try:
        lines = path.read_text("utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(
            f"'{path.name}' cannot be read as a file of times", where=OPTION
        ) from error
    times: list[float] = []
    for number, line in enumerate(lines, 1):
        said = line.strip()
        if not said or said.startswith("#"):
            continue
        try:
            times.append(float(said.replace(",", ".")))
        except ValueError as error:
            raise UsageError(
                f"'{said[:40]}' is not a time in seconds",
                where=f"{path.name}, line {number}",
                next_step="Write one number a line, such as 12.48.",
            ) from error
    _check(times, path.name)
    return tuple(times)


def _check(times: list[float], name: str) -> None:
    if len(times) < 4:
        raise UsageError(
            f"{len(times)} beats are too few", where=name, next_step="Tap the whole piece."
        )
    for before, after in pairwise(times):
        if not LEAST <= after - before <= MOST:
            raise UsageError(
                f"from {before:g} s to {after:g} s is no beat",
                where=name,
                next_step=f"Beats lie {LEAST:g} to {MOST:g} s apart, each after the last.",
            )
