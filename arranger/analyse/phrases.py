"""Phrases: where the tune takes breath.

*Conventions* A phrase begins with a tune note. Each possible beginning gets a mark: for
the rest and the long note before it, for a new section, for a leap across it (there an
arranger may move the tune by an octave with least harm), and for a beginning heard
before. A dynamic program picks the beginnings with the best sum of marks and lengths.

*References* Rests and long notes as boundaries: Lerdahl & Jackendoff, *A Generative
Theory of Tonal Music* (1983), grouping preference rule 2.
"""

from __future__ import annotations

from collections import Counter
from itertools import pairwise
from math import log2
from statistics import median

import numpy as np

from arranger.analyse.timeline import Floats, Timeline
from arranger.music.analysis import Phrase, Section
from arranger.tables import Table, load

Motif = tuple[int, bytes]
"""How many notes a motif has, and their onsets and pitches after the first."""


class PhraseTable(Table):
    """``tables/phrases.toml``: see the comments there."""

    rest: float
    rest_most: float
    long_note: float
    section: float
    leap: float
    near: float
    leap_from: int
    recurrence: float
    on_bar: float
    length: float
    length_weight: float
    shortest: float
    longest: float
    motif_bars: float
    motif_most: int
    notes_most: int


def _table() -> PhraseTable:
    return load("phrases", PhraseTable)


def find_phrases(
    line: Timeline, melody: tuple[int, ...], sections: tuple[Section, ...]
) -> tuple[Phrase, ...]:
    """Phrases that cover the piece from its beginning to its end; none without a tune."""
    if not melody:
        return ()
    motifs = _motifs(line, melody)
    starts = _best_starts(line, melody, _marks(line, melody, sections, motifs))
    numbers: dict[Motif, int] = {}
    phrases = []
    for here, following in zip(starts, [*starts[1:], None], strict=True):
        begin = line.onset[melody[here]] if here else 0
        end = line.last if following is None else line.onset[melody[following]]
        phrases.append(
            Phrase(
                start=line.beats(int(begin)),
                end=line.beats(int(end)),
                motif=numbers.setdefault(motifs[here], len(numbers)),
            )
        )
    return tuple(phrases)


def _motifs(line: Timeline, melody: tuple[int, ...]) -> list[Motif]:
    """How a phrase would begin with each tune note: what the tune plays for some time."""
    table = _table()
    notes = np.stack([line.onset[list(melody)], line.midi[list(melody)]], axis=1)
    bars = np.array([line.measures[line.bar[note]].full for note in melody])
    stops = np.searchsorted(notes[:, 0], notes[:, 0] + table.motif_bars * bars, side="right")
    motifs = []
    for first, stop in enumerate(stops.tolist()):
        motif = notes[first : min(stop, first + table.motif_most)] - notes[first]
        motifs.append((len(motif), motif.tobytes()))
    return motifs


def _marks(
    line: Timeline,
    melody: tuple[int, ...],
    sections: tuple[Section, ...],
    motifs: list[Motif],
) -> list[float]:
    """How well a phrase could begin with each tune note."""
    table = _table()
    steps = [int(line.onset[b] - line.onset[a]) for a, b in pairwise(melody)]
    usual = median(steps) if steps else 1
    counts = Counter(
        (line.position(note), motif) for note, motif in zip(melody, motifs, strict=True)
    )
    marks = [0.0]
    for index in range(1, len(melody)):
        before, here = melody[index - 1], melody[index]
        beat = line.measures[line.bar[here]].beat
        rest = max(0, int(line.onset[here] - line.end[before])) / beat
        mark = table.rest * min(rest, table.rest_most)
        mark += table.long_note * max(0.0, log2(steps[index - 1] / usual))
        size = abs(int(line.midi[here] - line.midi[before]))
        mark += table.leap if size >= table.leap_from else table.near
        mark += table.on_bar * (line.position(here) == 0)
        recurs = motifs[index][0] > 2 and counts[line.position(here), motifs[index]] > 1
        marks.append(mark + table.recurrence * recurs)
    for head in _section_heads(line, melody, sections, marks):
        marks[head] += table.section
    return marks


def _section_heads(
    line: Timeline, melody: tuple[int, ...], sections: tuple[Section, ...], marks: list[float]
) -> set[int]:
    """The tune note with which each section begins: its pick-up where it has one.

    A pick-up begins at most half a bar early, with a better mark than the first note of
    the section itself.
    """
    onsets = line.onset[list(melody)]
    heads = set()
    for section in sections:
        measure = line.measures[section.first]
        first = int(np.searchsorted(onsets, measure.start))
        early = int(np.searchsorted(onsets, measure.start - measure.full // 2, side="right"))
        places = range(early, min(first + 1, len(melody)))
        if places:
            heads.add(max(places, key=lambda place: (marks[place], place)))
    return heads


def _best_starts(line: Timeline, melody: tuple[int, ...], marks: list[float]) -> list[int]:
    """Indices into the tune at which the phrases begin."""
    table = _table()
    onsets = np.append(line.onset[list(melody)], line.last)
    bars = np.array([line.measures[line.bar[note]].full for note in melody])
    count = len(melody)
    gains = np.array(marks)
    best = np.zeros(count + 1)
    back = [0] * (count + 1)
    for last in range(1, count + 1):
        window = int(np.searchsorted(onsets, onsets[last] - 2 * table.longest * bars[last - 1]))
        firsts = np.arange(min(max(window, last - table.notes_most), last - 1), last)
        lengths = (onsets[last] - onsets[firsts]) / bars[firsts]
        total = best[firsts] + gains[firsts] - _length_loss(lengths)
        choice = int(total.argmax())
        best[last], back[last] = total[choice], int(firsts[choice])
    starts = []
    place = count
    while place > 0:
        place = back[place]
        starts.append(place)
    return starts[::-1]


def _length_loss(lengths: Floats) -> Floats:
    """What a phrase of so many bars loses against one of the usual length."""
    table = _table()
    unusual = np.abs(np.log2(np.maximum(lengths, 0.1) / table.length))
    over = np.maximum(0.0, lengths - table.longest)
    under = np.maximum(0.0, table.shortest - lengths)
    loss: Floats = table.length_weight * unusual + over + 2 * under
    return loss
