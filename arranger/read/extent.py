"""How long a page may last, and how finely it may divide a quarter."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import lcm
from pathlib import Path
from typing import Protocol

from arranger.music.errors import UnreadableInput
from arranger.music.time import Beat
from arranger.read.table import reading_table


class Lasting(Protocol):
    """Something on a page that begins and lasts; quarters."""

    @property
    def onset(self) -> Beat: ...

    @property
    def length(self) -> Beat: ...


class Stretch(Protocol):
    """A bar; quarters."""

    @property
    def end(self) -> Beat: ...


class Counted(Protocol):
    """A bar; quarters, and the lower number of its meter."""

    @property
    def length(self) -> Beat: ...

    @property
    def denominator(self) -> int: ...


def refuse_uncountable(bars: Iterable[Counted], path: Path) -> None:
    """The bars have together no more beats, as their meters count them, than may be.

    Raises
    ------
    UnreadableInput : they have more.
    """
    most = reading_table().limits.beats
    beats = sum(bar.length * bar.denominator / 4 for bar in bars)
    if beats > most:
        raise UnreadableInput(
            f"the piece counts {float(beats):.0f} beats, more than {most}",
            where=path.name,
            next_step="Give one piece or one movement, in a meter that can be counted.",
        )


def refuse_endless(
    bars: Sequence[Stretch], notes: Iterable[Lasting], tempo: float | None, path: Path
) -> None:
    """A page lasts no longer than a file may, and its times have a common small part.

    ``tempo`` is in quarters a minute, None for the usual one.

    Raises
    ------
    UnreadableInput : there are more bars or minutes, or times that no notation has.
    """
    table = reading_table()
    limits = table.limits
    most = limits.minutes * max(table.tempo.least, tempo or table.tempo.default)
    if len(bars) > limits.bars or (bars and bars[-1].end > most):
        raise UnreadableInput(
            f"the score has more than {limits.bars} bars or {limits.minutes:g} minutes",
            where=path.name,
            next_step="Give one piece or one movement.",
        )
    unit = 1
    for note in notes:
        unit = lcm(unit, note.onset.denominator, note.length.denominator)
        if unit > limits.ticks_a_quarter:
            raise UnreadableInput(
                "the score divides its quarters as no music does",
                where=path.name,
                next_step="Export the piece again, as MusicXML or MIDI.",
            )
