"""Textures: what kind of accompaniment a guitarist would hear, bar by bar.

*Conventions* Every bar gets a mark 0..1 for each texture, from the onsets of the left
hand against the thumb's beat; a dynamic program then chooses the sequence with the
highest sum, in stretches of at least two bars. The thumb's beat is one for each meter of
a piece: the beat that makes bass and chord fall one beat apart.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from itertools import groupby, pairwise

import numpy as np

from arranger.analyse.timeline import Floats, Measure, Timeline
from arranger.music.analysis import Texture, TextureSpan
from arranger.music.equal_bars import agreed, heads
from arranger.tables import Table, load

TEXTURES: tuple[Texture, ...] = (
    "stride",
    "walking",
    "waltz",
    "compound",
    "hymn",
    "single",
    "broken",
    "unison",
    "tune-left",
)


class TextureTable(Table):
    """``tables/textures.toml``: see the comments there."""

    change_cost: float
    shortest_bars: int
    bass_to_chord: int
    finest_thumb: float
    rare_meter: float
    vamp: float
    short_bar: float
    eighth_thumb_share: float
    background: dict[str, float]


def _table() -> TextureTable:
    return load("textures", TextureTable)


@dataclass(frozen=True, slots=True)
class Stroke:
    """What one hand strikes at one time: place in the meter, and pitches from low to high."""

    at: int
    pitches: tuple[int, ...]
    end: int

    @property
    def low(self) -> int:
        return self.pitches[0]

    @property
    def is_line(self) -> bool:
        """One pitch class: a single note, or octaves."""
        return len({pitch % 12 for pitch in self.pitches}) == 1


@dataclass(frozen=True, slots=True)
class HandBar:
    """The strokes of both hands in one bar."""

    measure: Measure
    left: tuple[Stroke, ...]
    right: tuple[Stroke, ...]

    def left_at(self, at: int) -> Stroke | None:
        return next((stroke for stroke in self.left if stroke.at == at), None)


def _strokes(line: Timeline, notes: list[int]) -> tuple[Stroke, ...]:
    strokes = []
    for at, group in groupby(notes, key=line.position):
        members = list(group)
        pitches = tuple(sorted(int(line.midi[note]) for note in members))
        length = max(int(line.end[note] - line.onset[note]) for note in members)
        strokes.append(Stroke(at, pitches, at + length))
    return tuple(strokes)


def hand_bars(line: Timeline) -> tuple[HandBar, ...]:
    """Both hands' strokes in every bar, grace notes left out."""
    bars = []
    for measure, members in zip(line.measures, line.by_bar, strict=True):
        notes = [int(note) for note in members if not line.grace[note]]
        right = [note for note in notes if line.right[note]]
        left = [note for note in notes if not line.right[note]]
        bars.append(HandBar(measure, _strokes(line, left), _strokes(line, right)))
    return tuple(bars)


# ---- the thumb's beat ---------------------------------------------------------------


def thumb_beats(line: Timeline, bars: tuple[HandBar, ...]) -> list[int]:
    """The thumb's beat of every bar, in ticks: one for each meter of the piece.

    A meter that is heard only now and then takes the beat of the commonest one.
    """
    meters = [(bar.measure.numerator, bar.measure.denominator) for bar in bars]
    counts = Counter(meters)
    chosen: dict[tuple[int, int], int] = {}
    for meter, count in counts.most_common():
        own = [bar for bar, its in zip(bars, meters, strict=True) if its == meter]
        rare = bool(chosen) and count < _table().rare_meter * len(bars)
        chosen[meter] = next(iter(chosen.values())) if rare else _thumb_beat(line, own)
    return [chosen[meter] for meter in meters]


