"""The parts of a file, as a teacher would count them, and the one that sings.

A part is a track that holds notes; in a file with one such track, a channel of it. A sung
part goes by its name, or by what it does: the one line beside a piano in two parts.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean

from arranger.read.piece import Piece, PlayedNote
from arranger.read.table import HandNames

Stream = tuple[int, int]
"""A track of the file and a channel in it: the finest unit that a file keeps apart."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """``numbers`` (from 0) by stream, and the names of the parts ("" where none)."""

    numbers: dict[Stream, int]
    names: tuple[str, ...]

    def of(self, note: PlayedNote) -> int:
        """The number of the part that plays ``note``."""
        return self.numbers[note.track, note.channel]


def parts_of(piece: Piece) -> Parts:
    """The parts of ``piece``, in the order of the file."""
    streams = sorted({(note.track, note.channel) for note in piece.notes})
    tracks = sorted({track for track, _ in streams})
    names = dict(piece.names)
    if len(tracks) > 1:
        numbers = {stream: tracks.index(stream[0]) for stream in streams}
        return Parts(numbers=numbers, names=tuple(names.get(track, "") for track in tracks))
    return Parts(
        numbers={stream: number for number, stream in enumerate(streams)},
        names=tuple(names.get(track, "") for track, _ in streams),
    )


def words_of(name: str) -> set[str]:
    """The words of a part's name, in lower case."""
    return set(re.findall(r"[\w.]+", name.lower()))


def voice_part(notes: Sequence[PlayedNote], parts: Parts, table: HandNames) -> int | None:
    """The part that has the tune to itself, or None."""
    count = len(parts.names)
    if count < 2 or len(set(parts.numbers.values())) < 2:
        return None
    for words in (table.voice, table.tune):
        named = [k for k, name in enumerate(parts.names) if words_of(name) & set(words)]
        if len(named) == 1:
            return named[0]
        if named:
            return None
    return _line_beside_piano(notes, parts, table) if count == 3 else None


def _line_beside_piano(
    notes: Sequence[PlayedNote], parts: Parts, table: HandNames
) -> int | None:
    """Of three parts the one single line, when the others play chords and lie apart."""
    own: dict[int, list[PlayedNote]] = defaultdict(list)
    for note in notes:
        own[parts.of(note)].append(note)
    lines = [part for part, members in own.items() if _is_line(members, table)]
    if len(lines) != 1 or len(own[lines[0]]) < table.unnamed_share * len(notes):
        return None
    means = {part: fmean(note.midi for note in members) for part, members in own.items()}
    piano = sorted((mean for part, mean in means.items() if part != lines[0]), reverse=True)
    apart = piano[0] - piano[1] >= table.unnamed_gap
    return lines[0] if apart and means[lines[0]] > piano[1] else None


def _is_line(notes: Sequence[PlayedNote], table: HandNames) -> bool:
    """Whether a part plays one note at a time, but for a few of its notes."""
    order = sorted(notes, key=lambda note: note.start)
    chords = sum(
        later.start - note.start < table.line_overlap * (note.end - note.start)
        for note, later in pairwise(order)
    )
    return chords <= table.line_chords * len(order)
