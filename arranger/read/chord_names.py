"""A tune with chord names over it, as song books print it: what a left hand makes of them.

Bass and chord in turn, as whoever reads such a page at the piano plays it: the root, or the
tone named after the stroke, where a chord begins and on the first beat, its fifth on the other
strong beats, the chord on the rest (common practice, no source).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import chain, islice, zip_longest
from typing import Any

from arranger.read.table import reading_table

FIFTHS = (7, 6, 8)
"""Semitones above the root: perfect, diminished, augmented."""


@dataclass(frozen=True, slots=True)
class NamedChord:
    """A chord from ``start`` on, in quarters; pitch classes, none for a silence."""

    start: Fraction
    tones: frozenset[int]
    root: int = 0
    bass: int = 0

    @property
    def fifth(self) -> int:
        """The fifth above the root, or the root where the chord has none."""
        found = (self.root + above for above in FIFTHS)
        return next((tone % 12 for tone in found if tone % 12 in self.tones), self.root)


@dataclass(frozen=True, slots=True)
class Struck:
    """Tones of the accompaniment that sound together; quarters, MIDI numbers."""

    start: Fraction
    length: Fraction
    midis: tuple[int, ...]


def named_chords(part: Any) -> list[NamedChord]:
    """The chord names of a music21 part, in order."""
    from music21 import harmony  # noqa: PLC0415

    found: dict[Fraction, NamedChord] = {}
    for symbol in part.flatten().getElementsByClass(harmony.ChordSymbol):
        start = Fraction(symbol.offset)
        tones = frozenset(pitch.pitchClass for pitch in symbol.pitches)
        if isinstance(symbol, harmony.NoChord) or not tones:
            found[start] = NamedChord(start, frozenset())
            continue
        root, bass = symbol.root(), symbol.bass()
        found[start] = NamedChord(start, tones, root.pitchClass, bass.pitchClass)
    return [found[start] for start in sorted(found)]


def accompaniment(
    part: Any, chords: Sequence[NamedChord], *, most_beats: int
) -> Iterator[Struck]:
    """Bass and chord in turn under a music21 part, as long as its bars last, but over no more
    than so many beats.

    Nothing sounds before the first chord name, and in a short first bar.
    """
    from music21 import stream  # noqa: PLC0415

    starts = [chord.start for chord in chords]
    bars = _full_bars(list(part.getElementsByClass(stream.Measure)))
    beats = chain.from_iterable(_beats(*bar) for bar in bars)
    for place, onset, length in islice(beats, most_beats):
        current = bisect_right(starts, onset) - 1
        if current >= 0 and chords[current].tones:
            midis = _strike(place, chords[current], begins=starts[current] == onset)
            yield Struck(onset, length, midis)


def _full_bars(measures: Sequence[Any]) -> Iterator[tuple[Fraction, Fraction, Any]]:
    """Start, end and meter of every bar but a pick-up."""
    meter = None
    for measure, following in zip_longest(measures, measures[1:]):
        meter = measure.timeSignature or meter
        if meter is None:
            continue
        start, full = Fraction(measure.offset), Fraction(meter.barDuration.quarterLength)
        end = start + full if following is None else Fraction(following.offset)
        if start or end - start >= full:
            yield start, end, meter


def _beats(
    start: Fraction, end: Fraction, meter: Any
) -> Iterator[tuple[int, Fraction, Fraction]]:
    """Beats of a bar: whether bass (even) or chord (odd), onset and length.

    Of three beats the first alone has the bass. Two halves are four quarters to a hand that
    plays bass and chord in turn.
    """
    compound = meter.numerator % 3 == 0 and meter.numerator > 3
    longest = Fraction(3, 2) if compound else Fraction(1)
    beat = min(longest, Fraction(4 * (3 if compound else 1), meter.denominator))
    place, onset = 0, start
    while onset < end:
        waltz = meter.numerator == 3
        yield min(place, 1) if waltz else place, onset, min(beat, end - onset)
        place, onset = place + 1, onset + beat


def _strike(place: int, chord: NamedChord, *, begins: bool) -> tuple[int, ...]:
    """MIDI numbers of the bass or of the chord."""
    table = reading_table().chord_names
    if place == 0 or begins:
        return (_from(table.bass, chord.bass),)
    if place % 2 == 0:
        return (_from(table.bass, chord.fifth if chord.bass == chord.root else chord.root),)
    return tuple(sorted(_from(table.chord, tone) for tone in chord.tones))


def _from(lowest: int, tone: int) -> int:
    """The lowest MIDI number of a pitch class from ``lowest`` up."""
    return lowest + (tone - lowest) % 12
