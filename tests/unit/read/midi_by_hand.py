"""MIDI files written note by note, so that a reader of these tests sees the music."""

from __future__ import annotations

from collections.abc import Sequence

import mido

QUARTER = 480
Sung = tuple[float, float, int]  # onset and length in quarters, MIDI number


def track_of(notes: Sequence[Sung], *, name: str = "", channel: int = 0) -> mido.MidiTrack:
    """A track that plays ``notes``."""
    events = []
    for onset, length, midi in notes:
        events.append((round(onset * QUARTER), 1, mido.Message("note_on", note=midi)))
        off = mido.Message("note_off", note=midi)
        events.append((round((onset + length) * QUARTER), 0, off))
    track = mido.MidiTrack()
    if name:
        track.append(mido.MetaMessage("track_name", name=name))
    at = 0
    for tick, _, message in sorted(events, key=lambda event: event[:2]):
        track.append(message.copy(time=tick - at, channel=channel))
        at = tick
    return track


def conductor(
    meters: Sequence[tuple[float, str]], tempos: Sequence[tuple[float, float]], title: str
) -> mido.MidiTrack:
    """A first track with title, meters and tempos at times in quarters."""
    events: list[tuple[float, mido.MetaMessage]] = []
    for at, meter in meters:
        top, bottom = meter.split("/")
        events.append(
            (
                at,
                mido.MetaMessage("time_signature", numerator=int(top), denominator=int(bottom)),
            )
        )
    for at, quarters in tempos:
        events.append((at, mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(quarters))))
    track = mido.MidiTrack()
    if title:
        track.append(mido.MetaMessage("track_name", name=title))
    before = 0
    for at, message in sorted(events, key=lambda event: event[0]):
        tick = round(at * QUARTER)
        track.append(message.copy(time=tick - before))
        before = tick
    return track
