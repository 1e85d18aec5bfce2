"""Pieces as if already understood, from lines a musician can read."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Any, NamedTuple

from arranger.music.analysis import Analysis, Phrase, Section, TextureSpan
from arranger.music.chord import Chord, ChordSpan
from arranger.music.key import KeySection, parse_key
from arranger.music.pitch import pitch_class
from arranger.music.score import Bar, Note, Score, TempoMark


class _Row(NamedTuple):
    onset: Fraction
    length: Fraction
    midi: int
    hand: str
    voice: str


def midi(name: str) -> int:
    """``C4`` is 60."""
    found = re.fullmatch(r"([A-G][#b]?)(-?\d)", name)
    if not found:
        raise ValueError(f"'{name}' is not a note")
    return pitch_class(found[1]) + 12 * (int(found[2]) + 1)


def chord(name: str) -> Chord:
    """``G7``, ``C/E``."""
    above, _, bass = name.partition("/")
    found = re.fullmatch(r"([A-G][#b]?)(.*)", above)
    if not found:
        raise ValueError(f"'{name}' is not a chord")
    root = pitch_class(found[1])
    return Chord(root, found[2], pitch_class(bass) if bass else root)


def heard(
    melody: str,
    bass: str = "",
    inner: str = "",
    *,
    chords: str,
    texture: str = "stride",
    beat: str = "1",
    meter: tuple[int, int] = (4, 4),
    pickup: str = "0",
    key: str = "C",
    phrases: tuple[str, ...] = ("0",),
    tempo: float = 100.0,
    tempo_stated: bool = True,
    title: str = "A test",
) -> Analysis:
    """The analysis of a small piece with one texture and one key.

    ``melody``, ``bass`` and ``inner`` are words such as ``C4+E4:1/2`` or ``r:1`` (a rest),
    a note and its length in quarters; ``chords`` are words such as ``G7:4`` or ``-:4``.
    ``phrases`` are the onsets at which phrases begin.
    """
    rows = sorted(
        [*_rows(melody, "right", "tune"), *_rows(bass, "left", "bass"),
         *_rows(inner, "left", "inner")],
        key=lambda row: (row.onset, -row.midi),
    )  # fmt: skip
    notes = tuple(
        Note(index=i, onset=row.onset, length=row.length, midi=row.midi, hand=row.hand)
        for i, row in enumerate(rows)
    )
    spans = _chord_spans(chords)
    bars = _bars(spans[-1].end, meter, Fraction(pickup))
    end = bars[-1].end
    starts = [Fraction(onset) for onset in phrases]
    score = Score(
        title=title,
        composer="",
        file="test.mid",
        sha256="",
        notes=notes,
        bars=bars,
        tempos=(TempoMark(onset=Fraction(0), quarters=tempo),),
        tempo=tempo,
        tempo_stated=tempo_stated,
    )
    return Analysis(
        score=score,
        keys=(KeySection(start=Fraction(0), end=end, key=parse_key(key)),),
        chords=spans,
        melody=tuple(i for i, row in enumerate(rows) if row.voice == "tune"),
        bass=tuple(i for i, row in enumerate(rows) if row.voice == "bass"),
        textures=(
            TextureSpan(start=Fraction(0), end=end, texture=texture, thumb_beat=Fraction(beat)),
        ),
        phrases=tuple(
            Phrase(start=start, end=after, motif=0)
            for start, after in zip(starts, [*starts[1:], end], strict=True)
        ),
        sections=(Section(letter="A", first=0, last=len(bars) - 1),),
        same_as=_same_as(bars, notes),
    )


def _rows(text: str, hand: str, voice: str) -> list[_Row]:
    rows, at = [], Fraction(0)
    for word in text.replace("|", " ").split():
        names, _, length = word.partition(":")
        for name in names.split("+"):
            if name != "r":
                rows.append(_Row(at, Fraction(length), midi(name), hand, voice))
        at += Fraction(length)
    return rows


def _chord_spans(text: str) -> tuple[ChordSpan, ...]:
    spans, at = [], Fraction(0)
    for word in text.replace("|", " ").split():
        name, _, length = word.rpartition(":")
        end = at + Fraction(length)
        spans.append(ChordSpan(start=at, end=end, chord=None if name == "-" else chord(name)))
        at = end
    return tuple(spans)


def _bars(end: Fraction, meter: tuple[int, int], pickup: Fraction) -> tuple[Bar, ...]:
    length = Fraction(4 * meter[0], meter[1])
    start, number = (Fraction(0), 0) if pickup else (Fraction(0), 1)
    bars: list[Bar] = []
    while start < end:
        full = pickup if number == 0 else length
        fields: dict[str, Any] = {"numerator": meter[0], "denominator": meter[1]}
        bars.append(Bar(number=number, start=start, length=full, **fields))
        start, number = start + full, number + 1
    return tuple(bars)


def _same_as(bars: tuple[Bar, ...], notes: tuple[Note, ...]) -> tuple[int | None, ...]:
    first: dict[object, int] = {}
    same: list[int | None] = []
    for place, bar in enumerate(bars):
        inside = tuple(
            (note.onset - bar.start, note.length, note.midi, note.hand)
            for note in notes
            if bar.start <= note.onset < bar.end
        )
        earlier = first.setdefault((bar.length, inside), place)
        same.append(earlier if earlier != place else None)
    return tuple(same)
