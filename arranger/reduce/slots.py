"""The piece cut into slots: the moments at which something begins, and what sounds."""

from __future__ import annotations

from bisect import bisect_left, bisect_right

from arranger.music.analysis import Analysis
from arranger.music.chord import Chord, ChordSpan
from arranger.music.moments import Moments
from arranger.music.reduction import BarWish, FillWish, MelodyNote, Slot, Stroke
from arranger.music.score import Bar, Note
from arranger.music.time import Beat
from arranger.reduce.pattern import pattern_beats
from arranger.tables.arranging import FillCosts


def slots(
    analysis: Analysis,
    melody: tuple[MelodyNote, ...],
    strokes: tuple[Stroke, ...],
    *,
    beats: tuple[Beat, ...],
    arpeggio: frozenset[Beat],
    wishes: tuple[BarWish, ...],
    costs: FillCosts,
    patterns: int,
) -> tuple[Slot, ...]:
    """The slots of the piece; they begin at bars, tune notes, strokes and thumb beats.

    A thumb beat without a stroke is a place where an inner note may answer a long note;
    ``arpeggio`` holds the onsets at which the fingers go on with a broken chord, ``patterns``
    is the most that a section may have of the right hand's.
    """
    score = analysis.score
    changes = _chord_changes(analysis, strokes)
    starts = {bar.start for bar in score.bars}
    starts |= {note.onset for note in melody} | {stroke.onset for stroke in strokes}
    starts |= set(beats) | arpeggio
    onsets = sorted(starts)
    inner = _inner_by_onset(analysis)
    pattern = pattern_beats(analysis, beats, frozenset(inner), most=patterns) | arpeggio
    made: list[Slot] = []
    tune_at, stroke_at = _Cursor(melody), _Cursor(strokes)
    chord: Chord | None = None
    for place, onset in enumerate(onsets):
        end = onsets[place + 1] if place + 1 < len(onsets) else score.end
        if end <= onset:
            continue
        note, note_begins = tune_at(onset)
        stroke, stroke_begins = stroke_at(onset)
        bar = score.bar_index_at(onset)
        opens = onset == score.bars[bar].start
        hook = opens and note is None and _enters(tune_at, beats, onset)
        begins = onset in changes or (opens and analysis.chord_at(onset) != chord)
        if begins or not made:
            chord = analysis.chord_at(changes.get(onset, onset))
        made.append(
            Slot(
                onset=onset,
                length=end - onset,
                bar=bar,
                melody=note,
                melody_begins=note_begins,
                stroke=stroke,
                stroke_begins=stroke_begins,
                chord=chord,
                chord_begins=begins or not made,
                strong=opens,
                fill=None
                if hook
                else _fill(
                    inner.get(onset, ()) if onset in pattern else (),
                    chord,
                    costs,
                    tune=None if note is None else melody[note].midi % 12,
                    tune_begins=note_begins,
                    third=wishes[bar].third if wishes[bar].covers(onset) else None,
                ),
            )
        )
    return tuple(made)


def arpeggio(analysis: Analysis, *, shortest: Beat) -> frozenset[Beat]:
    """Onsets of the inner notes of broken chords, none quicker than ``shortest``."""
    taken = set(analysis.melody) | set(analysis.bass)
    spans = [span for span in analysis.textures if span.texture == "broken"]
    onsets: list[Beat] = []
    for note in analysis.score.notes:
        broken = any(span.start <= note.onset < span.end for span in spans)
        if note.index in taken or note.hand != "left" or not broken:
            continue
        if not onsets or note.onset - onsets[-1] >= shortest:
            onsets.append(note.onset)
    return frozenset(onsets)


def bar_wishes(
    analysis: Analysis, melody: tuple[MelodyNote, ...], costs: FillCosts
) -> tuple[BarWish, ...]:
    """For every bar the third that something other than the tune has to play."""
    wishes = []
    for bar in analysis.score.bars:
        main = _main_harmony(analysis, bar)
        third = main.chord.third if main is not None and main.chord is not None else None
        start = bar.start if main is None else max(main.start, bar.start)
        end = bar.end if main is None else min(main.end, bar.end)
        if third is None or third in _sung(melody, start, end):
            wishes.append(BarWish(third=None, cost=0.0, start=start, end=end))
        else:
            wishes.append(BarWish(third=third, cost=costs.third, start=start, end=end))
    return tuple(wishes)


