"""The piece cut into slots: the moments at which something begins, and what sounds."""

from __future__ import annotations

from bisect import bisect_right
from fractions import Fraction

from arranger.music.analysis import Analysis
from arranger.music.chord import Chord
from arranger.music.reduction import BarWish, FillWish, MelodyNote, Slot, Stroke
from arranger.music.score import Note
from arranger.music.time import Beat
from arranger.reduce.thumb import chord_at
from arranger.tables.arranging import FillCosts


def slots(
    analysis: Analysis,
    melody: tuple[MelodyNote, ...],
    strokes: tuple[Stroke, ...],
    costs: FillCosts,
    *,
    voices: int,
) -> tuple[Slot, ...]:
    """The slots of the piece; they begin at bars, tune notes, strokes and chord changes."""
    score = analysis.score
    changes = _chord_changes(analysis, strokes)
    starts = {bar.start for bar in score.bars}
    starts |= {note.onset for note in melody} | {stroke.onset for stroke in strokes}
    onsets = sorted(starts)
    inner = _inner_by_onset(analysis)
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
        begins = onset in changes
        if begins or not made:
            chord = chord_at(analysis, changes.get(onset, onset))
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
                strong=onset == score.bars[bar].start,
                fill=_fill(
                    inner.get(onset, ()),
                    chord,
                    costs,
                    tune_begins=note_begins,
                    tune_silent=note is None,
                    stroke_begins=stroke_begins,
                    room=voices - (note is not None) - (stroke is not None),
                ),
            )
        )
    return tuple(made)


def bar_wishes(
    analysis: Analysis, melody: tuple[MelodyNote, ...], costs: FillCosts
) -> tuple[BarWish, ...]:
    """For every bar the third that something other than the tune has to play."""
    onsets = [note.onset for note in melody]
    wishes = []
    for bar in analysis.score.bars:
        chord = _main_chord(analysis, bar.start, bar.end)
        third = chord.third if chord is not None else None
        first = bisect_right(onsets, bar.start - Fraction(1, 10**6))
        last = bisect_right(onsets, bar.end - Fraction(1, 10**6))
        sung = {note.midi % 12 for note in melody[first:last]}
        if third is None or third in sung or bar.number == 0:
            wishes.append(BarWish(third=None, cost=0.0))
        else:
            wishes.append(BarWish(third=third, cost=costs.third))
    return tuple(wishes)


class _Cursor:
    """Which of the sorted, non-overlapping events sounds at an onset, asked in order."""

    def __init__(self, events: tuple[MelodyNote, ...] | tuple[Stroke, ...]) -> None:
        self._events = events
        self._onsets = [event.onset for event in events]

    def __call__(self, onset: Beat) -> tuple[int | None, bool]:
        place = bisect_right(self._onsets, onset) - 1
        if place < 0 or self._events[place].end <= onset:
            return None, False
        return place, self._onsets[place] == onset


def _chord_changes(analysis: Analysis, strokes: tuple[Stroke, ...]) -> dict[Beat, Beat]:
    """Where the hand changes its shape, and the start of the harmony it changes to.

    A change just before or after a stroke is heard at the stroke; one that falls on no
    stroke stays where it is.
    """
    onsets = sorted(stroke.onset for stroke in strokes)
    changes: dict[Beat, Beat] = {}
    for span in analysis.chords:
        place = bisect_right(onsets, span.start - Fraction(1, 10**6))
        near = onsets[place] if place < len(onsets) else span.start
        changes[near if near < span.end else span.start] = span.start
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
    tune_begins: bool,
    tune_silent: bool,
    stroke_begins: bool,
    room: int,
) -> FillWish | None:
    """Inner notes are wished for where the source has them and the hand has room."""
    if room <= 0 or not (tune_begins or stroke_begins):
        return None
    tones = set(chord.tones) if chord is not None else set()
    wanted = tuple(sorted(set(inner) & tones if tones else set(inner)))
    if not wanted:
        return None
    if tune_silent:
        cost = costs.silent_tune
    elif tune_begins:
        cost = costs.melody_beat
    else:
        cost = costs.weak_beat
    return FillWish(pitch_classes=wanted, cost=cost)


def _main_chord(analysis: Analysis, start: Beat, end: Beat) -> Chord | None:
    """The harmony that lasts longest within ``[start, end)`` (ties: the first)."""
    time: dict[Chord, Beat] = {}
    for span in analysis.chords:
        if span.chord is None or span.end <= start or span.start >= end:
            continue
        length = min(span.end, end) - max(span.start, start)
        time[span.chord] = time.get(span.chord, Fraction(0)) + length
    return max(time, key=lambda chord: time[chord]) if time else None
