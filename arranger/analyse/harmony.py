"""Harmony: a chord for every moment, as a lead sheet of the piece would show it.

*Conventions* Time is cut into slots of half a beat. A dynamic program divides the slots
into segments and names each: a root and a quality, or no chord. A segment is scored by

- the pitch classes that sound in it (length, times a weight for the hand and for being
  struck on a beat; every slot sums to 1, off the beat
  to less): tones of the chord for it, strangers against it;
- the tones of the chord that do not sound in it at all;
- its bass: the note it begins on and, slot by slot, what lies lowest;
- the strength of the beat on which it begins, and whether it is long enough to be heard;
- tones of the chord that are foreign to the key.

Weights are in ``tables/harmony.toml``.

*References* Segments scored against chord templates: Pardo & Birmingham, *Algorithms for
Chordal Analysis* (2002); metrical strength: Temperley, *The Cognition of Basic Musical
Structures* (2001), ch. 6; dynamic program over segments of free length: Sarawagi & Cohen,
*Semi-Markov Conditional Random Fields* (2004).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from arranger.analyse.timeline import Bools, Floats, Ints, Measure, Timeline
from arranger.music.analysis import TextureSpan
from arranger.music.chord import Chord, ChordSpan
from arranger.music.key import KeySection
from arranger.tables import Table, load

# Strength of the place where a slot begins.
DOWNBEAT, STRONG, BEAT, OFF = range(4)

_PATTERNS = ("stride", "waltz", "compound", "broken")
_NO_BASS = 12


class HarmonyTable(Table):
    """``tables/harmony.toml``: see the comments there."""

    prior: dict[str, float]
    prior_in_hymns: dict[str, float]
    tone: tuple[float, float, float, float]
    stranger: float
    absent: tuple[float, float, float, float]
    heard: float
    heard_in_hymns: float
    bass: tuple[float, float, float, float]
    bass_stranger: float
    first_bass: tuple[float, float, float, float]
    first_bass_stranger: float
    first_bass_in_pattern: tuple[float, float, float, float]
    first_bass_stranger_in_pattern: float
    change: tuple[float, float, float, float]
    change_in_pattern: tuple[float, float, float, float]
    change_in_line: tuple[float, float, float, float]
    short: float
    outside_key: float
    left_hand_in_pattern: float
    struck_on_beat: float
    off_beat: float
    lone_bass: float
    no_chord: float
    no_chord_unison: float
    silence: float
    longest: int


def table() -> HarmonyTable:
    """The weights shipped with the package."""
    return load("harmony", HarmonyTable)


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
    def without_chord(self) -> Floats:
        """Running sums of what speaks for no chord: silence, or both hands on one line."""
        weights = table()
        slot = np.where(self.unison, weights.no_chord_unison, weights.no_chord)
        slot = np.where(self.bass == _NO_BASS, weights.silence, slot)
        return np.concatenate([[0.0], np.cumsum(slot)])

    @cached_property
    def change(self) -> Floats:
        """What a change of chord costs at the start of each slot."""
        weights = table()
        further = np.where(
            self.pattern,
            np.array(weights.change_in_pattern)[self.strength],
            np.array(weights.change_in_line)[self.strength] * ~self.hymn,
        )
        costs: Floats = np.array(weights.change)[self.strength] + further
        return costs

    @cached_property
    def lowest(self) -> Floats:
        """Running counts of the bass pitch classes; column 12 counts slots without one."""
        return np.vstack([np.zeros(13), np.cumsum(np.eye(13)[self.bass], axis=0)])


# ---- slots --------------------------------------------------------------------------


def slots(
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
    weights, lowest = _sounding(line, starts, ends, strengths, pattern)
    return Slots(
        start=starts,
        end=ends,
        strength=strengths,
        weights=weights,
        bass=_basses(lowest, strengths, pattern),
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
        pair = thumb if measure.compound else 2 * thumb
        first = -measure.phase % measure.half
        places = range(first, measure.end - measure.start, measure.half)
        if first:
            rows.append((measure.start, OFF, pair))
        for place in places:
            at = place + measure.phase
            strength = _strength(at, thumb, measure)
            rows.append((measure.start + place, strength, pair))
    starts, strengths, pairs = np.array(rows, dtype=np.int64).T
    return starts, strengths, pairs


def _strength(at: int, thumb: int, measure: Measure) -> int:
    if at == 0:
        return DOWNBEAT
    if measure.numerator == 3 and measure.denominator >= 8:
        return OFF  # 3/8 is felt in one
    if at % (thumb if measure.compound else 2 * thumb) == 0 and not measure.triple:
        return STRONG
    return BEAT if at % min(thumb, measure.beat) == 0 else OFF


def _sounding(
    line: Timeline, starts: Ints, ends: Ints, strengths: Ints, pattern: Bools
) -> tuple[Floats, Ints]:
    """Pitch class weights of each slot and its lowest pitch (or 1000)."""
    accompaniment, struck_weight = table().left_hand_in_pattern, table().struck_on_beat
    weights = np.zeros((len(starts), 12))
    lowest = np.full(len(starts), 1000, dtype=np.int64)
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
    weight = part * np.where(left, accompaniment, 1.0) * np.where(struck, struck_weight, 1.0)
    np.add.at(weights, (slot, line.midi[note] % 12), weight)
    np.minimum.at(lowest, slot, line.midi[note])
    sums = weights.sum(axis=1, keepdims=True)
    worth = np.where(strengths == OFF, table().off_beat, 1.0)[:, None]
    worth[pattern & (_left_voices(line, note, slot, len(starts)) == 1)] *= table().lone_bass
    return worth * weights / np.where(sums > 0, sums, 1.0), lowest


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
    bass = np.full(len(lowest), _NO_BASS, dtype=np.int64)
    held = 1000
    for slot, pitch in enumerate(lowest):
        if not pattern[slot] or strengths[slot] <= STRONG:
            held = int(pitch)
        if held < 1000:
            bass[slot] = held % 12
    return bass


_MAJOR = frozenset((0, 2, 4, 5, 7, 9, 11))
# The leading note belongs to minor keys as much as the seventh below the tonic.
_MINOR = frozenset((0, 2, 3, 5, 7, 8, 10, 11))


def _outside_key(
    line: Timeline, starts: Ints, keys: tuple[KeySection, ...], chords: tuple[Chord, ...]
) -> Floats:
    """Slots x chords: how many tones of the chord are foreign to the key of the place."""
    rows = np.zeros((len(keys), len(chords)))
    for row, section in enumerate(keys):
        scale = _MAJOR if section.key.mode == "major" else _MINOR
        tonic = section.key.tonic
        for column, chord in enumerate(chords):
            rows[row, column] = sum((tone - tonic) % 12 not in scale for tone in chord.tones)
    changes = np.array([line.ticks(section.start) for section in keys])
    outside: Floats = rows[np.searchsorted(changes, starts, side="right") - 1]
    return outside


# ---- scores -------------------------------------------------------------------------


def known_chords() -> tuple[Chord, ...]:
    """Every root with every quality that has a weight."""
    return tuple(Chord(root, quality, root) for quality in table().prior for root in range(12))


def _by_role(chords: tuple[Chord, ...], roles: tuple[float, ...], other: float) -> Floats:
    """Chords x 12: a weight for root, third, fifth and seventh of each, and for the rest."""
    matrix = np.full((len(chords), 12), other)
    for row, chord in enumerate(chords):
        for tone, weight in zip(chord.tones, roles, strict=False):
            matrix[row, tone] = weight
    return matrix


@dataclass(frozen=True, slots=True)
class Scorer:
    """The weights as matrices (chords x pitch classes), ready to score segments."""

    tone: Floats
    absent: Floats
    bass: Floats
    first_bass: Floats
    first_bass_in_pattern: Floats
    prior: Floats
    prior_in_hymns: Floats

    def segments(self, grid: Slots, starts: Ints, end: int) -> Floats:
        """Segments x (chords + 1): the score of the slots ``[start, end)`` for every start
        in ``starts``; the last column is no chord.
        """
        weights = table()
        heard = grid.heard[end] - grid.heard[starts]
        total = heard.sum(axis=1, keepdims=True)
        hymn = grid.hymn[starts, None]
        enough = np.where(hymn, weights.heard_in_hymns, weights.heard)
        share = heard / (enough * np.where(total > 0, total, 1.0))
        missing = (1.0 - np.minimum(1.0, share)) * (total > 0)
        lowest = grid.lowest[end] - grid.lowest[starts]
        score = heard @ self.tone.T + missing @ self.absent.T
        score += lowest[:, :_NO_BASS] @ self.bass.T
        bass = grid.bass[starts]
        pattern = grid.pattern[starts, None]
        score += np.where(pattern, self.first_bass_in_pattern.T[bass], self.first_bass.T[bass])
        score += np.where(hymn, self.prior_in_hymns, self.prior)
        score += weights.outside_key * grid.outside[starts]
        brief = grid.pattern[starts] & (
            grid.end[end - 1] - grid.start[starts] < grid.pair[starts]
        )
        score -= (grid.change[starts] + weights.short * brief)[:, None]
        without = grid.without_chord[end] - grid.without_chord[starts] - weights.change[OFF]
        return np.hstack([score, without[:, None]])


def scorer(chords: tuple[Chord, ...]) -> Scorer:
    """The shipped weights for a set of chords."""
    weights = table()
    none = np.zeros((len(chords), 1))
    first = _by_role(chords, weights.first_bass, weights.first_bass_stranger)
    in_pattern = _by_role(
        chords, weights.first_bass_in_pattern, weights.first_bass_stranger_in_pattern
    )
    return Scorer(
        tone=_by_role(chords, weights.tone, weights.stranger),
        absent=_by_role(chords, weights.absent, 0.0),
        bass=_by_role(chords, weights.bass, weights.bass_stranger),
        first_bass=np.hstack([first, none]),
        first_bass_in_pattern=np.hstack([in_pattern, none]),
        prior=np.array([weights.prior[chord.quality] for chord in chords]),
        prior_in_hymns=np.array([weights.prior_in_hymns[chord.quality] for chord in chords]),
    )


def best_segments(grid: Slots, score: Scorer) -> list[tuple[int, int, int]]:
    """The best division: ``(first slot, slot after the last, chord)``, no chord the last."""
    count = len(grid.start)
    best = np.full(count + 1, -np.inf)
    best[0] = 0.0
    back: list[tuple[int, int]] = [(0, 0)] * (count + 1)
    for end in range(1, count + 1):
        starts = np.arange(max(0, end - table().longest), end)
        total = score.segments(grid, starts, end) + best[starts, None]
        row, chord = divmod(int(total.argmax()), total.shape[1])
        best[end] = total[row, chord]
        back[end] = (int(starts[row]), chord)
    segments = []
    end = count
    while end > 0:
        start, chord = back[end]
        segments.append((start, end, chord))
        end = start
    return segments[::-1]


# ---- spans --------------------------------------------------------------------------


_Segment = tuple[int, int, int]


def find_chords(
    line: Timeline, keys: tuple[KeySection, ...], textures: tuple[TextureSpan, ...]
) -> tuple[ChordSpan, ...]:
    """Chord spans that cover the piece without gaps; neighbours differ."""
    chords = known_chords()
    grid = slots(line, keys, textures, chords)
    segments = _enriched(joined(best_segments(grid, scorer(chords))), grid, chords)
    heard = [None if chord == len(chords) else chords[chord] for _, _, chord in segments]
    spans: list[ChordSpan] = []
    for (first, last, _), chord, following in zip(
        segments, heard, [*heard[1:], None], strict=True
    ):
        named = chord and _with_bass(_spelt(chord, following), grid, first, last)
        start = line.beats(grid.start[first])
        if spans and spans[-1].chord == named:
            start = spans.pop().start
        end = line.beats(grid.end[last - 1])
        spans.append(ChordSpan(start=start, end=end, chord=named))
    return tuple(spans)


def joined(segments: list[_Segment]) -> list[_Segment]:
    """Neighbours with one chord as one segment."""
    result: list[_Segment] = []
    for start, end, chord in segments:
        if result and result[-1][2] == chord:
            result[-1] = (result[-1][0], end, chord)
        else:
            result.append((start, end, chord))
    return result


def _enriched(
    segments: list[_Segment], grid: Slots, chords: tuple[Chord, ...]
) -> list[_Segment]:
    """G and then G7 inside one bar become G7, as a song book has it; hymns keep both."""
    result: list[_Segment] = []
    for start, end, chord in segments:
        if result and not grid.hymn[start]:
            before, _, other = result[-1]
            within = grid.bar[before] == grid.bar[end - 1]
            if within and _is_richer(chords, chord, other):
                result[-1] = (before, end, chord)
                continue
            if within and _is_richer(chords, other, chord):
                result[-1] = (before, end, other)
                continue
        result.append((start, end, chord))
    return result


def _is_richer(chords: tuple[Chord, ...], one: int, other: int) -> bool:
    """Whether chord ``one`` is chord ``other`` with a seventh or a sixth added."""
    if len(chords) in (one, other) or chords[one].root != chords[other].root:
        return False
    return set(chords[one].tones) >= set(chords[other].tones)


def _spelt(chord: Chord, following: Chord | None) -> Chord:
    """A diminished seventh takes its name from the tone that leads into the next root."""
    if chord.quality == "dim7" and following is not None:
        leading = (following.root - 1) % 12
        if leading in chord.tones:
            return replace(chord, root=leading, bass=leading)
    return chord


def _with_bass(chord: Chord, grid: Slots, first: int, last: int) -> Chord:
    """The chord with its bass: the root where the bass touches it, else what it begins on."""
    basses = [int(bass) for bass in grid.bass[first:last] if bass != _NO_BASS]
    if not basses or chord.root in basses:
        return chord
    return _renamed(chord, basses[0], hymn=bool(grid.hymn[first]))


# A sixth chord with another bass than its root is the seventh chord a third lower.
_SAME_TONES = {"6": "m7", "m6": "m7b5"}


def _renamed(chord: Chord, bass: int, *, hymn: bool) -> Chord:
    """The chord over a bass that is not its root, by the name a guitarist knows."""
    if chord.quality in _SAME_TONES:
        return Chord((chord.root - 3) % 12, _SAME_TONES[chord.quality], bass)
    stacked = replace(chord, quality="dim7") if chord.quality == "dim" else chord
    if stacked.quality == "dim7" and bass in stacked.tones and not hymn:
        return Chord(bass, "dim7", bass)
    return replace(chord, bass=bass)