def _sung(melody: tuple[MelodyNote, ...], start: Beat, end: Beat) -> set[int]:
    """Pitch classes of the tune that sound at some time in ``[start, end)``."""
    first = bisect_right(melody, start, key=lambda note: note.end)
    sung = set()
    for note in melody[first:]:
        if note.onset >= end:
            break
        sung.add(note.midi % 12)
    return sung


class _Cursor:
    """Which of the sorted, non-overlapping events sounds at an onset, asked in order."""

    def __init__(self, events: tuple[MelodyNote, ...] | tuple[Stroke, ...]) -> None:
        self._events = events
        self._onsets = Moments([event.onset for event in events])

    def __call__(self, onset: Beat) -> tuple[int | None, bool]:
        place = self._onsets.until(onset) - 1
        if place < 0 or self._events[place].end <= onset:
            return None, False
        return place, self._events[place].onset == onset

    def after(self, onset: Beat) -> Beat | None:
        """When the next event begins."""
        place = self._onsets.until(onset)
        return self._events[place].onset if place < len(self._events) else None


def _enters(tune: _Cursor, beats: tuple[Beat, ...], onset: Beat) -> bool:
    """Whether the tune enters before the thumb's next beat.

    On the first beat of a bar an inner note would then be heard as the first note of the
    tune: the rest before such an entry belongs to the hook.
    """
    entry = tune.after(onset)
    place = bisect_right(beats, onset)
    return entry is not None and place < len(beats) and entry < beats[place]


def _chord_changes(analysis: Analysis, strokes: tuple[Stroke, ...]) -> dict[Beat, Beat]:
    """Where the hand changes its shape, and the start of the harmony it changes to.

    A change within a bar, before a stroke of that bar, is heard at the stroke; any other
    stays where it is.
    """
    onsets = sorted(stroke.onset for stroke in strokes)
    score = analysis.score
    changes: dict[Beat, Beat] = {}
    for span in analysis.chords:
        bar = score.bars[score.bar_index_at(span.start)]
        place = bisect_left(onsets, span.start)
        near = onsets[place] if place < len(onsets) else bar.end
        moves = span.start > bar.start and near < min(span.end, bar.end)
        changes[near if moves else span.start] = span.start
    return changes


def _inner_by_onset(analysis: Analysis) -> dict[Beat, tuple[int, ...]]:
    """Pitch classes that begin at each onset and are neither tune nor bass."""
    taken = set(analysis.melody) | set(analysis.bass)
    found: dict[Beat, list[Note]] = {}
    for note in analysis.score.notes:
        if note.index not in taken and note.ornament is None:
            found.setdefault(note.onset, []).append(note)
    return {
        onset: tuple(sorted({note.midi % 12 for note in notes}))
        for onset, notes in found.items()
    }


def _fill(
    inner: tuple[int, ...],
    chord: Chord | None,
    costs: FillCosts,
    *,
    tune: int | None,
    tune_begins: bool,
    third: int | None,
) -> FillWish | None:
    """Inner notes are wished for on the beats of the pattern, or where a third is owed.

    ``inner`` holds the source's inner notes, none off the pattern. They never double the
    tune.
    """
    tones = set(chord.tones) if chord is not None else set()
    wanted = (set(inner) & tones if tones else set(inner)) - {tune}
    cost = 0.0
    if wanted:
        if tune is None:
            cost = costs.silent_tune
        else:
            cost = costs.melody_beat if tune_begins else costs.weak_beat
    if third is not None:
        wanted.add(third)
    if not wanted:
        return None
    return FillWish(pitch_classes=tuple(sorted(wanted)), cost=cost)


def _main_harmony(analysis: Analysis, bar: Bar) -> ChordSpan | None:
    """The harmony that lasts longest within the bar (of equals the first)."""
    within = [
        span for span in analysis.harmonies_in(bar.start, bar.end) if span.chord is not None
    ]
    if not within:
        return None
    return max(within, key=lambda span: min(span.end, bar.end) - max(span.start, bar.start))
