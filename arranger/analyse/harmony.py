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

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache, cached_property

import numpy as np

from arranger.analyse.chord_weights import HarmonyTable, chord_weights
from arranger.analyse.half_beats import NO_BASS, Slots, half_beats
from arranger.analyse.timeline import Floats, Ints, Timeline
from arranger.music.analysis import TextureSpan
from arranger.music.chord import Chord, ChordSpan
from arranger.music.equal_bars import agreed, heads
from arranger.music.key import KeySection
from arranger.music.score import Bar, Score
from arranger.music.time import Beat

AT_ONCE = 8
"""Ends of segments that are scored together: more than pays for the call, and few enough that
the products stay on one core."""

ROLES = 4
"""Root, third, fifth and seventh have weights of their own."""


def known_chords() -> tuple[Chord, ...]:
    """Every root with every quality that has a weight."""
    return tuple(
        Chord(root, quality, root) for quality in chord_weights().prior for root in range(12)
    )


@cache
def _roles(chords: tuple[Chord, ...]) -> tuple[Ints, Ints, Ints]:
    """Every tone of every chord, as far as tones have roles: chord, pitch class, role."""
    found = [
        (row, tone, role)
        for row, chord in enumerate(chords)
        for role, tone in enumerate(chord.tones[:ROLES])
    ]
    rows, tones, roles = np.array(found, dtype=np.int64).T
    return rows, tones, roles


@cache
def _altered_fifths(chords: tuple[Chord, ...]) -> tuple[Ints, Ints]:
    """The diminished and augmented fifths: chord, pitch class."""
    found = [
        (row, chord.fifth)
        for row, chord in enumerate(chords)
        if chord.fifth is not None and (chord.fifth - chord.root) % 12 != 7
    ]
    rows, fifths = np.array(found, dtype=np.int64).reshape(-1, 2).T
    return rows, fifths


@dataclass(frozen=True, kw_only=True)
class Scorer:
    """Scores segments of a piece against chords, with the weights given."""

    weights: HarmonyTable
    chords: tuple[Chord, ...]
    grid: Slots

    def segments(self, starts: Ints, ends: Ints) -> Floats:
        """The scores of the half beats ``[start, end)``, as many as there are starts and ends.

        Rows are segments, columns ``chords`` and, last, no chord.
        """
        grid = self.grid
        heard = grid.heard[ends] - grid.heard[starts]
        lowest = grid.lowest[ends] - grid.lowest[starts]
        score = heard @ self._tone.T + self._missing(heard, starts) @ self._absent.T
        score += lowest[:, :NO_BASS] @ self._bass.T
        score += self._beginning[starts]
        score += self._named[starts]
        score += self._outside[starts]
        score -= self._costs(starts, ends)[:, None]
        without = self._without[ends] - self._without[starts] - self._enter[starts]
        return np.hstack([score, without[:, None]])

    def _missing(self, heard: Floats, starts: Ints) -> Floats:
        """How far each pitch class is from being heard in the segments, 0..1."""
        total = heard.sum(axis=1, keepdims=True)
        share = heard / (self._enough[starts] * np.where(total > 0, total, 1.0))
        missing: Floats = (1.0 - np.minimum(1.0, share)) * (total > 0)
        return missing

    def _costs(self, starts: Ints, ends: Ints) -> Floats:
        """What it costs to begin a chord at each start and to leave it at its end."""
        grid = self.grid
        length = grid.end[ends - 1] - grid.start[starts]
        brief = grid.pattern[starts] & (length < grid.pair[starts])
        costs: Floats = self._change[starts] + self.weights.short * brief
        return costs

    @cached_property
    def _change(self) -> Floats:
        """The cost of a change at each half beat."""
        weights, strength = self.weights, self.grid.strength
        in_pattern = np.array(weights.change_in_pattern)[strength]
        in_line = np.array(weights.change_in_line)[strength] * ~self.grid.hymn
        further = np.where(self.grid.pattern, in_pattern, in_line)
        costs: Floats = np.array(weights.change)[strength] + further
        return costs

    @cached_property
    def _without(self) -> Floats:
        """Running sums of what speaks for no chord: silence, or both hands on one line."""
        weights, grid = self.weights, self.grid
        each = np.where(grid.unison, weights.no_chord_unison, weights.no_chord)
        each = np.where(grid.bass == NO_BASS, weights.silence, each)
        return np.concatenate([[0.0], np.cumsum(each)])

    @cached_property
    def _beginning(self) -> Floats:
        """Slots x chords: the weight of the bass with which a segment begins."""
        bass, pattern = self.grid.bass, self.grid.pattern[:, None]
        beginning: Floats = np.where(
            pattern, self._first_in_pattern.T[bass], self._first.T[bass]
        )
        return beginning

    @cached_property
    def _named(self) -> Floats:
        """Slots x chords: how common a chord is where a segment begins."""
        named: Floats = np.where(self.grid.hymn[:, None], self._prior_in_hymns, self._prior)
        return named

    @cached_property
    def _outside(self) -> Floats:
        outside: Floats = self.weights.outside_key * self.grid.outside
        return outside

    @cached_property
    def _enough(self) -> Floats:
        """The share of what sounds from which on a tone is heard, where a segment begins."""
        weights = self.weights
        enough = np.where(self.grid.hymn, weights.heard_in_hymns, weights.heard)[:, None]
        return enough

    @cached_property
    def _enter(self) -> Floats:
        """The cost of a segment without a chord."""
        return np.where(self.grid.unison, 0.0, self.weights.no_chord_enter)

    def _by_role(self, roles: tuple[float, ...], other: float) -> Floats:
        """Chords x 13: a weight for the root, third, fifth and seventh of each chord, and
        for every other pitch class; the last column, no note, is 0.
        """
        matrix = np.full((len(self.chords), NO_BASS + 1), other)
        matrix[:, NO_BASS] = 0.0
        places, tones, role = _roles(self.chords)
        matrix[places, tones] = np.array(roles)[role]
        return matrix

    @cached_property
    def _tone(self) -> Floats:
        return self._by_role(self.weights.tone, self.weights.stranger)[:, :NO_BASS]

    @cached_property
    def _absent(self) -> Floats:
        """As by role; a diminished or augmented fifth has to be heard, a perfect one less."""
        matrix = self._by_role(self.weights.absent, 0.0)[:, :NO_BASS]
        matrix[_altered_fifths(self.chords)] += self.weights.absent_altered_fifth
        return matrix

    @cached_property
    def _bass(self) -> Floats:
        return self._by_role(self.weights.bass, self.weights.bass_stranger)[:, :NO_BASS]

    @cached_property
    def _first(self) -> Floats:
        return self._by_role(self.weights.first_bass, self.weights.first_bass_stranger)

    @cached_property
    def _first_in_pattern(self) -> Floats:
        weights = self.weights
        return self._by_role(
            weights.first_bass_in_pattern, weights.first_bass_stranger_in_pattern
        )

    @cached_property
    def _prior(self) -> Floats:
        return np.array([self.weights.prior[chord.quality] for chord in self.chords])

    @cached_property
    def _prior_in_hymns(self) -> Floats:
        return np.array([self.weights.prior_in_hymns[chord.quality] for chord in self.chords])