def _thumb_beat(line: Timeline, bars: list[HandBar]) -> int:
    """The beat of one meter: half the counted beat where bass and chord lie that close."""
    measure, table = bars[0].measure, _table()
    beat = measure.beat
    if measure.compound or measure.triple:
        return beat
    if measure.denominator <= 2:
        beat //= 2
    if measure.denominator >= 8:
        return beat * 2 if measure.numerator % 8 == 0 else beat
    slow, fast = (
        float(np.mean([stride_mark(bar, step) for bar in bars])) for step in (beat, beat // 2)
    )
    if beat // 2 < table.finest_thumb * line.unit:
        return beat
    clear = table.eighth_thumb_share
    if fast > slow and fast >= clear:
        return beat // 2
    undecided = measure.numerator == 2 and measure.denominator == 4 and slow < clear
    return beat // 2 if undecided and _moves_in_quarter_beats(bars, beat) else beat


def _moves_in_quarter_beats(bars: list[HandBar], beat: int) -> bool:
    """Whether most bars hold notes a quarter of a beat apart (2/4 in sixteenths)."""
    fine = [any(stroke.at % (beat // 2) for stroke in (*bar.left, *bar.right)) for bar in bars]
    return sum(fine) * 2 > len(fine)


# ---- marks --------------------------------------------------------------------------


def stride_mark(bar: HandBar, thumb: int) -> float:
    """Share of thumb-beat pairs in which a low bass is followed by a chord above it."""
    gap = _table().bass_to_chord
    pairs = good = 0
    for at in range(0, bar.measure.full, 2 * thumb):
        bass, chord = bar.left_at(at), bar.left_at(at + thumb)
        pairs += 1
        if bass is None or chord is None or not bass.is_line:
            continue
        good += len(chord.pitches) >= 2 and chord.low - bass.low >= gap
    return good / pairs if pairs else 0.0


def _vamp_mark(bar: HandBar) -> float:
    """Share of counted beats on which the left hand strikes a chord (vamping in place)."""
    struck = [bar.left_at(at) for at in range(0, bar.measure.full, bar.measure.beat)]
    return sum(stroke is not None and not stroke.is_line for stroke in struck) / len(struck)


def _stride_or_vamp_mark(bar: HandBar, thumb: int) -> float:
    """A guitarist plays a vamp as bass and chord in turn; both are things of two and four."""
    if bar.measure.triple or bar.measure.compound:
        return 0.0
    return max(stride_mark(bar, thumb), _table().vamp * _vamp_mark(bar))


def _waltz_mark(bar: HandBar, thumb: int) -> float:
    """Bass on one, chord on two (and three, or held)."""
    if not bar.measure.triple:
        return 0.0
    gap = _table().bass_to_chord
    bass, second, third = (bar.left_at(beat * thumb) for beat in range(3))
    if bass is None:
        return 0.0
    lifted = [
        stroke is not None and (stroke.low - bass.low >= gap) and not stroke.is_line
        for stroke in (second, third)
    ]
    if all(lifted):
        return 1.0
    if any(lifted):
        return 0.75
    apart = second is not None and second.low - bass.low >= gap
    return 0.5 if apart and len(bar.left) <= 3 else 0.0


def _compound_mark(bar: HandBar, thumb: int) -> float:
    """Share of dotted beats that the left hand strikes; less where it only goes along with
    the right hand.
    """
    if not bar.measure.compound:
        return 0.0
    beats = range(0, bar.measure.full, thumb)
    struck = sum(bar.left_at(at) is not None for at in beats) / len(beats)
    along = {stroke.at for stroke in bar.left} <= {stroke.at for stroke in bar.right}
    inner = any(stroke.at % thumb for stroke in bar.left)
    return (0.5 if along and inner else 0.75) * struck


def _walking_mark(bar: HandBar, thumb: int) -> float:
    """A line on the beats that moves mostly by step, or in octaves throughout."""
    strokes = bar.left
    if len(strokes) < 3 or not all(stroke.is_line for stroke in strokes):
        return 0.0
    if any(stroke.at % thumb for stroke in strokes):
        return 0.0
    moves = [abs(b.low - a.low) for a, b in pairwise(strokes)]
    steps = sum(1 <= move <= 2 for move in moves) / len(moves)
    octaves = sum(len(stroke.pitches) > 1 for stroke in strokes) / len(strokes)
    return min(1.0, 0.2 + 0.8 * max(steps, octaves)) if steps >= 0.5 or octaves == 1 else 0.0


def _hymn_mark(bar: HandBar, thumb: int) -> float:
    """Share of onsets at which both hands move together, three pitch classes or more."""
    del thumb
    onsets = {stroke.at for stroke in (*bar.left, *bar.right)}
    if not onsets or not bar.left or not bar.right:
        return 0.0
    right = {stroke.at: stroke for stroke in bar.right}
    together = 0
    for stroke in bar.left:
        partner = right.get(stroke.at)
        if partner is not None:
            classes = {pitch % 12 for pitch in (*stroke.pitches, *partner.pitches)}
            together += len(classes) >= 3 and len(stroke.pitches) + len(partner.pitches) >= 3
    share = together / len(onsets)
    held = len(bar.left) == 1 and len(bar.left[0].pitches) > 1
    return max(share, 0.5 if held else 0.0)


def _single_mark(bar: HandBar, thumb: int) -> float:
    """The left hand plays one note at a time."""
    del thumb
    if not bar.left:
        return 0.0
    alone = sum(len(stroke.pitches) == 1 for stroke in bar.left) / len(bar.left)
    return 0.6 * alone if alone >= 0.75 else 0.0


def _broken_mark(bar: HandBar, thumb: int) -> float:
    """Single left-hand notes faster than the thumb that leap among few pitch classes."""
    strokes = bar.left
    if len(strokes) < 4 or sum(stroke.is_line for stroke in strokes) < 0.75 * len(strokes):
        return 0.0
    fast = [b.at - a.at <= thumb / 2 for a, b in pairwise(strokes)]
    leaps = [abs(b.low - a.low) >= 3 for a, b in pairwise(strokes)]
    classes = {stroke.low % 12 for stroke in strokes}
    if len(classes) < 2:
        return 0.0
    quick, wide = np.mean(fast), np.mean(leaps)
    return float(quick * wide) if wide >= 0.5 and quick >= 0.5 else 0.0


def _unison_mark(bar: HandBar, thumb: int) -> float:
    """Both hands on one line, or one hand alone on a line."""
    del thumb
    strokes = (*bar.left, *bar.right)
    if not strokes:
        return 0.3
    together: dict[int, set[int]] = {}
    for stroke in strokes:
        together.setdefault(stroke.at, set()).update(pitch % 12 for pitch in stroke.pitches)
    one = sum(len(classes) == 1 for classes in together.values()) / len(together)
    if not bar.left or not bar.right:
        return float(one) if one > 0.75 else 0.0
    lone = {stroke.at for stroke in bar.left} == {stroke.at for stroke in bar.right}
    return float(one) if lone and one > 0.75 else 0.0


def _tune_left_mark(bar: HandBar, thumb: int) -> float:
    """A line of its own rhythm in the left hand under repeated right-hand chords."""
    del thumb
    if len(bar.left) < 3 or len(bar.right) < 2:
        return 0.0
    lows = [stroke.low for stroke in bar.left]
    tops = [stroke.pitches[-1] for stroke in bar.right]
    chords = sum(not stroke.is_line for stroke in bar.right) / len(bar.right)
    repeated = sum(a == b for a, b in pairwise(tops)) / (len(tops) - 1)
    still = repeated >= 0.4 or max(tops) - min(tops) <= 2
    own_rhythm = len({b.at - a.at for a, b in pairwise(bar.left)}) >= 2 or bar.right[0].at > 0
    wide = max(lows) - min(lows) >= 4 and len(set(lows)) > len(set(tops))
    sings = all(stroke.is_line for stroke in bar.left) and own_rhythm and wide
    return chords if sings and still and chords >= 0.75 else 0.0


_MARKS = {
    "stride": _stride_or_vamp_mark,
    "walking": _walking_mark,
    "waltz": _waltz_mark,
    "compound": _compound_mark,
    "hymn": _hymn_mark,
    "single": _single_mark,
    "broken": _broken_mark,
    "unison": _unison_mark,
    "tune-left": _tune_left_mark,
}


# ---- smoothing ----------------------------------------------------------------------


def find_textures(
    line: Timeline, same: tuple[int | None, ...] | None = None
) -> tuple[TextureSpan, ...]:
    """Texture spans that cover the piece, each at least two bars long where it can be, but for
    a bar in which the right hand leads in.

    ``same`` is ``Analysis.same_as``: equal bars are heard alike, as most of them are.
    """
    bars = hand_bars(line)
    thumbs = thumb_beats(line, bars)
    marks = np.array(
        [
            [_MARKS[texture](bar, thumb) for texture in TEXTURES]
            for bar, thumb in zip(bars, thumbs, strict=True)
        ]
    )
    marks += np.array([_table().background.get(texture, 0.0) for texture in TEXTURES])
    for index, bar in enumerate(bars):
        if bar.measure.end - bar.measure.start < bar.measure.full:
            marks[index] *= _table().short_bar
    alone = [TEXTURES.index("unison")] if _leads_in(bars) else []
    path = alone + _smooth(marks[len(alone) :])
    return _spans(line, path if same is None else _alike(path, same), thumbs)


def _leads_in(bars: tuple[HandBar, ...]) -> bool:
    """Whether the right hand leads in with a line before the left comes in on a bar line: one
    bar is enough for that, and harmony and thumb begin with the left hand.
    """
    line = _unison_mark(bars[0], 0) == 1.0
    return line and not bars[0].left and any(bar.left for bar in bars)


def _alike(path: list[int], same: tuple[int | None, ...]) -> list[int]:
    """The textures with one for all equal bars: the commonest, of equals the first heard."""
    kinds = heads(same)
    heard = agreed(zip(kinds, path, strict=True))
    return [heard[kind] for kind in kinds]


def _smooth(marks: Floats) -> list[int]:
    """The textures, bar by bar, with the highest sum of marks less a cost for each change.

    Every stretch lasts the shortest allowed or more, but for a piece that is shorter.
    """
    table = _table()
    count = len(marks)
    running = np.vstack([np.zeros(marks.shape[1]), np.cumsum(marks, axis=0)])
    best = np.full(count + 1, -np.inf)
    best[0] = 0.0
    back: list[tuple[int, int]] = [(0, 0)] * (count + 1)
    for last in range(min(table.shortest_bars, count), count + 1):
        firsts = np.arange(max(1, last - table.shortest_bars + 1))
        totals = best[firsts, None] + running[last] - running[firsts] - table.change_cost
        first, kind = divmod(int(totals.argmax()), totals.shape[1])
        best[last] = totals[first, kind]
        back[last] = (first, kind)
    path: list[int] = []
    last = count
    while last > 0:
        first, kind = back[last]
        path = [kind] * (last - first) + path
        last = first
    return path


def _spans(line: Timeline, path: list[int], thumbs: list[int]) -> tuple[TextureSpan, ...]:
    spans = []
    first = 0
    kinds = list(zip(path, thumbs, strict=True))
    for index in range(1, len(path) + 1):
        if index == len(path) or kinds[index] != kinds[first]:
            spans.append(
                TextureSpan(
                    start=line.beats(line.measures[first].start),
                    end=line.beats(line.measures[index - 1].end),
                    texture=TEXTURES[path[first]],
                    thumb_beat=line.beats(thumbs[first]),
                )
            )
            first = index
    return tuple(spans)
