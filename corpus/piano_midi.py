"""Write a piano piece read by music21 as a two-track MIDI file, always the same bytes."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import mido
from music21 import key, meter, stream

TICKS_PER_QUARTER = 480
VELOCITY = {"right hand": 80, "left hand": 64}
GRACE_LENGTH = Fraction(1, 16)  # quarters, played before the beat


@dataclass(frozen=True)
class Piece:
    """What stands in the file's first track. ``tempo`` is quarter notes a minute."""

    title: str
    composer: str
    rights: str
    tempo: float


@dataclass(frozen=True, order=True)
class Event:
    """A message at a tick; ``rank`` orders those of one tick: a note ends before one begins."""

    tick: int
    rank: int
    message: mido.Message | mido.MetaMessage


def write(path: Path, piece: Piece, right: list[stream.Part], left: list[stream.Part]) -> None:
    """Write the parts of both hands, repeats played out, as a type 1 file."""
    hands = {
        "right hand": [_played_out(part) for part in right],
        "left hand": [_played_out(part) for part in left],
    }
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS_PER_QUARTER)
    file.tracks.append(_conductor(piece, hands["right hand"][0]))
    for name, parts in hands.items():
        file.tracks.append(_hand(name, parts))
    file.save(path)


def _played_out(part: stream.Part) -> stream.Part:
    return part.expandRepeats(copySpanners=False)


def _ticks(offset: float | Fraction) -> int:
    return round(Fraction(offset) * TICKS_PER_QUARTER)


def _conductor(piece: Piece, part: stream.Part) -> mido.MidiTrack:
    """Title, tempo, keys and meters; a pick-up is a short meter of its own."""
    events = [
        Event(0, 0, mido.MetaMessage("track_name", name=piece.title)),
        Event(0, 1, mido.MetaMessage("text", text=f"composer: {piece.composer}")),
        Event(0, 2, mido.MetaMessage("copyright", text=piece.rights)),
        Event(0, 3, mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(piece.tempo))),
    ]
    asked, written, in_key = meter.TimeSignature("4/4"), "", ""
    for bar in part.getElementsByClass(stream.Measure):
        asked = bar.timeSignature or asked
        played = _meter_of_length(Fraction(bar.duration.quarterLength), asked)
        if played != written:
            top, bottom = (int(number) for number in played.split("/"))
            message = mido.MetaMessage("time_signature", numerator=top, denominator=bottom)
            events.append(Event(_ticks(bar.offset), 5, message))
            written = played
        for signature in bar.getElementsByClass(key.KeySignature):
            if (name := _key_name(signature)) != in_key:
                message = mido.MetaMessage("key_signature", key=name)
                events.append(Event(_ticks(bar.offset), 4, message))
                in_key = name
    return _track(events)


def _meter_of_length(length: Fraction, asked: meter.TimeSignature) -> str:
    """``asked`` for a full bar, otherwise a meter as long as the bar that is there."""
    if length == Fraction(asked.barDuration.quarterLength):
        return str(asked.ratioString)
    eighths = length * 2
    if eighths.denominator == 1 and asked.denominator == 8:
        return f"{eighths.numerator}/8"
    wholes = length / 4
    bottom = max(wholes.denominator, 4)
    return f"{wholes.numerator * (bottom // wholes.denominator)}/{bottom}"


def _key_name(signature: key.KeySignature) -> str:
    known = signature if isinstance(signature, key.Key) else signature.asKey("major")
    tonic = str(known.tonic.name).replace("-", "b")
    return tonic + ("m" if known.mode == "minor" else "")


def _hand(name: str, parts: list[stream.Part]) -> mido.MidiTrack:
    events = [Event(0, 0, mido.MetaMessage("track_name", name=name))]
    sounding = sorted({note for part in parts for note in _notes(part)})
    for onset, end, pitch in _without_overlap(sounding):
        start = mido.Message("note_on", note=pitch, velocity=VELOCITY[name])
        stop = mido.Message("note_off", note=pitch, velocity=0)
        events += [Event(onset, 2, start), Event(end, 1, stop)]
    return _track(events)


def _notes(part: stream.Part) -> list[tuple[int, int, int]]:
    """(onset, end, MIDI number) in ticks; tied notes joined, grace notes before the beat."""
    found = []
    graces: dict[Fraction, int] = {}
    flat = list(part.stripTies().flatten().notes)
    for element in flat:
        if element.duration.isGrace:
            onset = Fraction(element.offset)
            graces[onset] = graces.get(onset, 0) + 1
    placed: dict[Fraction, int] = {}
    for element in flat:
        onset, length = Fraction(element.offset), Fraction(element.quarterLength)
        if element.duration.isGrace:
            before = graces[onset] - placed.get(onset, 0)
            placed[onset] = placed.get(onset, 0) + 1
            onset, length = onset - before * GRACE_LENGTH, GRACE_LENGTH
        if onset >= 0 and length > 0:
            found += [(_ticks(onset), _ticks(onset + length), p.midi) for p in element.pitches]
    return found


def _without_overlap(notes: list[tuple[int, int, int]]) -> list[tuple[int, int, int]]:
    """One key of the piano sounds once: doubled notes are joined, restruck ones end before."""
    kept: list[tuple[int, int, int]] = []
    last: dict[int, int] = {}
    for onset, end, pitch in notes:
        before = last.get(pitch)
        if before is not None and kept[before][1] > onset:
            start, old_end, _ = kept[before]
            if start == onset:
                kept[before] = (start, max(old_end, end), pitch)
                continue
            kept[before] = (start, onset, pitch)
        last[pitch] = len(kept)
        kept.append((onset, end, pitch))
    return kept


def _track(events: list[Event]) -> mido.MidiTrack:
    track = mido.MidiTrack()
    now = 0
    for event in sorted(events, key=lambda event: (event.tick, event.rank)):
        track.append(event.message.copy(time=event.tick - now))
        now = event.tick
    track.append(mido.MetaMessage("end_of_track", time=0))
    return track
