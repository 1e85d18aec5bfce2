"""Harmony: a chord for every moment, as a lead sheet of the piece would show it.

*Conventions* Time is cut into slots of half a beat. A state of the dynamic program is a
root and a quality, or no chord. A slot speaks for a chord by the pitch classes that
sound in it (length, times a weight for the hand and for being struck on a beat; scaled
to sum 1) and by its bass; a change of chord costs the more the weaker the beat it falls
on. Weights are in ``tables/harmony.toml``.

*References* Viterbi over half beats with metrical change costs: after Pardo &
Birmingham, *Algorithms for Chordal Analysis* (2002), and Temperley, *The Cognition of
Basic Musical Structures* (2001), ch. 6.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from arranger.analyse.timeline import Floats, Ints, Timeline
from arranger.music.analysis import TextureSpan
from arranger.music.chord import QUALITIES, Chord, ChordSpan
from arranger.music.key import KeySection
from arranger.tables import Table, load

# Strength of the place where a slot begins.
DOWNBEAT, STRONG, BEAT, OFF = range(4)


class HarmonyTable(Table):
    """``tables/harmony.toml``: see the comments there."""

    qualities: tuple[str, ...]
    prior: dict[str, float]
    member: tuple[float, float, float, float]
    stranger: float
    bass: tuple[float, float, float, float]
    bass_stranger: float
    change: tuple[float, float, float, float]
    weak_beat_in_pattern: float
    outside_key: float
    left_hand: float
    struck_on_beat: float
    no_chord: float
    no_chord_unison: float
    silence: float


def _table() -> HarmonyTable:
    return load("harmony", HarmonyTable)


@dataclass(frozen=True, slots=True, kw_only=True)
class Slots:
    """Half beats: ``start`` and ``end`` in ticks, ``strength`` of the place, ``weights``
    of the pitch classes (rows sum to 1, or 0 in silence), ``bass`` pitch class or -1,
    ``pattern`` whether bass and chord alternate there, ``unison``.
    """

    start: Ints
    end: Ints
    strength: Ints
    weights: Floats
    bass: Ints
    pattern: Ints
    unison: Ints


# ---- slots --------------------------------------------------------------------------


def _edges(line: Timeline, textures: tuple[TextureSpan, ...]) -> tuple[list[int], list[int]]:
    """Starts of the slots, and the strength of each place."""
    starts: list[int] = []
    strengths: list[int] = []
    spans = iter(textures)
    span = next(spans)
    for measure in line.measures:
        while line.ticks(span.end) <= measure.start:
            span = next(spans)
        thumb = line.ticks(span.thumb_beat)
        for at in range(0, max(measure.full, measure.phase + 1), measure.half):
            start = measure.start + at - measure.phase
            if not measure.start <= start < measure.end:
                continue
            starts.append(start)
            strengths.append(_strength(at, thumb, measure.beat, triple=measure.triple))
    if starts[0] > 0:
        starts.insert(0, 0)
        strengths.insert(0, OFF)
    return starts, strengths


def _strength(at: int, thumb: int, beat: int, *, triple: bool) -> int:
    if at == 0:
        return DOWNBEAT
    if not triple and at % (2 * thumb) == 0:
        return STRONG
    return BEAT if at % min(thumb, beat) == 0 else OFF


def _weights(line: Timeline, starts: Ints, ends: Ints, strengths: Ints) -> Floats:
    """Slots x 12: how much each pitch class says in each slot; rows sum to 1 or 0."""
    table = _table()
    weights = np.zeros((len(starts), 12))
    first = np.searchsorted(ends, line.onset, side="right")
    last = np.searchsorted(starts, line.end, side="left")
    for note in np.flatnonzero(~line.grace):
        pitch_class = line.midi[note] % 12
        hand = 1.0 if line.right[note] else table.left_hand
        for slot in range(first[note], last[note]):
            begin = max(line.onset[note], starts[slot])
            part = (min(line.end[note], ends[slot]) - begin) / line.unit
            struck = line.onset[note] == starts[slot] and strengths[slot] < OFF
            weights[slot, pitch_class] += (
                part * hand * (table.struck_on_beat if struck else 1.0)
            )
    sums = weights.sum(axis=1, keepdims=True)
    scaled: Floats = weights / np.where(sums > 0, sums, 1.0)
    return scaled


def _basses(line: Timeline, starts: Ints, ends: Ints, strengths: Ints, pattern: Ints) -> Ints:
    """Pitch class of the lowest note of each slot; in a pattern the strong beat's bass
    lasts until the next strong beat; -1 in silence.
    """
    lowest = np.full(len(starts), 1000, dtype=np.int64)
    first = np.searchsorted(ends, line.onset, side="right")
    last = np.searchsorted(starts, line.end, side="left")
    for note in np.flatnonzero(~line.grace):
        for slot in range(first[note], last[note]):
            lowest[slot] = min(lowest[slot], line.midi[note])
    held = -1
    bass = np.full(len(starts), -1, dtype=np.int64)
    for slot, pitch in enumerate(lowest):
        if not pattern[slot] or strengths[slot] <= STRONG or (held >= 0 and pitch < held):
            held = int(pitch) if pitch < 1000 else -1
        bass[slot] = held % 12 if held >= 0 else -1
    return bass


_PATTERNS = ("stride", "waltz", "compound")


def slots(line: Timeline, textures: tuple[TextureSpan, ...]) -> Slots:
    """The harmony grid of a piece."""
    edges, strength = _edges(line, textures)
    starts = np.array(edges, dtype=np.int64)
    ends = np.append(starts[1:], line.last)
    strengths = np.array(strength, dtype=np.int64)
    span_starts = np.array([line.ticks(span.start) for span in textures])
    texture = np.searchsorted(span_starts, starts, side="right") - 1
    pattern = np.array([textures[i].texture in _PATTERNS for i in texture], dtype=np.int64)
    unison = np.array([textures[i].texture == "unison" for i in texture], dtype=np.int64)
    return Slots(
        start=starts,
        end=ends,
        strength=strengths,
        weights=_weights(line, starts, ends, strengths),
        bass=_basses(line, starts, ends, strengths, pattern),
        pattern=pattern,
        unison=unison,
    )


# ---- the dynamic program ------------------------------------------------------------


def states() -> list[Chord]:
    """Every root with every quality, in the order of the rows of the program."""
    return [Chord(root, q, root) for q in _table().qualities for root in range(12)]


def _tone_matrix() -> Floats:
    """States x 12: what a share of a pitch class adds to a chord."""
    table = _table()
    matrix = np.full((len(states()), 12), table.stranger)
    for row, chord in enumerate(states()):
        for tone, weight in zip(chord.tones[:4], table.member, strict=False):
            matrix[row, tone] = weight
    return matrix


def _bass_matrix() -> Floats:
    """States x 13: what a bass note adds to a chord; the last column is no bass."""
    table = _table()
    matrix = np.full((len(states()), 13), table.bass_stranger)
    matrix[:, 12] = 0.0
    for row, chord in enumerate(states()):
        for tone, weight in zip(chord.tones[:4], table.bass, strict=False):
            matrix[row, tone] = weight
    return matrix


_MAJOR = frozenset((0, 2, 4, 5, 7, 9, 11))
# The leading note belongs to minor keys as much as the seventh below the tonic.
_MINOR = frozenset((0, 2, 3, 5, 7, 8, 10, 11))


def _outside_key(line: Timeline, grid: Slots, keys: tuple[KeySection, ...]) -> Floats:
    """Slots x states: tones of the chord that are foreign to the key of the place."""
    rows = []
    for section in keys:
        scale = _MAJOR if section.key.mode == "major" else _MINOR
        rows.append(
            [
                sum((tone - section.key.tonic) % 12 not in scale for tone in chord.tones)
                for chord in states()
            ]
        )
    starts = np.array([line.ticks(section.start) for section in keys])
    section_of = np.searchsorted(starts, grid.start, side="right") - 1
    return np.array(rows, dtype=np.float64)[section_of]


def emissions(line: Timeline, grid: Slots, keys: tuple[KeySection, ...]) -> Floats:
    """Slots x (states + 1): what each slot says for each chord; the last is no chord."""
    table = _table()
    score = grid.weights @ _tone_matrix().T + _bass_matrix().T[grid.bass]
    score += np.array([table.prior.get(chord.quality, 0.0) for chord in states()])
    score += table.outside_key * _outside_key(line, grid, keys)
    silent = grid.bass < 0
    score[silent] = 0.0
    none = np.where(grid.unison == 1, table.no_chord_unison, table.no_chord)
    none = np.where(silent, table.silence, none)
    return np.hstack([score, none[:, None]])


def change_costs(grid: Slots) -> Floats:
    """What a change of chord costs at the start of each slot."""
    table = _table()
    costs = np.array(table.change)[grid.strength]
    weak = (grid.pattern == 1) & (grid.strength >= BEAT)
    return np.where(weak, costs + table.weak_beat_in_pattern, costs)


def viterbi(score: Floats, costs: Floats) -> Ints:
    """The best state of every slot."""
    count, kinds = score.shape
    back = np.zeros((count, kinds), dtype=np.int64)
    best = score[0].copy()
    stay = np.arange(kinds)
    for slot in range(1, count):
        top = int(best.argmax())
        jump = best[top] - costs[slot]
        back[slot] = np.where(best >= jump, stay, top)
        best = np.maximum(best, jump) + score[slot]
    path = np.zeros(count, dtype=np.int64)
    path[-1] = best.argmax()
    for slot in range(count - 1, 0, -1):
        path[slot - 1] = back[slot, path[slot]]
    return path


# ---- spans --------------------------------------------------------------------------


def _with_bass(chord: Chord, grid: Slots, first: int, last: int) -> Chord:
    """The chord with its bass: the root where the bass touches it, else what it begins on."""
    basses = [int(bass) for bass in grid.bass[first:last] if bass >= 0]
    if not basses or chord.root in basses:
        return chord
    return Chord(chord.root, chord.quality, basses[0])


def find_chords(
    line: Timeline, keys: tuple[KeySection, ...], textures: tuple[TextureSpan, ...]
) -> tuple[ChordSpan, ...]:
    """Chord spans that cover the piece without gaps; neighbours differ."""
    grid = slots(line, textures)
    path = viterbi(emissions(line, grid, keys), change_costs(grid))
    names = states()
    cuts = [0, *(i for i in range(1, len(path)) if path[i] != path[i - 1]), len(path)]
    spans = []
    for first, last in pairwise(cuts):
        state = int(path[first])
        chord = None if state == len(names) else _with_bass(names[state], grid, first, last)
        spans.append(
            ChordSpan(
                start=line.beats(grid.start[first]),
                end=line.beats(grid.end[last - 1]),
                chord=chord,
            )
        )
    return tuple(spans)


# Kept here so that a wrong name in the table is found when the module's table is read.
def unknown_qualities() -> set[str]:
    """Names in the table that ``music.chord`` does not know."""
    return set(_table().qualities) - set(QUALITIES)
