"""``practice.mid``: a bar of counting, then the piece at the student's tempo.

One channel a string, as a guitar that sends MIDI does, so that a string can be muted or a
player can see which one sounds. Swing is played out.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from io import BytesIO

import mido
from pydantic import Field

from arranger.music.arrangement import Arrangement, Placement
from arranger.music.time import Beat
from arranger.render.note_values import plain_value
from arranger.render.plain_text import one_line
from arranger.render.written import WrittenBar, in_written_time, written_bars
from arranger.tables import Table, load

TICKS = 960
"""Ticks a quarter: whole numbers for triplets, quintuplets and 256ths."""

_DRUMS = 9
_MOST_TEXT = 200
_SLOWEST = (1 << 24) - 1
"""Most microseconds a quarter that a tempo event can hold (SMF 1.0)."""


class Practice(Table):
    """The table ``practice.toml``; units stand there."""

    program: int = Field(ge=0, le=127)
    melody: int = Field(ge=1, le=127)
    bass: int = Field(ge=1, le=127)
    inner: int = Field(ge=1, le=127)
    slurred: int = Field(ge=1, le=127)
    count_note: int = Field(ge=0, le=127)
    count_first: int = Field(ge=1, le=127)
    count_other: int = Field(ge=1, le=127)
    slowing: float = Field(ge=1)


@dataclass(frozen=True, slots=True, order=True)
class _Event:
    """A message at a tick; at the same tick note-offs come first."""

    tick: int
    on: bool
    note: int
    velocity: int


def practice_midi(arrangement: Arrangement, *, share: float = 1.0) -> bytes:
    """A type 1 Standard MIDI File: tempo track, six strings, the count-in.

    ``share`` of the student's tempo.
    """
    written = in_written_time(arrangement)
    written = replace(written, student_tempo=share * written.student_tempo)
    bars = written_bars(written)
    begin, clicks = _count_in(bars[0])
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS, charset="utf-8")
    file.tracks.append(_conductor(written, bars, begin))
    for string in range(1, 7):
        file.tracks.append(_string_track(written, bars, begin, string))
    file.tracks.append(_track("count-in", _DRUMS, clicks))
    stream = BytesIO()
    file.save(file=stream)
    return stream.getvalue()


def _count_in(first: WrittenBar) -> tuple[Beat, list[_Event]]:
    """One bar of clicks; before a pick-up also the beats that it lacks.

    Returns where the piece begins, in quarters, and the clicks.
    """
    table = load("practice", Practice)
    length = first.full + first.missing
    clicks = []
    now = Beat(0)
    while now < length:
        loud = now % first.full == 0
        velocity = table.count_first if loud else table.count_other
        start, end = _tick(now), _tick(now + first.pulse / 4)
        clicks += [
            _Event(start, True, table.count_note, velocity),
            _Event(end, False, table.count_note, 0),
        ]
        now += first.pulse
    return length, clicks


def _tick(quarters: Beat) -> int:
    return round(quarters * TICKS)


def _conductor(
    written: Arrangement, bars: tuple[WrittenBar, ...], begin: Beat
) -> mido.MidiTrack:
    """Title, tempo and meters."""
    track = mido.MidiTrack()
    track.append(
        mido.MetaMessage("track_name", name=one_line(written.title)[:_MOST_TEXT], time=0)
    )
    events = [(0, _tempo(written.student_tempo))]
    events += [
        (_tick(begin + moment), _tempo(written.student_tempo / longer))
        for moment, longer in slowings(bars)
    ]
    meter: tuple[int, int] | None = None
    for bar in bars:
        here = (bar.bar.numerator, bar.bar.denominator)
        at = Beat(0) if meter is None else begin + bar.start
        if here != meter and plain_value(Beat(4, here[1])) is not None:
            sign = mido.MetaMessage("time_signature", numerator=here[0], denominator=here[1])
            events.append((_tick(at), sign))
            meter = here
    now = 0
    for tick, message in sorted(events, key=lambda event: event[0]):
        track.append(message.copy(time=tick - now))
        now = tick
    track.append(mido.MetaMessage("end_of_track", time=0))
    return track


def _tempo(quarters: float) -> mido.MetaMessage:
    tempo = min(_SLOWEST, max(1, round(60_000_000 / quarters)))
    return mido.MetaMessage("set_tempo", tempo=tempo)


def slow_spans(bars: Sequence[WrittenBar]) -> list[tuple[Beat, Beat]]:
    """Where the tempo sinks, from bar line to bar line."""
    spans: list[tuple[Beat, Beat]] = []
    for bar in bars:
        if bar.bar.slows and spans and spans[-1][1] == bar.start:
            spans[-1] = (spans[-1][0], bar.end)
        elif bar.bar.slows:
            spans.append((bar.start, bar.end))
    return spans


def slowest() -> float:
    """How many times as long the last beat of a ritardando lasts."""
    return load("practice", Practice).slowing


def slowings(bars: Sequence[WrittenBar]) -> Iterator[tuple[Beat, float]]:
    """Moments of written time from which on a quarter lasts so many times as long.

    A quarter grows evenly through the span; each step has the value of its middle.
    """
    for start, end in slow_spans(bars):
        now, step = start, bars[0].pulse
        while now < end:
            middle = (now + min(now + step, end)) / 2
            share = float((middle - start) / (end - start))
            yield now, 1 + (slowest() - 1) * share
            now += step
        yield end, 1.0


def _string_track(
    written: Arrangement, bars: tuple[WrittenBar, ...], begin: Beat, string: int
) -> mido.MidiTrack:
    events = []
    for bar in bars:
        for note in bar.notes:
            if note.string == string:
                start = _tick(begin + swung(note.onset, bars, written.swing))
                end = _tick(begin + swung(note.end, bars, written.swing))
                events.append(_Event(start, True, note.midi, _velocity(note)))
                events.append(_Event(max(end, start + 1), False, note.midi, 0))
    return _track(f"string {string}", string - 1, events)


def _velocity(note: Placement) -> int:
    table = load("practice", Practice)
    if note.slur is not None:
        return table.slurred
    return {"melody": table.melody, "bass": table.bass, "inner": table.inner}[note.voice]


def _track(name: str, channel: int, events: list[_Event]) -> mido.MidiTrack:
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("track_name", name=name, time=0))
    if channel != _DRUMS:
        program = load("practice", Practice).program
        track.append(mido.Message("program_change", channel=channel, program=program, time=0))
    now = 0
    for event in sorted(events):
        track.append(
            mido.Message(
                "note_on" if event.on else "note_off",
                channel=channel,
                note=event.note,
                velocity=event.velocity,
                time=event.tick - now,
            )
        )
        now = event.tick
    track.append(mido.MetaMessage("end_of_track", time=0))
    return track


def swung(moment: Beat, bars: tuple[WrittenBar, ...], ratio: float) -> Beat:
    """Where a moment of written time is heard when pairs of eighths are played ``ratio`` to 1.

    Beats stay where they are; what lies between is stretched and squeezed around the second
    eighth. Compound meters have no pairs of eighths and stay even.
    """
    if ratio == 1.0:
        return moment
    bar = bars[max(0, bisect_right(bars, moment, key=lambda bar: bar.start) - 1)]
    if bar.compound or bar.bar.denominator > 4:
        return moment
    origin = bar.start - bar.missing
    beat = origin + (moment - origin) // 1
    inside = moment - beat
    long = Beat(ratio).limit_denominator(100)
    turn = long / (long + 1)
    half = Beat(1, 2)
    if inside <= half:
        return beat + inside / half * turn
    return beat + turn + (inside - half) / half * (1 - turn)
