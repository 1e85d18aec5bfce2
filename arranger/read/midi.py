"""The tracks of a Standard MIDI File (already repaired) as a ``Piece``: ticks end here.

Source of the messages: Standard MIDI File 1.0. Key signatures are named by mido.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace

import mido

from arranger.music.key import parse_key
from arranger.read.piece import (
    WHOLE_PARTS,
    Piece,
    PlayedKey,
    PlayedNote,
    PlayedTempo,
    Remark,
    Signature,
)
from arranger.read.repair import KEY, METER, NOTE_ON, TEMPO, TEXT_TYPES, Event

DRUMS = 9  # channel 10 of General MIDI, counted from 0
META = 0xFF
TRACK_NAME = 0x03
WORDS = (0x01, 0x02, 0x05, 0x06)  # text, copyright, lyrics, marker
MICROSECONDS = 60_000_000  # a minute


def piece_from_midi(tracks: Sequence[Sequence[Event]], division: int) -> Piece:
    """The ``Piece`` of the tracks of a file with ``division`` ticks a quarter."""
    collector = _Collector(division)
    for track, events in enumerate(tracks):
        collector.take(track, events)
    return collector.piece()


class _Collector:
    """Gathers the events of all tracks; one per file."""

    def __init__(self, division: int) -> None:
        self.unit = math.lcm(WHOLE_PARTS, division)
        self.scale = self.unit // division
        self.notes: list[PlayedNote] = []
        self.signatures: list[Signature] = []
        self.tempos: list[PlayedTempo] = []
        self.keys: list[PlayedKey] = []
        self.names: list[tuple[int, str]] = []
        self.texts: list[tuple[int, str]] = []
        self.remarks: list[Remark] = []
        self.drums = 0
        self.restruck = 0
        self.unclosed = 0

    def take(self, track: int, events: Sequence[Event]) -> None:
        """Read one track: notes paired per channel and pitch, ended when struck again."""
        sounding: dict[tuple[int, int], list[tuple[int, int]]] = defaultdict(list)
        for tick, message in events:
            at = tick * self.scale
            status = message[0]
            if status == META:
                self._meta(track, at, message)
                continue
            channel, on = status & 0x0F, status & 0xF0 == NOTE_ON
            if channel == DRUMS:
                self.drums += on
                continue
            place = (channel, message[1])
            if on and message[2]:
                sounding[place].append((at, message[2]))
            elif sounding[place]:
                self._close(track, place, sounding[place].pop(0), at)
        self._end_unclosed(track, sounding)

    def _close(
        self, track: int, place: tuple[int, int], struck: tuple[int, int], end: int
    ) -> None:
        channel, midi = place
        start, velocity = struck
        self.notes.append(
            PlayedNote(
                start=start,
                end=end,
                midi=midi,
                velocity=velocity,
                track=track,
                channel=channel,
            )
        )

    def _end_unclosed(
        self, track: int, sounding: dict[tuple[int, int], list[tuple[int, int]]]
    ) -> None:
        """End the notes of a track that have no note-off.

        When an earlier note of the same pitch was ended by the off that came after both,
        that off belongs to the later note, and the earlier one ends where it was struck
        again. Otherwise the note lasts to the next onset of its track, at most a whole note.
        """
        left_open = [(place, struck) for place, notes in sounding.items() for struck in notes]
        if not left_open:
            return
        self.unclosed += len(left_open)
        own = {
            (note.channel, note.midi): index
            for index, note in enumerate(self.notes)
            if note.track == track
        }
        onsets = sorted({note.start for note in self.notes if note.track == track})
        onsets += [struck[0] for _, struck in left_open]
        onsets.sort()
        for place, struck in left_open:
            start = struck[0]
            before = self.notes[own[place]] if place in own else None
            if before is not None and before.start < start < before.end:
                self.notes[own[place]] = replace(before, end=start)
                end = before.end
            else:
                later = bisect_right(onsets, start)
                end = min([start + 4 * self.unit, *onsets[later : later + 1]])
            self._close(track, place, struck, end)

    def _meta(self, track: int, at: int, message: bytes) -> None:
        kind = message[1]
        if kind in TEXT_TYPES:
            text = _body(message).decode("utf-8")
            if kind == TRACK_NAME:
                self.names.append((track, text))
            elif kind in WORDS:
                self.texts.append((track, text))
        elif kind == METER:
            numerator, power = _body(message)[:2]
            self.signatures.append(
                Signature(at=at, numerator=numerator, denominator=1 << power)
            )
        elif kind == TEMPO:
            quarters = MICROSECONDS / int.from_bytes(_body(message), "big")
            self.tempos.append(PlayedTempo(at=at, quarters=quarters, track=track))
        elif kind == KEY:
            name = mido.MetaMessage.from_bytes(list(message)).key
            self.keys.append(PlayedKey(at=at, key=parse_key(name)))

    def piece(self) -> Piece:
        self.notes.sort(key=lambda note: (note.start, -note.midi, note.track, note.channel))
        self.signatures.sort(key=lambda signature: signature.at)
        self.tempos.sort(key=lambda tempo: tempo.at)
        self.keys.sort(key=lambda key: key.at)
        if self.unclosed:
            self.remarks.append(
                Remark(
                    code="note-not-ended",
                    text=f"{self.unclosed} note(s) never end in the file; "
                    "they were ended at the next note",
                )
            )
        if self.drums:
            self.remarks.append(
                Remark(code="drums", text="The drums of channel 10 are left out")
            )
        return Piece(
            unit=self.unit,
            notes=tuple(self.notes),
            signatures=tuple(self.signatures),
            tempos=tuple(self.tempos),
            keys=tuple(self.keys),
            names=tuple(self.names),
            texts=tuple(self.texts),
            remarks=tuple(self.remarks),
        )


def _body(message: bytes) -> bytes:
    """What a meta message says, after its kind and its length."""
    start = 2
    while message[start] >= 0x80:
        start += 1
    return message[start + 1 :]
