"""The grid on which harmony is heard: what sounds in every half beat of a piece."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np

from arranger.analyse.chord_weights import chord_weights
from arranger.analyse.timeline import Bools, Floats, Ints, Measure, Timeline
from arranger.music.analysis import TextureSpan
from arranger.music.chord import Chord
from arranger.music.key import Key, KeySection

# Strength of the place where a half beat begins.
DOWNBEAT, STRONG, BEAT, OFF = range(4)

NO_BASS = 12
SILENT = 1000
"""Above every MIDI number: no note."""
_PATTERNS = ("stride", "waltz", "compound", "broken")


@dataclass(frozen=True, kw_only=True)
class Slots:
    """Half beats of a piece; every array has one row a slot.

    ``start``, ``end`` in ticks; ``strength`` of the place; ``weights`` of the pitch
    classes (rows sum to 1, less off the beat, 0 in silence); ``bass`` pitch class or 12;
    ``outside`` tones of each chord (columns: ``chords``) foreign to the key; ``pair``
    how long bass and chord last, in ticks; ``bar`` its index; ``pattern`` where bass and
    chord alternate; ``unison``, ``hymn`` the textures.
    """

    start: Ints
    end: Ints
    strength: Ints
    weights: Floats
    bass: Ints
    ground: Ints
    outside: Floats
    pair: Ints
    bar: Ints
    pattern: Bools
    unison: Bools
    hymn: Bools

    @cached_property
    def heard(self) -> Floats:
        """Running sums of ``weights``: row n is the sum over the first n slots."""
        return np.vstack([np.zeros(12), np.cumsum(self.weights, axis=0)])

    @cached_property
    def lowest(self) -> Floats:
        """Running counts of the bass pitch classes; column 12 counts slots without one."""
        return np.vstack([np.zeros(13), np.cumsum(np.eye(13)[self.bass], axis=0)])


def half_beats(
    line: Timeline,
    keys: tuple[KeySection, ...],
    textures: tuple[TextureSpan, ...],
    chords: tuple[Chord, ...],
) -> Slots:
    """The harmony grid of a piece."""
    starts, strengths, pairs = _grid(line, textures)
    bars = np.array([measure.start for measure in line.measures])
    ends = np.append(starts[1:], line.last)
    span_starts = np.array([line.ticks(span.start) for span in textures])
    texture = np.searchsorted(span_starts, starts, side="right") - 1
    pattern = np.array([textures[i].texture in _PATTERNS for i in texture], dtype=np.bool_)
    unison = np.array([textures[i].texture == "unison" for i in texture], dtype=np.bool_)
    hymn = np.array([textures[i].texture == "hymn" for i in texture], dtype=np.bool_)
    weights, lowest, ground = _sounding(line, starts, ends, strengths, pattern)
    return Slots(
        start=starts,
        end=ends,
        strength=strengths,
        weights=weights,
        bass=_basses(lowest, strengths, pattern),
        ground=_basses(ground, strengths, pattern),
        outside=_outside_key(line, starts, keys, chords),
        pair=pairs,
        bar=np.searchsorted(bars, starts, side="right") - 1,
        pattern=pattern,
        unison=unison,
        hymn=hymn,
    )


def _grid(line: Timeline, textures: tuple[TextureSpan, ...]) -> tuple[Ints, Ints, Ints]:
    """Starts of the slots, the strength of each place, and how long bass and chord last."""
    rows: list[tuple[int, int, int]] = []
    spans = iter(textures)
    span = next(spans)
    for measure in line.measures:
        while line.ticks(span.end) <= measure.start:
            span = next(spans)
        thumb = line.ticks(span.thumb_beat)
        march = measure.compound and _marches(line, measure, thumb)
        pair = thumb if measure.compound and not march else 2 * thumb
        first = -measure.phase % measure.half
        places = range(first, measure.end - measure.start, measure.half)
        if first:
            rows.append((measure.start, OFF, pair))
        for place in places:
            at = place + measure.phase
            strength = _strength(at, thumb, measure, march=march)
            rows.append((measure.start + place, strength, pair))
    starts, strengths, pairs = np.array(rows, dtype=np.int64).T
    return starts, strengths, pairs


def _marches(line: Timeline, measure: Measure, thumb: int) -> bool:
    """Whether bass and chord go one and, two and through a bar of dotted beats.

    Then the bar has one chord, whose bass alternates; where the left hand plays otherwise
    a dotted beat is a small bar of its own.
    """
    inside = (line.onset >= measure.start) & (line.onset < measure.end) & ~line.right
    at = (line.onset[inside] - measure.start + measure.phase) % thumb
    basses = len(np.unique(line.onset[inside][at == 0]))
    chords = int(np.count_nonzero(at > 0)) - len(np.unique(line.onset[inside][at > 0]))
    return basses > 1 and chords > 0 and len(at) - np.count_nonzero(at) == basses


def _strength(at: int, thumb: int, measure: Measure, *, march: bool) -> int:
    if at == 0 or (measure.compound and not march and at % thumb == 0):
        return DOWNBEAT  # a dotted beat of 6/8 is a small bar
    if march and at % thumb == 0:
        return STRONG
    if measure.numerator == 3 and measure.denominator >= 8:
        return OFF  # 3/8 is felt in one
    if not measure.triple and not measure.compound and at % (2 * thumb) == 0:
        return STRONG
    return BEAT if at % min(thumb, measure.beat) == 0 else OFF


def _sounding(
    line: Timeline, starts: Ints, ends: Ints, strengths: Ints, pattern: Bools
) -> tuple[Floats, Ints, Ints]:
    """Pitch class weights of each slot, its lowest pitch and the left hand's (or SILENT)."""
    table = chord_weights()
    weights = np.zeros((len(starts), 12))
    lowest = np.full(len(starts), SILENT, dtype=np.int64)
    ground = lowest.copy()
    notes = np.flatnonzero(~line.grace)
    first = np.searchsorted(ends, line.onset[notes], side="right")
    counts = np.searchsorted(starts, line.end[notes], side="left") - first
    note = np.repeat(notes, counts)
    slot = np.arange(len(note)) - np.repeat(np.cumsum(counts) - counts, counts)
    slot = slot + np.repeat(first, counts)
    onset = line.onset[note]
    part = np.minimum(line.end[note], ends[slot]) - np.maximum(onset, starts[slot])
    struck = (onset == starts[slot]) & (strengths[slot] < OFF)
    left = ~line.right[note] & pattern[slot]
    weight = (
        part
        * np.where(left, table.left_hand_in_pattern, 1.0)
        * np.where(struck, table.struck_on_beat, 1.0)
    )
    np.add.at(weights, (slot, line.midi[note] % 12), weight)
    np.minimum.at(lowest, slot, line.midi[note])
    np.minimum.at(ground, slot, np.where(line.right[note], SILENT, line.midi[note]))
    sums = weights.sum(axis=1, keepdims=True)
    worth = np.where(strengths == OFF, table.off_beat, 1.0)[:, None]
    worth[pattern & (_left_voices(line, note, slot, len(starts)) == 1)] *= table.lone_bass
    return worth * weights / np.where(sums > 0, sums, 1.0), lowest, ground


