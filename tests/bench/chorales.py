"""Bach chorales with the harmonic analyses that music21 carries, as scores and chords.

Used by the scripts beside it and by tests/outside; nothing of it is stored here.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from music21 import corpus
from music21.corpus import chorales

from arranger.music.chord import QUALITIES, Chord
from arranger.music.score import Bar, Note, Score, TempoMark
from arranger.music.time import Beat

FIRST, LAST = 1, 20  # the Riemenschneider numbers that have an analysis
LEAST_FIT = 0.85  # share of the sound inside the analysed chords; less: the two do not match


@dataclass(frozen=True, slots=True)
class Label:
    """The analyst's chord over ``[start, end)``: root and pitch classes."""

    start: Beat
    end: Beat
    root: int
    tones: frozenset[int]


@dataclass(frozen=True, slots=True)
class Chorale:
    number: int
    score: Score
    labels: tuple[Label, ...]


def _time(value: object) -> Beat:
    return Fraction(str(value)).limit_denominator(96)


def _bars(part: Any) -> tuple[tuple[Bar, ...], dict[int, Beat]]:
    """Bars, halves at a repeat put together, and the start of each bar number."""
    bars: list[Bar] = []
    starts: dict[int, Beat] = {}
    signature = None
    for measure in part.getElementsByClass("Measure"):
        signature = measure.timeSignature or signature
        start, length = _time(measure.offset), _time(measure.duration.quarterLength)
        if measure.number in starts:
            half = bars.pop()
            start, length = half.start, half.length + length
        starts.setdefault(measure.number, start)
        bars.append(
            Bar(
                number=measure.number,
                start=start,
                length=length,
                numerator=signature.numerator if signature else 4,
                denominator=signature.denominator if signature else 4,
            )
        )
    return tuple(bars), starts


def _notes(work: Any) -> tuple[Note, ...]:
    """Soprano and alto in the right hand, tenor and bass in the left."""
    rows = []
    for voice, part in enumerate(work.parts):
        for element in part.stripTies().flatten().notes:
            length = _time(element.duration.quarterLength)
            rows += [(_time(element.offset), -p.midi, length, voice) for p in element.pitches]
    return tuple(
        Note(
            index=index,
            onset=onset,
            length=length,
            midi=-negative,
            hand="right" if voice < 2 else "left",
            track=voice,
        )
        for index, (onset, negative, length, voice) in enumerate(
            sorted(r for r in rows if r[2])
        )
    )


def _labels(analysis: Any, starts: dict[int, Beat], end: Beat) -> list[Label]:
    rows = []
    for measure in analysis.parts[0].getElementsByClass("Measure"):
        for numeral in measure.recurse().getElementsByClass("RomanNumeral"):
            if measure.number in starts:
                at = starts[measure.number] + _time(numeral.getOffsetInHierarchy(measure))
                tones = frozenset(pitch.pitchClass for pitch in numeral.pitches)
                rows.append((at, numeral.root().pitchClass, tones))
    rows.sort(key=lambda row: row[0])
    ends = [row[0] for row in rows[1:]] + [end]
    return [
        Label(at, until, root, tones)
        for (at, root, tones), until in zip(rows, ends, strict=True)
        if until > at
    ]


def _fit(score: Score, labels: list[Label]) -> float:
    """Share of the sound that lies inside the analysed chords."""
    inside = total = Fraction(0)
    for label in labels:
        for note in score.notes:
            overlap = min(note.end, label.end) - max(note.onset, label.start)
            if overlap > 0:
                total += overlap
                inside += overlap * (note.midi % 12 in label.tones)
    return float(inside / total)


def _transposed(labels: list[Label], semitones: int) -> list[Label]:
    return [
        Label(
            label.start,
            label.end,
            (label.root + semitones) % 12,
            frozenset((tone + semitones) % 12 for tone in label.tones),
        )
        for label in labels
    ]


def analysed_chorales(last: int = LAST) -> Iterator[Chorale]:
    """The chorales whose score and analysis match, moved to one key where they differ."""
    works = chorales.Iterator(FIRST, last, numberingSystem="riemenschneider")
    for number, work in enumerate(works, start=FIRST):
        analysis = corpus.parse(f"bach/choraleAnalyses/riemenschneider{number:03d}.rntxt")
        bars, starts = _bars(work.parts[0])
        score = Score(
            title=f"Chorale {number}",
            composer="J. S. Bach",
            file="",
            sha256="",
            notes=_notes(work),
            bars=bars,
            tempos=(TempoMark(onset=Fraction(0), quarters=80.0),),
            tempo=80.0,
            tempo_stated=False,
        )
        labels = _labels(analysis, starts, score.end)
        for shift in range(12):
            moved = _transposed(labels, shift)
            if _fit(score, moved) >= LEAST_FIT:
                yield Chorale(number, score, tuple(moved))
                break


def quality_of(label: Label) -> str:
    """The name in ``QUALITIES`` with the label's tones, or the nearest that has one."""
    steps = {(tone - label.root) % 12 for tone in label.tones}
    for quality, tones in QUALITIES.items():
        if set(tones) == steps:
            return quality
    third = 4 if 4 in steps else 3
    fifth = 6 if 6 in steps and 7 not in steps else 7
    seventh = next((step for step in (10, 11, 9) if step in steps), None)
    wanted = {0, third, fifth, *([seventh] if seventh else [])}
    return min(QUALITIES, key=lambda name: len(set(QUALITIES[name]) ^ wanted))


@dataclass(frozen=True, slots=True)
class Agreement:
    """Shares of the time in which two analyses agree."""

    root: float
    triad: float
    exact: float


def _triad(tones: frozenset[int], root: int) -> tuple[int | None, int | None]:
    steps = {(tone - root) % 12 for tone in tones}
    third = next((step for step in (4, 3) if step in steps), None)
    return third, next((step for step in (7, 6, 8) if step in steps), None)


def agreement(
    pairs: list[tuple[tuple[Label, ...], list[tuple[Beat, Beat, Chord | None]]]],
) -> Agreement:
    """How well chords ``(start, end, chord)`` agree with the labels, weighted by time."""
    total = root = triad = exact = Fraction(0)
    for labels, chords in pairs:
        for label in labels:
            for start, end, chord in chords:
                overlap = min(end, label.end) - max(start, label.start)
                if overlap <= 0:
                    continue
                total += overlap
                if chord is None or chord.root != label.root:
                    continue
                root += overlap
                tones = frozenset(chord.tones)
                triad += overlap * (
                    _triad(tones, label.root) == _triad(label.tones, label.root)
                )
                exact += overlap * (tones == label.tones)
    return Agreement(float(root / total), float(triad / total), float(exact / total))
