"""Hands as a teacher tells them, for the whole piece or bar by bar.

``C4``: from that note up the right hand; ``1/2``: part 1 the right hand, part 2 the left
(``1,3/2`` with more parts); ``heard``: told apart by ear, whatever the parts; anything else
is a file with a line for each stretch of bars: ``5-8 C4``, ``9 left``, ``10-12 heard``.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from arranger.music.errors import UsageError
from arranger.music.pitch import pitch_class
from arranger.music.score import Hand
from arranger.read.grid import GridNote
from arranger.read.hands import by_ear
from arranger.read.parts import Parts

OPTION = "--hands"
HOW = "Write C4 (from there up the right hand), 1/2 (parts), heard, or the name of a file."
Way = int | tuple[frozenset[int], frozenset[int]] | Literal["heard", "right", "left"]
"""A split point (MIDI number), the parts of either hand, by ear, or one hand alone."""
WORDS: dict[str, Way] = {"heard": "heard", "right": "right", "left": "left"}


@dataclass(frozen=True, slots=True, kw_only=True)
class HandsTold:
    """``whole`` for the piece, None as it is heard; ``rows`` for printed bars on top of it."""

    whole: Way | None
    rows: tuple[tuple[int, int, Way], ...] = ()


def hands_told(text: str) -> HandsTold:
    """What the option says.

    Raises
    ------
    UsageError : it names no way to tell the hands, nor a file that does.
    """
    way = _way(text)
    if way is not None:
        return HandsTold(whole=way)
    path = Path(text)
    try:
        lines = path.read_text("utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(
            f"'{text}' does not tell the hands and is not a file of lines that do",
            where=OPTION,
            next_step=HOW,
        ) from error
    rows = []
    for number, line in enumerate(lines, 1):
        said = re.split(r"(?:^|\s)#", line)[0]  # the # of F#4 stands in a word
        if said.strip():
            rows.append(_row(said, f"{path.name}, line {number}"))
    return HandsTold(whole=None, rows=tuple(rows))


def _row(line: str, where: str) -> tuple[int, int, Way]:
    found = re.fullmatch(r"\s*(\d+)(?:\s*-\s*(\d+))?\s+(\S+)\s*", line)
    way = _way(found[3]) if found else None
    if found is None or way is None:
        raise UsageError(
            f"'{line.strip()}' does not tell the hands of a bar",
            where=where,
            next_step="Write lines such as 5-8 C4, 9 left, 10-12 heard, 13 1/2.",
        )
    return int(found[1]), int(found[2] or found[1]), way


def _way(text: str) -> Way | None:
    word = text.strip().lower()
    if word in WORDS:
        return WORDS[word]
    note = re.fullmatch(r"([A-Ga-g][#b♯♭]?)(-?\d)", text.strip())
    if note:
        return pitch_class(note[1]) + 12 * (int(note[2]) + 1)
    parts = re.fullmatch(r"([\d,]+)/([\d,]+)", text.strip())
    if parts:
        right, left = (
            frozenset(int(number) - 1 for number in side.split(",") if number)
            for side in parts.groups()
        )
        return None if right & left or not right or not left else (right, left)
    return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """The notes of a piece (``unit`` to the quarter), the printed bar of each, the parts."""

    notes: Sequence[GridNote]
    bars: Sequence[int]
    parts: Parts
    unit: int


def corrected(hands: Sequence[Hand], told: HandsTold, places: Places) -> tuple[Hand, ...]:
    """``hands`` with what the teacher says put right.

    Raises
    ------
    UsageError : a part or a bar is named that the piece does not have.
    """
    result = tuple(hands)
    if told.whole is not None:
        result = _by(told.whole, result, places)
    for first, last, way in told.rows:
        inside = [first <= bar <= last for bar in places.bars]
        if not any(inside):
            raise UsageError(f"no note of the piece lies in bars {first}-{last}", where=OPTION)
        own = _by(way, result, places)
        result = tuple(
            new if here else old for new, old, here in zip(own, result, inside, strict=True)
        )
    return result


def _by(way: Way, hands: Sequence[Hand], places: Places) -> tuple[Hand, ...]:
    """The hands of all notes by one way to tell them; parts not named stay as they are."""
    notes, parts = places.notes, places.parts
    if isinstance(way, int):
        return tuple("right" if note.played.midi >= way else "left" for note in notes)
    if not isinstance(way, tuple):
        return by_ear(notes, places.unit).hands if way == "heard" else (way,) * len(notes)
    right, left = way
    unknown = sorted(part + 1 for part in right | left if not 0 <= part < len(parts.names))
    if unknown:
        raise UsageError(
            f"the piece has parts 1 to {len(parts.names)}, no part {unknown[0]}",
            where=OPTION,
            next_step="The command look lists them.",
        )
    of = [parts.of(note.played) for note in notes]
    return tuple(
        "right" if part in right else "left" if part in left else hand
        for part, hand in zip(of, hands, strict=True)
    )