def _left_voices(line: Timeline, note: Ints, slot: Ints, count: int) -> Ints:
    """How many pitch classes the left hand sounds in each slot."""
    sounds = np.zeros((count, 12), dtype=np.int64)
    left = ~line.right[note]
    sounds[slot[left], line.midi[note[left]] % 12] = 1
    voices: Ints = sounds.sum(axis=1)
    return voices


def _basses(lowest: Ints, strengths: Ints, pattern: Bools) -> Ints:
    """Pitch class of the bass of each slot, 12 where there is none.

    Where bass and chord alternate, the bass of a strong beat lasts until the next one.
    """
    bass = np.full(len(lowest), NO_BASS, dtype=np.int64)
    held = SILENT
    for slot, pitch in enumerate(lowest):
        if not pattern[slot] or strengths[slot] <= STRONG:
            held = int(pitch)
        if held < SILENT:
            bass[slot] = held % 12
    return bass


_MAJOR = frozenset((0, 2, 4, 5, 7, 9, 11))
# The leading note belongs to minor keys as much as the seventh below the tonic.
_MINOR = frozenset((0, 2, 3, 5, 7, 8, 10, 11))


@cache
def _foreign(chords: tuple[Chord, ...], key: Key) -> tuple[float, ...]:
    """How many tones of each chord are foreign to the key."""
    scale = _MAJOR if key.mode == "major" else _MINOR
    foreign = [tone for tone in range(12) if (tone - key.tonic) % 12 not in scale]
    return tuple(float(sum(tone in foreign for tone in chord.tones)) for chord in chords)


def _outside_key(
    line: Timeline, starts: Ints, keys: tuple[KeySection, ...], chords: tuple[Chord, ...]
) -> Floats:
    """Slots x chords: how many tones of the chord are foreign to the key of the place."""
    rows = np.array([_foreign(chords, section.key) for section in keys])
    changes = np.array([line.ticks(section.start) for section in keys])
    outside: Floats = rows[np.searchsorted(changes, starts, side="right") - 1]
    return outside
