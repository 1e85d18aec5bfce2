"""Which hand plays a note: from named tracks, from two tracks, or by splitting one."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean

from arranger.music.score import Hand
from arranger.music.time import Beat
from arranger.read.grid import GridNote
from arranger.read.piece import Piece, Remark
from arranger.read.split import Struck, split_hands
from arranger.read.table import HandNames

TUNE = 24  # semitones, the widest tune of one hand

Stream = tuple[int, int]
"""A track of the file and a channel in it: the finest unit that a file keeps apart."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hands:
    """The hand of each note, how it was found (``split``: by ear), and what to say of it."""

    hands: tuple[Hand, ...]
    split: bool
    remarks: tuple[Remark, ...]


def find_hands(piece: Piece, notes: Sequence[GridNote], table: HandNames) -> Hands:
    """The hands of ``notes``. Tracks are believed when they look like two hands."""
    streams = _streams(piece)
    remarks: list[Remark] = []
    by_stream = _by_name(piece, streams, table, remarks) or _by_pitch(streams, table)
    if by_stream is None and len(streams) > 2:
        by_stream = _by_register(streams, table, remarks)
    if by_stream is not None:
        hands = tuple(by_stream[note.played.track, note.played.channel] for note in notes)
        return Hands(hands=hands, split=False, remarks=tuple(remarks))
    if _one_line(notes):
        alone: list[Hand] = ["right"] * len(notes)
        return Hands(hands=tuple(alone), split=True, remarks=())
    hands = split_hands(struck(notes, piece.unit))
    if not one_sided(hands):
        remarks.append(
            Remark(
                code="hands-split",
                text="The file does not keep the hands apart; they were told apart by ear, "
                "check the lowest melody notes",
            )
        )
    return Hands(hands=hands, split=True, remarks=tuple(remarks))


def _one_line(notes: Sequence[GridNote]) -> bool:
    """Whether the notes are a tune: one at a time, within two octaves."""
    pitches = [note.played.midi for note in notes]
    ends = [note.onset + note.gate for note in notes]
    alone = all(
        after.onset > before.onset and end <= after.onset + 0.1 * after.gate
        for before, after, end in zip(notes, notes[1:], ends, strict=False)
    )
    return alone and max(pitches) - min(pitches) <= TUNE


def struck(notes: Sequence[GridNote], unit: int) -> list[Struck]:
    """What a listener hears of ``notes``: onset, length as played, pitch."""
    return [Struck(note.onset / unit, note.gate / unit, note.played.midi) for note in notes]


def _streams(piece: Piece) -> dict[Stream, list[int]]:
    """Pitches per stream; channels are kept apart only in a file of one track."""
    pitches: dict[Stream, list[int]] = defaultdict(list)
    for note in piece.notes:
        pitches[note.track, note.channel].append(note.midi)
    return dict(pitches)


def _by_name(
    piece: Piece, streams: Mapping[Stream, list[int]], table: HandNames, remarks: list[Remark]
) -> dict[Stream, Hand] | None:
    """Hands from track names; None when the names do not say or say nonsense."""
    names = dict(piece.names)
    said: dict[Stream, Hand] = {}
    for stream in streams:
        hand = _hand_in(names.get(stream[0], ""), table)
        if hand is None:
            return None
        said[stream] = hand
    means = _means(streams, said)
    if len(means) < 2:
        return None
    if means["right"] + table.named_slack >= means["left"]:
        return said
    remarks.append(
        Remark(
            code="hands-swapped",
            text="The track named for the right hand lies below the other; the names were "
            "taken to be swapped",
        )
    )
    return {stream: "left" if hand == "right" else "right" for stream, hand in said.items()}


def _hand_in(name: str, table: HandNames) -> Hand | None:
    words = set(re.findall(r"[\w.]+", name.lower()))
    right, left = words & set(table.right), words & set(table.left)
    if bool(right) == bool(left):
        return None
    return "right" if right else "left"


def _means(
    streams: Mapping[Stream, list[int]], said: Mapping[Stream, Hand]
) -> dict[Hand, float]:
    pitches: dict[Hand, list[int]] = defaultdict(list)
    for stream, hand in said.items():
        pitches[hand] += streams[stream]
    return {hand: fmean(values) for hand, values in pitches.items()}


def _by_pitch(
    streams: Mapping[Stream, list[int]], table: HandNames
) -> dict[Stream, Hand] | None:
    """Two streams that lie clearly one above the other are two hands."""
    if len(streams) != 2:
        return None
    high, low = sorted(streams, key=lambda stream: -fmean(streams[stream]))
    smaller = min(len(streams[high]), len(streams[low]))
    whole = len(streams[high]) + len(streams[low])
    apart = fmean(streams[high]) - fmean(streams[low])
    if apart < table.unnamed_gap or smaller < table.unnamed_share * whole:
        return None
    return {high: "right", low: "left"}


def _by_register(
    streams: Mapping[Stream, list[int]], table: HandNames, remarks: list[Remark]
) -> dict[Stream, Hand]:
    """More than two tracks: each goes whole to the hand whose register it lies in."""
    remarks.append(
        Remark(
            code="many-tracks",
            text=f"The file has {len(streams)} parts, not two hands; each was given to the "
            "hand whose register it lies in",
        )
    )
    order = sorted(streams, key=lambda stream: -fmean(streams[stream]))
    hands: dict[Stream, Hand] = {
        stream: "right" if fmean(streams[stream]) >= table.split else "left" for stream in order
    }
    hands[order[0]] = "right"
    hands[order[-1]] = "left"
    return hands


def one_sided(hands: Sequence[Hand]) -> bool:
    """Whether all notes are in one hand."""
    return len(set(hands)) < 2


def voices_at_once(starts: Sequence[Beat], ends: Sequence[Beat]) -> int:
    """The most notes that sound together."""
    events = sorted([(at, 1) for at in starts] + [(at, -1) for at in ends])
    most = now = 0
    for _, step in events:
        now += step
        most = max(most, now)
    return most