Segment = tuple[int, int, int]


def best_segments(score: Scorer) -> list[Segment]:
    """The best division: ``(first half beat, the one after the last, chord)``.

    A chord is an index into ``score.chords``, their number is no chord; neighbours differ.
    """
    count = len(score.grid.start)
    best = np.full(count + 1, -np.inf)
    best[0] = 0.0
    back: list[tuple[int, int]] = [(0, 0)] * (count + 1)
    for end, first, scores in _by_end(score):
        total = scores + best[first:end, None]
        row, chord = divmod(int(total.argmax()), total.shape[1])
        best[end] = total[row, chord]
        back[end] = (first + row, chord)
    segments: list[Segment] = []
    end = count
    while end > 0:
        start, chord = back[end]
        last = segments.pop()[1] if segments and segments[-1][2] == chord else end
        segments.append((start, last, chord))
        end = start
    return segments[::-1]


def _by_end(score: Scorer) -> Iterator[tuple[int, int, Floats]]:
    """For every end the first start of a segment that ends there, and the scores of all.

    Many ends are scored at once: each has too few segments to be worth a call of its own.
    """
    count, longest = len(score.grid.start), score.weights.longest
    for block in range(1, count + 1, AT_ONCE):
        ends = range(block, min(block + AT_ONCE, count + 1))
        firsts = [max(0, end - longest) for end in ends]
        sizes = [end - first for first, end in zip(firsts, ends, strict=True)]
        starts = np.concatenate([np.arange(*each) for each in zip(firsts, ends, strict=True)])
        scores = score.segments(starts, np.repeat(ends, sizes))
        places = np.cumsum(sizes)[:-1]
        yield from zip(ends, firsts, np.split(scores, places), strict=True)


def find_chords(
    line: Timeline, keys: tuple[KeySection, ...], textures: tuple[TextureSpan, ...]
) -> tuple[ChordSpan, ...]:
    """Chord spans that cover the piece without gaps; neighbours differ."""
    chords = known_chords()
    grid = half_beats(line, keys, textures, chords)
    score = Scorer(weights=chord_weights(), chords=chords, grid=grid)
    segments = _enriched(best_segments(score), grid, chords)
    heard = [None if chord == len(chords) else chords[chord] for _, _, chord in segments]
    spans: list[ChordSpan] = []
    for place, ((first, last, _), chord) in enumerate(zip(segments, heard, strict=True)):
        following = segments[place + 1] if place + 1 < len(segments) else None
        lands = () if following is None else _lands(heard[place + 1], grid, following)
        named = chord and (_leading(chord, lands) or _with_bass(chord, grid, first, last))
        start = line.beats(grid.start[first])
        if spans and spans[-1].chord == named:
            start = spans.pop().start
        end = line.beats(grid.end[last - 1])
        spans.append(ChordSpan(start=start, end=end, chord=named))
    return tuple(spans)


