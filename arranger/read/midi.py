"""A Standard MIDI File (already repaired) as a ``Piece``: ticks end here.

mido is used because it keeps ticks, so that every time is an exact fraction of a quarter.
"""

from __future__ import annotations

import io
import math
from bisect import bisect_right
from collections import defaultdict
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

DRUMS = 9  # channel 10 of General MIDI, counted from 0


def piece_from_midi(data: bytes) -> Piece:
    """The ``Piece`` of a well-formed Standard MIDI File of type 0 or 1, texts in UTF-8."""
    file = mido.MidiFile(file=io.BytesIO(data), charset="utf-8")
    collector = _Collector(file.ticks_per_beat)
    for track, messages in enumerate(file.tracks):
        collector.take(track, messages)
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

    def take(self, track: int, messages: mido.MidiTrack) -> None:
        """Read one track: notes paired per channel and pitch, ended when struck again."""
        sounding: dict[tuple[int, int], list[tuple[int, int]]] = defaultdict(list)
        at = 0
        for message in messages:
            at += message.time * self.scale
            if message.type in ("note_on", "note_off"):
                if message.channel == DRUMS:
                    self.drums += message.type == "note_on"
                    continue
                place = (message.channel, message.note)
                if message.type == "note_on" and message.velocity:
                    sounding[place].append((at, message.velocity))
                elif sounding[place]:
                    self._close(track, place, sounding[place].pop(0), at)
            elif message.is_meta:
                self._meta(track, at, message)
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

    def _meta(self, track: int, at: int, message: mido.MetaMessage) -> None:
        match message.type:
            case "time_signature":
                self.signatures.append(
                    Signature(
                        at=at,
                        numerator=message.numerator,
                        denominator=message.denominator,
                    )
                )
            case "set_tempo":
                self.tempos.append(
                    PlayedTempo(at=at, quarters=mido.tempo2bpm(message.tempo), track=track)
                )
            case "key_signature":
                self.keys.append(PlayedKey(at=at, key=parse_key(message.key)))
            case "track_name":
                self.names.append((track, message.name))
            case "text" | "copyright" | "lyrics" | "marker":
                self.texts.append((track, message.text))

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
