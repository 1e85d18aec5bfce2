"""What is heard again and again in a tune is known by its steps, and must keep them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import pairwise
from math import log2

from arranger.music.score import Note
from arranger.music.time import Beat
from arranger.tables.arranging import MelodyCosts

BEFORE, AFTER = 2, 2
"""Notes around a step that tell it from others: with fewer every scale is a motif."""

Motif = tuple[tuple[int, Beat], ...]
"""Steps in semitones and in quarters."""


def weights(tune: Sequence[Note], costs: MelodyCosts) -> list[float]:
    """How much the step into each note of the tune weighs, from 1 to ``costs.motif_most``.

    The notes around a step are its motif, in whatever key. Each doubling of the times it is
    heard adds ``costs.motif``: a hook turned upside down is a different tune, while a step
    heard once is soon forgotten (common practice, no source).
    """
    motifs = [_motif(tune, place) for place in range(len(tune))]
    times = Counter(motifs)
    return [
        round(min(costs.motif_most, 1.0 + costs.motif * log2(times[motif])), 2)
        for motif in motifs
    ]


def _motif(tune: Sequence[Note], place: int) -> Motif:
    around = tune[max(0, place - BEFORE) : place + AFTER]
    return tuple(
        (after.midi - before.midi, after.onset - before.onset)
        for before, after in pairwise(around)
    )
