"""The right hand's pattern: on which beats of a phrase the fingers add to thumb and tune."""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter

from arranger.music.analysis import Analysis
from arranger.music.time import Beat
from arranger.reduce.equal_bars import EqualBars


def pattern_beats(
    analysis: Analysis, beats: tuple[Beat, ...], inner: frozenset[Beat]
) -> frozenset[Beat]:
    """The thumb beats on which inner notes belong to the pattern of their phrase.

    A place in the bar is part of the pattern when the source has inner notes there
    (``inner``: their onsets) in at least half of the phrase's bars: one pattern a phrase, so
    that the hand need not think about every bar. Common practice, no source. Equal bars of
    different phrases have one pattern, as most of them do.
    """
    starts = sorted(phrase.start for phrase in analysis.phrases)
    bars = analysis.score.bars
    place = {}
    for beat in beats:
        bar = bars[analysis.score.bar_index_at(beat)]
        place[beat] = (bisect_right(starts, beat), beat - bar.start, bar.length)
    there = Counter(place.values())
    filled = Counter(place[beat] for beat in beats if beat in inner)
    alike = EqualBars(analysis).agreed(
        {beat: filled[place[beat]] * 2 >= there[place[beat]] for beat in beats}
    )
    return frozenset(beat for beat, within in alike.items() if within)