def alike_in_equal_bars(
    score: Score, spans: tuple[ChordSpan, ...], same: tuple[int | None, ...]
) -> tuple[ChordSpan, ...]:
    """The spans with the same chords in bars that hold the same notes.

    ``same`` is ``Analysis.same_as``. What most of the equal bars have wins, and of two that
    are as common the one heard first: a player meets a bar again and finds it as it was.
    """
    starts = [span.start for span in spans]
    cells = [
        _cell(bar, spans[bisect_right(starts, bar.start) - 1 : bisect_left(starts, bar.end)])
        for bar in score.bars
    ]
    kinds = heads(same)
    heard = agreed(zip(kinds, cells, strict=True))
    result: list[ChordSpan] = []
    for bar, kind in zip(score.bars, kinds, strict=True):
        cell = heard[kind]
        ends = [*(at for at, _ in cell[1:]), bar.length]
        for (at, chord), until in zip(cell, ends, strict=True):
            start, end = bar.start + at, bar.start + until
            if result and result[-1].chord == chord:
                start = result.pop().start
            result.append(ChordSpan(start=start, end=end, chord=chord))
    return tuple(result)


_Cell = tuple[tuple[Beat, Chord | None], ...]


def _cell(bar: Bar, sounding: tuple[ChordSpan, ...]) -> _Cell:
    """The chords of one bar, each with its place after the bar line."""
    return tuple((max(span.start, bar.start) - bar.start, span.chord) for span in sounding)


def _enriched(segments: list[Segment], grid: Slots, chords: tuple[Chord, ...]) -> list[Segment]:
    """G and then G7 inside one bar become G7, as a song book has it; hymns keep both.

    B dim beside G7 is G7 without its root.
    """
    result: list[Segment] = []
    for start, end, chord in segments:
        if result and not grid.hymn[start]:
            before, _, other = result[-1]
            within = grid.bar[before] == grid.bar[end - 1]
            if (within and _is_richer(chords, chord, other)) or _lacks_root(
                chords, other, chord
            ):
                result[-1] = (before, end, chord)
                continue
            if (within and _is_richer(chords, other, chord)) or _lacks_root(
                chords, chord, other
            ):
                result[-1] = (before, end, other)
                continue
        result.append((start, end, chord))
    return result


def _lacks_root(chords: tuple[Chord, ...], one: int, other: int) -> bool:
    """Whether chord ``one`` is a diminished triad and ``other`` the seventh chord around it."""
    if len(chords) in (one, other) or chords[one].quality != "dim":
        return False
    return chords[other].quality == "7" and set(chords[one].tones) < set(chords[other].tones)


def _is_richer(chords: tuple[Chord, ...], one: int, other: int) -> bool:
    """Whether chord ``one`` is chord ``other`` with a seventh or a sixth added."""
    if len(chords) in (one, other) or chords[one].root != chords[other].root:
        return False
    return set(chords[one].tones) >= set(chords[other].tones)


def _lands(chord: Chord | None, grid: Slots, segment: Segment) -> tuple[int, ...]:
    """The tones that a chord before this one leads to: its root, and the bass it begins on."""
    first, last, _ = segment
    basses = [int(bass) for bass in grid.bass[first:last] if bass != NO_BASS][:1]
    return (*(() if chord is None else (chord.root,)), *basses)


def _leading(chord: Chord, lands: tuple[int, ...]) -> Chord | None:
    """A diminished seventh is called after the tone that leads on by a semitone, if any."""
    if chord.quality == "dim7":
        for tone in lands:
            leading = (tone - 1) % 12
            if leading in chord.tones:
                return replace(chord, root=leading, bass=leading)
    return None


def _with_bass(chord: Chord, grid: Slots, first: int, last: int) -> Chord:
    """The chord with its bass: the root where the bass touches it, else the first tone of the
    chord there, else a strange tone that stays (a pedal).

    The bass is the left hand's, and what is lowest only where that hand is silent.
    """
    ground = [int(bass) for bass in grid.ground[first:last] if bass != NO_BASS]
    basses = ground or [int(bass) for bass in grid.bass[first:last] if bass != NO_BASS]
    if not basses or chord.root in basses:
        return chord
    within = [bass for bass in basses if bass in chord.tones]
    if not within and len(set(basses)) > 1:
        return chord
    return _renamed(chord, within[0] if within else basses[0], hymn=bool(grid.hymn[first]))


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
