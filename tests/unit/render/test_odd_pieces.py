"""Every document can be made of pieces that are unusual but possible."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from lxml import etree
from render_tunes import (
    LESSON,
    alternating_bass,
    arrangement_of,
    bars_of,
    notes_from,
    verdict_of,
)

from arranger.music.arrangement import Arrangement
from arranger.music.key import Key
from arranger.music.lesson import Lesson
from arranger.render import documents
from arranger.render.musicxml import musicxml_score


def _meter(meter: str, beat: str = "1") -> Arrangement:
    return arrangement_of(
        meter, bars_of(meter, 3, beat=beat), "0 1/4 1:0 0 i m\n1/4 1/4 6:3 3 p b", "0 C"
    )


def silent() -> Arrangement:
    return arrangement_of("", bars_of("4/4", 2), "", "", key="Bb")


def other_tuning() -> Arrangement:
    """String 6 a tone lower, a high capo, frets above nine, a thumb over the neck."""
    bars = bars_of("4/4", 1)
    notes = notes_from("0 1 6:0 0 p b\n0 1 1:12 4 a m\n1 1 6:1 T p b\n1 1 1:10 2 a m", bars)
    tuning = (64, 59, 55, 50, 45, 38)
    return replace(
        silent(),
        bars=bars,
        tuning=tuning,
        capo=5,
        notes=tuple(
            replace(note, midi=tuning[note.string - 1] + 5 + note.fret) for note in notes
        ),
    )


def meters_change() -> Arrangement:
    """2/4, then 6/8, then a bar cut in two halves by a repeat."""
    first, second = bars_of("2/4", 1), bars_of("6/8", 3, beat="3/2")
    lengths = (Fraction(3), Fraction(1), Fraction(2))
    start, bars = Fraction(2), list(first)
    for bar, length in zip(second, lengths, strict=True):
        bars.append(replace(bar, bar=bar.bar + 1, start=start, length=length, section=None))
        start += length
    return arrangement_of(
        "Changes", tuple(bars), "0 4 6:3 3 p b\n4 1/2 1:0 0 i m\n5 3 1:1 1 m m", "0 G 5 N.C."
    )


def unheard_of_times() -> Arrangement:
    """Onsets that no note values can say; the drawing comes as near as it can."""
    return arrangement_of(
        "Times",
        bars_of("4/4", 2),
        "1/17 1/19 1:0 0 i m\n1/2 1/1000 1:1 1 m m\n1 5/7 2:1 1 i m\n12/7 3/11 1:0 0 m m",
        "13/17 C",
    )


def every_finger_at_once() -> Arrangement:
    return arrangement_of(
        "Full",
        bars_of("1/4", 1),
        "0 1 6:1 1 p b\n0 1 5:3 3 p i\n0 1 4:3 4 p i\n"
        "0 1 3:2 2 i i\n0 1 2:1 1 m i\n0 1 1:1 1 a m",
        "0 F",
    )


ODD = {
    "silent": silent,
    "other tuning": other_tuning,
    "meters change": meters_change,
    "unheard-of times": unheard_of_times,
    "every finger": every_finger_at_once,
    "2/2": lambda: _meter("2/2"),
    "3/8": lambda: _meter("3/8"),
    "5/4": lambda: _meter("5/4"),
    "7/8": lambda: _meter("7/8", "1/2"),
    "12/8": lambda: _meter("12/8", "3/2"),
    "3/16": lambda: _meter("3/16", "1/4"),
    "slow": lambda: replace(alternating_bass(), student_tempo=0.5, target_tempo=900.0),
    "thrice": lambda: replace(alternating_bass(), written_scale=4, swing=3.5),
    "many flats": lambda: replace(alternating_bass(), key=Key(1, "major")),
    "sharps": lambda: replace(alternating_bass(), key=Key(6, "major")),
}


@pytest.mark.parametrize("name", ODD)
def test_all_documents_are_made(name: str) -> None:
    piece = ODD[name]()
    made = documents(piece, verdict_of(piece), LESSON)
    assert all(made.values())
    assert max(len(line) for line in made["tab.txt"].decode().splitlines()) <= 80
    root = etree.fromstring(made["score.musicxml"])
    written = sum(1 for note in root.iter("note") if note.find(".//fret") is not None)
    assert written == len(piece.notes)


@pytest.mark.parametrize("name", ODD)
def test_their_score_is_valid(name: str, schema: etree.XMLSchema) -> None:
    document = etree.fromstring(musicxml_score(ODD[name]()))
    assert schema.validate(document), schema.error_log


def test_without_a_lesson_or_reasons() -> None:
    piece = alternating_bass()
    verdict = verdict_of(piece)
    bare = replace(verdict, difficulty=replace(verdict.difficulty, reasons=()))
    plain = replace(piece, warnings=(), decisions=(), dropped=(), shapes=(), chords=())
    assert documents(plain, bare, Lesson(steps=()))
