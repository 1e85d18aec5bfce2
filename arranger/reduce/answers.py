"""The thumb answers a long bass note with the third that its bar owes.

Two voices, tune and thumb, leave no finger for inner notes. Where the tune does not sing
the third of a bar's chord and the bass rests on a long note, the thumb plays it on a weak
beat, or in the middle of a beat that is long enough; where the bass strikes one tone again
and again, the third may stand for a repetition.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import replace
from itertools import pairwise

from arranger.music.analysis import Analysis
from arranger.music.reduction import BarWish, BassChoice, Stroke
from arranger.music.time import Beat
from arranger.reduce.thumb import STEADY
from arranger.tables.arranging import BassCosts


def answered(
    strokes: tuple[Stroke, ...],
    analysis: Analysis,
    beats: tuple[Beat, ...],
    wishes: tuple[BarWish, ...],
    costs: BassCosts,
    *,
    shortest: Beat,
) -> tuple[Stroke, ...]:
    """The strokes with an answer in every bar that owes a third and leaves the thumb time.

    ``shortest`` is the least time in quarters between two strokes.
    """
    found = {stroke.onset: stroke for stroke in strokes}
    for wish in wishes:
        if wish.third is None or analysis.texture_at(wish.start).texture in STEADY:
            continue
        inside = [one for one in strokes if wish.start <= one.onset < wish.end]
        if any(one.choices[0].pitch_class == wish.third for one in inside):
            continue
        again = _repetition(inside)
        if again is not None:
            found[again.onset] = _or_third(again, wish.third, costs)
            continue
        free = _free_time(inside, wish.end, beats, shortest)
        if free is not None:
            note, onset, end = free
            found[note.onset] = replace(note, length=min(note.length, onset - note.onset))
            found[onset] = _answer(onset, end, wish.third, costs)
    return tuple(found[onset] for onset in sorted(found))


def _repetition(inside: list[Stroke]) -> Stroke | None:
    """The first stroke that strikes the tone of the one before it again."""
    for before, stroke in pairwise(inside):
        if stroke.choices[0].pitch_class == before.choices[0].pitch_class:
            return stroke
    return None


def _or_third(stroke: Stroke, third: int, costs: BassCosts) -> Stroke:
    """The stroke with the third beside its own tone."""
    if any(choice.pitch_class == third for choice in stroke.choices):
        return stroke
    choice = BassChoice(pitch_class=third, cost=costs.third_for_repeat)
    return replace(stroke, choices=(*stroke.choices, choice), alternates=False, step=None)


def _free_time(
    inside: list[Stroke], end: Beat, beats: tuple[Beat, ...], shortest: Beat
) -> tuple[Stroke, Beat, Beat] | None:
    """The first stroke after which the thumb is idle over a thumb beat: the stroke, that
    beat, and when the next stroke or the harmony's end comes.

    Else the first stroke that is followed late enough, and the middle of that time: a slow
    hymn moves with every beat.
    """
    nexts = [*(stroke.onset for stroke in inside), end][1:]
    for stroke, until in zip(inside, nexts, strict=True):
        place = bisect_left(beats, stroke.onset + shortest)
        if place < len(beats) and beats[place] + shortest <= until:
            return stroke, beats[place], until
    for stroke, until in zip(inside, nexts, strict=True):
        if until - stroke.onset >= 2 * shortest:
            return stroke, (stroke.onset + until) / 2, until
    return None


def _answer(onset: Beat, end: Beat, third: int, costs: BassCosts) -> Stroke:
    return Stroke(
        onset=onset,
        length=end - onset,
        choices=(BassChoice(pitch_class=third, cost=costs.third_answers),),
        alternates=True,
        step=None,
        rest_cost=0.0,
        source=None,
    )
