"""What is heard again and again in a tune is known by its steps, and must keep them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import pairwise
from math import log2

from arranger.music.score import Note
from arranger.tables.arranging import MelodyCosts

DEGREES = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)
"""The degrees of a scale that an interval of so many semitones spans: a fourth is answered by
a tritone, and is the same motif. Theory of intervals; the tritone as a fourth: common
practice, no source.
"""


def weights(tune: Sequence[Note], costs: MelodyCosts) -> list[float]:
    """How much the step into each note of the tune weighs, from 1 to ``costs.motif_most``.

    A step belongs to the motif around it that is heard most, in whatever key and on whatever
    degree of it. Each doubling of the times it is heard adds ``costs.motif``: a hook turned
    upside down is a different tune, while a step heard once is soon forgotten (common
    practice, no source).
    """
    steps = [
        (_degrees(after.midi - before.midi), after.onset - before.onset)
        for before, after in pairwise(tune)
    ]
    length = costs.motif_steps
    motifs = [tuple(steps[place : place + length]) for place in range(len(steps))]
    times = Counter(motifs)
    heard = [times[motif] if len(motif) == length else 1 for motif in motifs]
    most = [
        max(heard[max(0, place - length + 1) : place + 1], default=1)
        for place in range(len(steps))
    ]
    return [1.0, *(_weight(count, costs) for count in most)][: len(tune)]


def _weight(times: int, costs: MelodyCosts) -> float:
    return round(min(costs.motif_most, 1.0 + costs.motif * log2(times)), 2)


def _degrees(semitones: int) -> int:
    """The interval in degrees of a scale, down below zero; octaves count seven."""
    octaves, rest = divmod(abs(semitones), 12)
    degrees = 7 * octaves + DEGREES[rest]
    return degrees if semitones > 0 else -degrees
