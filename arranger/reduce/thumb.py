"""What the thumb may play: an alternating bass, a given line, or the bass of a chord.

One rule per texture. The tone is left open where a guitarist would choose it for the
hand (a weak beat of an alternating bass); it is given where the source insists.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from arranger.music.analysis import Analysis, Texture
from arranger.music.chord import Chord
from arranger.music.reduction import BassChoice, Stroke
from arranger.music.score import Bar, Note
from arranger.music.time import Beat
from arranger.tables.arranging import BassCosts

ALTERNATING: frozenset[Texture] = frozenset({"stride", "compound"})
STEADY: frozenset[Texture] = frozenset({"stride", "waltz", "compound"})


@dataclass(frozen=True, slots=True)
class _Beat:
    """One thumb beat: where, how long, in which bar and texture, and the source bass there."""

    onset: Beat
    length: Beat
    bar: Bar
    texture: Texture
    source: Note | None


def thumb_beats(analysis: Analysis) -> tuple[tuple[Beat, Beat], ...]:
    """Onset and length of every thumb beat of the piece, bar by bar.

    The beats of a bar are counted from its start; of a pick-up, from its end, so that
    they fall where the full bar would have them.
    """
    beats: list[tuple[Beat, Beat]] = []
    texture = iter(analysis.textures)
    span = next(texture)
    for bar in analysis.score.bars:
        while span.end <= bar.start:
            span = next(texture, span)
            if span is analysis.textures[-1]:
                break
        step = span.thumb_beat
        lead = bar.length % step if bar.number == 0 else Fraction(0)
        onset = bar.start + lead
        while onset < bar.end:
            beats.append((onset, min(step, bar.end - onset)))
            onset += step
    return tuple(beats)


def strokes(
    analysis: Analysis, beats: tuple[tuple[Beat, Beat], ...], costs: BassCosts
) -> tuple[Stroke, ...]:
    """The thumb strokes of the piece, sorted by onset."""
    bass = {
        analysis.score.notes[index].onset: analysis.score.notes[index]
        for index in analysis.bass
    }
    found: list[Stroke] = []
    before: tuple[Stroke, Note | None] | None = None
    for beat in _described(analysis, beats, bass):
        for stroke, source in _strokes_of(analysis, beat, bass, costs, before):
            found.append(stroke)
            before = (stroke, source)
    return tuple(_without_overlap(found))


def chord_at(analysis: Analysis, onset: Beat) -> Chord | None:
    """The harmony at ``onset``."""
    spans = analysis.chords
    low, high = 0, len(spans) - 1
    while low < high:
        middle = (low + high + 1) // 2
        if spans[middle].start <= onset:
            low = middle
        else:
            high = middle - 1
    return spans[low].chord


def _described(
    analysis: Analysis, beats: tuple[tuple[Beat, Beat], ...], bass: dict[Beat, Note]
) -> list[_Beat]:
    described = []
    spans = analysis.textures
    place = 0
    for onset, length in beats:
        while place + 1 < len(spans) and spans[place].end <= onset:
            place += 1
        bar = analysis.score.bars[analysis.score.bar_index_at(onset)]
        described.append(_Beat(onset, length, bar, spans[place].texture, bass.get(onset)))
    return described


def _strokes_of(
    analysis: Analysis,
    beat: _Beat,
    bass: dict[Beat, Note],
    costs: BassCosts,
    before: tuple[Stroke, Note | None] | None,
) -> list[tuple[Stroke, Note | None]]:
    if beat.texture == "unison":
        return []
    if beat.texture in STEADY:
        stroke = _steady(analysis, beat, costs, before)
        return [(stroke, beat.source)] if stroke else []
    notes = (
        [
            bass[onset]
            for onset in sorted(bass)
            if beat.onset <= onset < beat.onset + beat.length
        ]
        if beat.texture in ("walking", "single")
        else ([beat.source] if beat.source else [])
    )
    made: list[tuple[Stroke, Note | None]] = []
    for note in notes:
        made.append((_line(analysis, note, costs, before), note))
        before = made[-1]
    return made


def _steady(
    analysis: Analysis, beat: _Beat, costs: BassCosts, before: tuple[Stroke, Note | None] | None
) -> Stroke | None:
    """A beat of a steady thumb: the source's bass, or another tone of the chord."""
    chord = chord_at(analysis, beat.onset)
    strong = _is_strong(beat)
    if chord is None and beat.source is None:
        return None
    if beat.source is not None and (strong or _is_passing(beat.source, chord, before)):
        choices = _given(beat.source, chord, costs)
    elif chord is not None:
        choices = _free(chord, strong, costs)
    else:
        return None
    step = None
    if before is not None and beat.source is not None and before[1] is not None:
        interval = beat.source.midi - before[1].midi
        step = interval if 0 < abs(interval) <= 2 else None
    return Stroke(
        onset=beat.onset,
        length=beat.length,
        choices=choices,
        alternates=before is not None
        and before[0].end == beat.onset
        and (beat.texture in ALTERNATING or strong)
        and step is None,
        step=step,
        rest_cost=costs.rest,
        source=beat.source.index if beat.source is not None else None,
    )


