"""The practice file as sound: plucked strings by synthesis, one string sounding one note.

A burst of noise runs round a delay line whose average filter takes the highs first (Karplus
and Strong 1983, Computer Music Journal 7(2)). The line is a whole number of samples long, so
each tone is brought to its exact pitch by reading it a little faster or slower.
"""

from __future__ import annotations

import wave
from collections.abc import Iterator
from functools import cache
from io import BytesIO

import mido
import numpy as np
from numpy.typing import NDArray

from arranger.tables import Table, load

Sound = NDArray[np.float32]

_CLICKS = 9
"""The channel of the count-in (General MIDI percussion, counted from 0)."""
_DAMPED = 0.03
"""Seconds in which a string stops when it is let go."""


class Plucked(Table):
    """The table ``plucked.toml``; units stand there."""

    rate: int
    ring: float
    softness: float
    sustain: float
    reference: int
    click_hertz: float
    click_seconds: float
    peak: float


def practice_wave(midi: bytes) -> bytes:
    """A mono 16-bit WAV of a practice file: each channel a string, the count-in as clicks."""
    table = load("plucked", Plucked)
    notes = list(_notes(midi))
    end = max((until for _, until, *_ in notes), default=0.0) + table.ring
    mixed = np.zeros(int(end * table.rate) + 1, dtype=np.float32)
    for start, until, channel, pitch, velocity in notes:
        tone = _click() if channel == _CLICKS else _let_go(pitch, until - start)
        place = int(start * table.rate)
        tone = tone[: len(mixed) - place]
        mixed[place : place + len(tone)] += tone * (velocity / 127)
    loudest = float(np.abs(mixed).max(initial=0.0)) or 1.0
    samples = (mixed / loudest * table.peak * 32767).astype("<i2")
    stream = BytesIO()
    with wave.open(stream, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(table.rate)
        file.writeframes(samples.tobytes())
    return stream.getvalue()


def _notes(midi: bytes) -> Iterator[tuple[float, float, int, int, int]]:
    """Start and end in seconds, channel, pitch and velocity of every note."""
    now = 0.0
    open_notes: dict[tuple[int, int], tuple[float, int]] = {}
    for message in mido.MidiFile(file=BytesIO(midi), charset="utf-8"):
        now += message.time
        if message.type not in {"note_on", "note_off"}:
            continue
        key = (message.channel, message.note)
        if key in open_notes:
            start, velocity = open_notes.pop(key)
            yield start, now, *key, velocity
        if message.type == "note_on" and message.velocity:
            open_notes[key] = (now, message.velocity)


def _let_go(pitch: int, seconds: float) -> Sound:
    """A tone that is damped after ``seconds``."""
    rate = load("plucked", Plucked).rate
    held, fade = int(seconds * rate), int(_DAMPED * rate)
    tone = tone_of(pitch)[: held + fade].copy()
    over = max(0, len(tone) - held)
    tone[len(tone) - over :] *= np.linspace(1, 0, over, dtype=np.float32)
    return tone


@cache
def tone_of(pitch: int) -> Sound:
    """An undamped plucked tone of a MIDI pitch, as long as the table lets it ring."""
    table = load("plucked", Plucked)
    hertz = 440 * 2 ** ((pitch - 69) / 12)
    # The average of two neighbours delays by half a sample.
    period = max(2, round(table.rate / hertz - 0.5))
    drawn = table.rate / (period + 0.5)
    length = int(table.ring * table.rate * hertz / drawn) + 2
    loss = table.sustain ** (440 * 2 ** ((table.reference - 69) / 12) / hertz)
    line = _burst(pitch, period, table.softness)
    rounds = [line]
    before = np.float32(0)
    for _ in range(length // period + 1):
        last = rounds[-1]
        shifted = np.concatenate(([before], last[:-1]))
        before = last[-1]
        rounds.append((loss * 0.5 * (last + shifted)).astype(np.float32))
    wave_form = np.concatenate(rounds)[:length]
    places = np.arange(int(table.ring * table.rate)) * (hertz / drawn)
    return np.asarray(np.interp(places, np.arange(length), wave_form), dtype=np.float32)


def _burst(pitch: int, period: int, softness: float) -> Sound:
    """One round of noise, dulled as by a fingertip; the same for the same pitch."""
    noise = np.random.Generator(np.random.PCG64(pitch)).uniform(-1, 1, period)
    soft = np.empty(period)
    level = 0.0
    for place, sample in enumerate(noise):
        level += softness * (sample - level)
        soft[place] = level
    soft -= soft.mean()
    return np.asarray(soft / max(float(np.abs(soft).max()), 1e-9), dtype=np.float32)


@cache
def _click() -> Sound:
    table = load("plucked", Plucked)
    time = np.arange(int(table.click_seconds * table.rate)) / table.rate
    fade = np.exp(-time / (table.click_seconds / 5))
    return np.asarray(
        0.5 * np.sin(2 * np.pi * table.click_hertz * time) * fade, dtype=np.float32
    )
