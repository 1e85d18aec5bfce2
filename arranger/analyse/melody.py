"""The tune and the bass line.

*Conventions* Both are lists of note indices in order of onset, at most one note starting
at a time. The tune is the top note of the right hand, less inner notes under a held tune
note (hold rule) and left-hand notes far below it (drop rule); it moves to the left hand
where that hand plays the tune or plays alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

import numpy as np

from arranger.analyse.timeline import Timeline
from arranger.music.analysis import Texture, TextureSpan
from arranger.tables import Table, load


class MelodyTable(Table):
    """``tables/melody.toml``: see the comments there."""

    drop: int
    held: float
    alone_after: float
    chord_above_bass: int


def _table() -> MelodyTable:
    return load("melody", MelodyTable)


def _onsets(line: Timeline) -> Iterator[tuple[int, list[int]]]:
    """Onsets in ticks with the notes struck there, grace notes left out."""
    notes = [int(note) for note in np.flatnonzero(~line.grace)]
    for onset, group in groupby(notes, key=lambda note: int(line.onset[note])):
        yield onset, list(group)


class _Textures:
    """The texture at a time; times are asked in ascending order."""

    def __init__(self, line: Timeline, spans: tuple[TextureSpan, ...]) -> None:
        self._spans = spans
        self._ends = [line.ticks(span.end) for span in spans]
        self._index = 0

    def at(self, ticks: int) -> TextureSpan:
        while self._ends[self._index] <= ticks and self._index < len(self._spans) - 1:
            self._index += 1
        return self._spans[self._index]


def find_melody(
    line: Timeline, textures: tuple[TextureSpan, ...], part: int | None = None
) -> tuple[int, ...]:
    """The notes of the tune; ``part`` (of ``Note.track``) has it, while it is not silent."""
    if part is None:
        return _heard_melody(line, textures)
    sung = _top_line(line, part)
    own = [(int(line.onset[note]), int(line.end[note])) for note in sung]
    between = _silences(line, own)
    heard = [
        note
        for note in _heard_melody(line, textures)
        if any(start <= line.onset[note] < end for start, end in between)
    ]
    return tuple(sorted([*sung, *heard], key=lambda note: (int(line.onset[note]), note)))


def _top_line(line: Timeline, part: int) -> list[int]:
    """The highest note of a part at each of its onsets, less what lies under a held one."""
    table = _table()
    top: list[int] = []
    for _, notes in _onsets(line):
        own = [note for note in notes if line.score.notes[note].track == part]
        if own and not (top and _is_inner(line, own[0], top[-1], table)):
            top.append(own[0])
    return top


def _silences(line: Timeline, sung: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Where a part is silent for a bar or more, up to the bar in which it comes back."""
    ends = [0, *(end for _, end in sung)]
    starts = [*(start for start, _ in sung), line.last + 1]
    return [
        (end, start)
        for end, start in zip(ends, starts, strict=True)
        if start - end >= line.measures[line.score.bar_index_at(line.beats(end))].full
    ]


def _heard_melody(line: Timeline, textures: tuple[TextureSpan, ...]) -> tuple[int, ...]:
    """The tune where no part has it to itself."""
    table = _table()
    texture = _Textures(line, textures)
    melody: list[int] = []
    right_until = -line.ticks(line.score.end)
    for onset, notes in _onsets(line):
        right = [note for note in notes if line.right[note]]
        left = [note for note in notes if not line.right[note]]
        kind = texture.at(onset).texture
        last = melody[-1] if melody else None
        rested = (onset - right_until) / line.unit
        right_until = max([right_until, *(int(line.end[note]) for note in right)])
        if kind == "tune-left":
            candidate = left[0] if left else None
        elif right:
            candidate = right[0]
        elif left and rested >= 0 and _left_leads(line, left, kind, rested, last):
            candidate = left[0]
        else:
            candidate = None
        if candidate is None or (last is not None and _is_inner(line, candidate, last, table)):
            continue
        melody.append(candidate)
    return tuple(melody)


def _left_leads(
    line: Timeline, left: list[int], kind: Texture, rested: float, last: int | None
) -> bool:
    """Whether a left hand that plays alone has the tune: one line, within reach of the
    last tune note (drop rule), in a unison texture or after a long silence on the right.
    """
    table = _table()
    if len({int(line.midi[note]) % 12 for note in left}) > 1:
        return False
    if last is None:
        return kind == "unison"
    near = line.midi[left[0]] >= line.midi[last] - table.drop
    return kind == "unison" or (bool(near) and rested >= table.alone_after)


def _is_inner(line: Timeline, note: int, last: int, table: MelodyTable) -> bool:
    """Hold rule: a lower note struck while the last tune note still sounds."""
    still = (line.end[last] - line.onset[note]) / line.unit >= table.held
    return bool(still and line.midi[note] < line.midi[last])


def find_bass(
    line: Timeline, textures: tuple[TextureSpan, ...], melody: tuple[int, ...]
) -> tuple[int, ...]:
    """The lowest left-hand line: no afterbeat chords, nothing that is the tune."""
    tune = set(melody)
    texture = _Textures(line, textures)
    bass: list[int] = []
    voices = 0
    for onset, notes in _onsets(line):
        left = [note for note in notes if not line.right[note] and note not in tune]
        if not left:
            continue
        left.sort(key=lambda note: int(line.midi[note]))
        if _is_afterbeat(line, texture.at(onset), left, bass, voices):
            continue
        bass.append(left[0])
        voices = len(_tones(line, left))
    return tuple(bass)


def _tones(line: Timeline, notes: list[int]) -> set[int]:
    return {int(line.midi[note]) % 12 for note in notes}


def _answers(line: Timeline, struck: list[int], voices: int) -> bool:
    """Whether a chord of a hymn answers a bass note: it has more tones than were struck
    with that note, and its lowest is not doubled at the octave, as a bass is.
    """
    lowest, *others = (int(line.midi[note]) % 12 for note in struck)
    return lowest not in others and len(_tones(line, struck)) > voices


def _is_afterbeat(
    line: Timeline, span: TextureSpan, struck: list[int], bass: list[int], voices: int
) -> bool:
    """Whether the first of ``struck``, the lowest, is the bottom of a chord that answers a
    bass note, or the upper part of a broken chord. ``voices`` tones came with that bass note.
    """
    note = struck[0]
    if not bass or line.bar[bass[-1]] < line.bar[note] - 1:
        return False
    above = int(line.midi[note] - line.midi[bass[-1]])
    thumb = line.ticks(span.thumb_beat)
    weak = line.position(note) % (2 * thumb) != 0
    if span.texture in ("stride", "waltz", "compound", "hymn"):
        chord = weak and len(struck) > 1 and above >= _table().chord_above_bass
        return chord and (span.texture != "hymn" or _answers(line, struck, voices))
    if span.texture == "broken":
        return bool(line.position(note) % thumb) and above >= 0
    return False
