"""Voices of the staff: which notes share a stem, how long they are written, where rests stand.

The upper voice belongs to the fingers, the lower to the thumb. An inner note that begins while
another note of its voice is held joins the thumb's stem where it begins and ends with it; else
it gets a voice of its own, so that nothing held is cut short.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Literal

from arranger.music.arrangement import Placement
from arranger.music.once import once
from arranger.music.time import Beat
from arranger.render.note_values import NoteValue, split
from arranger.render.written import WrittenBar

VoiceName = Literal["upper", "lower", "inner"]
VOICE_NAMES: tuple[VoiceName, ...] = ("upper", "lower", "inner")


@dataclass(frozen=True, slots=True, kw_only=True)
class Sound:
    """Notes (indices into ``Arrangement.notes``) plucked together and written as one chord.

    ``ends`` says of each note until when it is held; ``end`` is when the chord ends.
    """

    onset: Beat
    end: Beat
    notes: tuple[int, ...]
    ends: tuple[Beat, ...]

    def held(self, moment: Beat) -> tuple[int, ...]:
        """The notes that are still held at a moment."""
        pairs = zip(self.notes, self.ends, strict=True)
        return tuple(note for note, end in pairs if min(end, self.end) > moment)


@dataclass(frozen=True, slots=True, kw_only=True)
class Chunk:
    """One written symbol: a chord, or a rest when ``notes`` is empty.

    ``tied_back`` are those of its notes that are tied to the chunk before it, ``tied_on``
    those that are tied to the chunk after it.
    """

    onset: Beat
    value: NoteValue
    notes: tuple[int, ...] = ()
    tied_back: tuple[int, ...] = ()
    tied_on: tuple[int, ...] = ()

    @property
    def plucked(self) -> tuple[int, ...]:
        """The notes that begin here."""
        return tuple(note for note in self.notes if note not in self.tied_back)

    @property
    def end(self) -> Beat:
        return self.onset + self.value.length


def sounds(notes: Sequence[Placement]) -> dict[VoiceName, tuple[Sound, ...]]:
    """The chords of each voice, in order and without overlap.

    A chord lasts as long as the longest of its notes is held, but never into the next chord
    of its voice.
    """
    members: dict[VoiceName, list[int]] = {name: [] for name in VOICE_NAMES}
    for index, name in enumerate(voices_of_hands(notes)):
        members[name].append(index)
    found = {name: tuple(_chords(notes, members[name])) for name in VOICE_NAMES}
    return _with_the_thumb(found)


def _with_the_thumb(
    voices: Mapping[VoiceName, Sequence[Sound]],
) -> dict[VoiceName, tuple[Sound, ...]]:
    """The voices, where inner chords that begin and end with the thumb's share its stem."""
    inner = {(chord.onset, chord.end): chord for chord in voices["inner"]}
    lower = []
    for thumb in voices["lower"]:
        other = inner.pop((thumb.onset, thumb.end), None)
        lower.append(_together(thumb, other) if other else thumb)
    return {
        "upper": tuple(voices["upper"]),
        "lower": tuple(lower),
        "inner": tuple(inner.values()),
    }


def _together(one: Sound, other: Sound) -> Sound:
    """Two chords of the same span as one; indices rise from string 6 to string 1."""
    pairs = sorted(zip(one.notes + other.notes, one.ends + other.ends, strict=True))
    notes, ends = zip(*pairs, strict=True)
    return replace(one, notes=notes, ends=ends)


def voices_of_hands(notes: Sequence[Placement]) -> Iterator[VoiceName]:
    """The voice of each note: the hand's own, or inner where that one is held already."""
    # Until when notes of tune and bass are held that began before this moment.
    held: dict[VoiceName, Beat] = {}
    for _, together in groupby(notes, key=lambda note: note.onset):
        begun: dict[VoiceName, Beat] = {}
        for note in together:
            home: VoiceName = "lower" if note.right == "p" else "upper"
            if note.voice != "inner":
                begun[home] = max(begun.get(home, note.end), note.end)
                yield home
            else:
                yield "inner" if note.onset < held.get(home, note.onset) else home
        for home, end in begun.items():
            held[home] = max(held.get(home, end), end)


def _chords(notes: Sequence[Placement], members: Sequence[int]) -> Iterator[Sound]:
    together: list[list[int]] = []
    for index in members:
        if together and notes[together[-1][0]].onset == notes[index].onset:
            together[-1].append(index)
        else:
            together.append([index])
    for place, group in enumerate(together):
        end = max(notes[index].end for index in group)
        if place + 1 < len(together):
            end = min(end, notes[together[place + 1][0]].onset)
        ends = tuple(notes[index].end for index in group)
        yield Sound(onset=notes[group[0]].onset, end=end, notes=tuple(group), ends=ends)