def _line(
    analysis: Analysis, note: Note, costs: BassCosts, before: tuple[Stroke, Note | None] | None
) -> Stroke:
    """A note of a bass line: the pitch class is given, the direction matters."""
    step = None
    if before is not None and before[1] is not None and before[1].onset < note.onset:
        interval = note.midi - before[1].midi
        step = interval if interval and abs(interval) <= 12 else None
    return Stroke(
        onset=note.onset,
        length=note.length,
        choices=_given(note, chord_at(analysis, note.onset), costs),
        alternates=False,
        step=step,
        rest_cost=costs.rest_line,
        source=note.index,
    )


def _is_strong(beat: _Beat) -> bool:
    """Every other thumb beat from the bar's start; in a waltz the first alone."""
    place = (beat.onset - beat.bar.start) / beat.length
    if beat.texture == "waltz":
        return place == 0
    count = beat.bar.length / beat.length
    if count == 3:  # 9/8 or a 3/4 stride: one strong beat
        return place == 0
    return place % 2 == 0


def _is_passing(
    note: Note, chord: Chord | None, before: tuple[Stroke, Note | None] | None
) -> bool:
    """A weak-beat bass note that leads by step: the source insists on it."""
    if before is None or before[1] is None:
        return False
    near = 0 < abs(note.midi - before[1].midi) <= 2
    return near and before[0].end == note.onset


def _given(note: Note, chord: Chord | None, costs: BassCosts) -> tuple[BassChoice, ...]:
    """The source's bass tone first; the root and fifth as ways out."""
    choices = {note.midi % 12: costs.source_tone}
    if chord is not None:
        for tone, extra in ((chord.root, 0.0), (chord.fifth, costs.not_root_strong)):
            if tone is not None and tone not in choices:
                choices[tone] = costs.source_missed + extra
    return _choices(choices)


def _free(chord: Chord, strong: bool, costs: BassCosts) -> tuple[BassChoice, ...]:
    """Any tone of the chord, as the trade ranks them on strong and weak beats."""
    choices: dict[int, float] = {}
    for tone in chord.tones:
        if strong:
            cost = costs.root if tone == chord.root else costs.not_root_strong
        elif tone == chord.root:
            cost = costs.root_weak
        elif tone == chord.fifth:
            cost = costs.fifth_weak
        elif tone == chord.third:
            cost = costs.third_weak
        else:
            cost = costs.other_weak
        choices.setdefault(tone, cost)
    if strong and chord.bass != chord.root:
        choices[chord.bass] = costs.source_tone
    return _choices(choices)


def _choices(costs: dict[int, float]) -> tuple[BassChoice, ...]:
    return tuple(
        BassChoice(pitch_class=tone, cost=cost)
        for tone, cost in sorted(costs.items(), key=lambda item: (item[1], item[0]))
    )


def _without_overlap(found: list[Stroke]) -> list[Stroke]:
    """Strokes in order, each ending at the latest where the next begins."""
    ordered = sorted(found, key=lambda stroke: stroke.onset)
    cut: list[Stroke] = []
    for place, stroke in enumerate(ordered):
        last = place + 1 == len(ordered)
        end = stroke.end if last else min(stroke.end, ordered[place + 1].onset)
        cut.append(replace(stroke, length=end - stroke.onset))
    return cut