def bar_voices(
    bar: WrittenBar, voices: Mapping[VoiceName, Sequence[Sound]], notes: Sequence[Placement]
) -> dict[VoiceName, tuple[Chunk, ...]]:
    """The voices of a bar, each filled from bar line to bar line.

    An inner chord that begins where a held one is written anew, after a tie, shares its stem:
    two stems side by side would say nothing more.
    """
    found = {name: list(bar_voice(bar, voices[name])) for name in VOICE_NAMES}
    alone = []
    for sound in voices["inner"]:
        home: VoiceName = "lower" if notes[sound.notes[0]].right == "p" else "upper"
        span = _shared(found[home], sound, voices["inner"])
        if not span:
            alone.append(sound)
        for place in span:
            found[home][place] = _joined(found[home][place], sound, notes, place < span[-1])
    return {
        "upper": tuple(found["upper"]),
        "lower": tuple(found["lower"]),
        "inner": bar_voice(bar, alone),
    }


def _shared(chunks: Sequence[Chunk], sound: Sound, inner: Sequence[Sound]) -> range:
    """Places of the tied chunks whose stems an inner chord can share; none where it cannot."""
    first = next((at for at, chunk in enumerate(chunks) if chunk.onset == sound.onset), None)
    if first is None or not chunks[first].tied_back:
        return range(0)
    last = first
    while chunks[last].end < sound.end and chunks[last].tied_on:
        last += 1
        if last == len(chunks):
            return range(0)
    end = chunks[last].end
    another = any(sound.onset < other.onset < end for other in inner)
    return range(0) if end < sound.end or another else range(first, last + 1)


def _joined(chunk: Chunk, sound: Sound, notes: Sequence[Placement], goes_on: bool) -> Chunk:
    """The chunk with the notes of a chord that begins in it or was joined to one before it."""
    members = sorted((*chunk.notes, *sound.notes), key=lambda index: -notes[index].string)
    return replace(
        chunk,
        notes=tuple(members),
        tied_back=chunk.tied_back + (sound.notes if chunk.onset > sound.onset else ()),
        tied_on=chunk.tied_on + (sound.notes if goes_on else ()),
    )


def bar_voice(bar: WrittenBar, voice: Sequence[Sound]) -> tuple[Chunk, ...]:
    """A bar of one voice, filled from bar line to bar line with chords and rests."""
    chunks: list[Chunk] = []
    now = bar.start
    # Sounds of one voice do not overlap: only one can reach in from before the bar.
    first = bisect_right(voice, bar.start, key=lambda sound: sound.end)
    last = bisect_left(voice, bar.end, key=lambda sound: sound.onset)
    for sound in voice[first:last]:
        start, end = max(sound.onset, bar.start), min(sound.end, bar.end)
        chunks += _rests(bar, now, start)
        values = _values(bar, start, end)
        for value in values:
            chunks.append(
                Chunk(
                    onset=start,
                    value=value,
                    notes=sound.held(start),
                    tied_back=sound.held(start) if start > sound.onset else (),
                    tied_on=sound.held(start + value.length),
                )
            )
            start += value.length
        now = end
    chunks += _rests(bar, now, bar.end)
    return tuple(chunks)


def _rests(bar: WrittenBar, start: Beat, end: Beat) -> Iterator[Chunk]:
    for value in _values(bar, start, end) if start < end else ():
        yield Chunk(onset=start, value=value)
        start += value.length


def _values(bar: WrittenBar, start: Beat, end: Beat) -> tuple[NoteValue, ...]:
    origin, pulse = _meter(bar)
    return split(start - origin, end - origin, pulse=pulse, compound=bar.compound)


@once
def _meter(bar: WrittenBar) -> tuple[Beat, Beat]:
    """Where the first beat of a bar lies or would lie, and how long its beats are."""
    return bar.start - bar.missing, bar.pulse


def beams(chunks: Sequence[Chunk], bar: WrittenBar) -> Iterator[tuple[Chunk, ...]]:
    """Chunks in beam groups: notes shorter than a quarter within one beat of the meter."""
    group: list[Chunk] = []
    origin = bar.start - bar.missing
    beat: Beat | int = -1
    for chunk in chunks:
        here = (chunk.onset - origin) // bar.pulse
        short = bool(chunk.notes) and FLAGS.get(chunk.value.type, 0) > 0
        if group and not (short and here == beat):
            yield tuple(group)
            group = []
        if short:
            group.append(chunk)
            beat = here
        else:
            yield (chunk,)
    if group:
        yield tuple(group)


FLAGS = {"eighth": 1, "16th": 2, "32nd": 3, "64th": 4, "128th": 5, "256th": 6}
"""How many beams a note value has."""


def tuplet_groups(chunks: Sequence[Chunk], bar: WrittenBar) -> Iterator[tuple[Chunk, ...]]:
    """The chunks that stand under one tuplet bracket: same division, same beat."""
    group: list[Chunk] = []
    origin = bar.start - bar.missing

    def beat(chunk: Chunk) -> Beat | int:
        return (chunk.onset - origin) // bar.pulse

    for chunk in chunks:
        goes_on = (
            bool(group)
            and chunk.value.actual == group[-1].value.actual
            and beat(chunk) == beat(group[-1])
        )
        if group and not goes_on:
            yield tuple(group)
            group = []
        if chunk.value.actual != 1:
            group.append(chunk)
    if group:
        yield tuple(group)
