"""The page of what was understood, on a waltz of two bars made by hand."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction

import pytest

from arranger.music.analysis import Analysis, Phrase, Section, TextureSpan
from arranger.music.chord import Chord, ChordSpan
from arranger.music.errors import UsageError
from arranger.music.key import Key, KeySection
from arranger.music.score import Bar, Note, Score, SourceWarning, TempoMark
from arranger.run.look import as_json, decisions, page, recurring_in_words, source_key

QUARTER = Fraction(1)
END = Fraction(7)


@pytest.fixture
def waltz() -> Analysis:
    """A pick-up and two bars of 3/4 in B-flat: bass, two chords, tune on top."""
    bars = (
        Bar(number=0, start=Fraction(0), length=QUARTER, numerator=3, denominator=4),
        Bar(number=1, start=Fraction(1), length=Fraction(3), numerator=3, denominator=4),
        Bar(number=2, start=Fraction(4), length=Fraction(3), numerator=3, denominator=4),
    )
    written = [
        (0, 1, 77, "right"),
        (1, 3, 74, "right"),
        (1, 1, 46, "left"),
        (2, 1, 62, "left"),
        (4, 3, 72, "right"),
        (4, 1, 41, "left"),
    ]
    notes = tuple(
        Note(index=i, onset=Fraction(on), length=Fraction(length), midi=midi, hand=hand)
        for i, (on, length, midi, hand) in enumerate(written)
    )
    score = Score(
        title="Little Waltz",
        composer="nobody",
        file="waltz.mid",
        sha256="00",
        notes=notes,
        bars=bars,
        tempos=(TempoMark(onset=Fraction(0), quarters=120.0),),
        tempo=120.0,
        tempo_stated=False,
        warnings=(SourceWarning(code="late-off", text="a note was closed", bar=2),),
    )
    flat = Key(10, "major")
    return Analysis(
        score=score,
        keys=(KeySection(start=Fraction(0), end=END, key=flat),),
        chords=(
            ChordSpan(start=Fraction(0), end=Fraction(1), chord=None),
            ChordSpan(start=Fraction(1), end=Fraction(4), chord=Chord(10, "", 10)),
            ChordSpan(start=Fraction(4), end=END, chord=Chord(5, "7", 5)),
        ),
        melody=(0, 1, 4),
        bass=(2, 5),
        textures=(
            TextureSpan(start=Fraction(0), end=END, texture="waltz", thumb_beat=QUARTER),
        ),
        phrases=(Phrase(start=Fraction(0), end=END, motif=0),),
        sections=(Section(letter="A", first=0, last=2),),
        same_as=(None, None, None),
    )


def test_page_reads_as_written(waltz: Analysis) -> None:
    assert page(waltz) == (
        "Little Waltz, nobody\n"
        "\n"
        "file      waltz.mid\n"
        "meter     3/4; a pick-up of a quarter\n"
        "bars      3, of them 3 different\n"
        "tempo     120 quarter notes a minute (not stated, assumed)\n"
        "swing     none found\n"
        "parts     1, 6 notes, F2 to F5\n"
        "keys      Bb major from bar 0\n"
        "form      A 0–2\n"
        "texture   waltz from bar 0, thumb every quarter\n"
        "hands     right 3 notes, C5 to F5; left 3 notes, F2 to D4\n"
        "melody    3 notes, C5 to F5\n"
        "bass      2 notes, F2 to Bb2\n"
        "recurring no bar comes twice\n"
        "\n"
        "chords by bar\n"
        "   0 –     1 Bb    2 F7\n"
        "\n"
        "warning   a note was closed (bar 2)\n"
        "decided   the meter is 3/4; a pick-up of a quarter [--meter]\n"
        "decided   the piece begins in Bb major [--key]\n"
        "decided   the eighths are straight [--straight/--swing]\n"
        "decided   the higher of two parts is the right hand [--hands]\n"
        "decided   the tune is what lies on top, told by ear [--melody-track]\n"
    )


def test_json_says_the_same_with_exact_times(waltz: Analysis) -> None:
    said = json.loads(as_json(waltz))
    assert said["key_sections"] == [{"start": "0", "end": "7", "key": "Bb major"}]
    assert [span["chord"] for span in said["chords"]] == [None, "Bb", "F7"]
    assert said["form"] == [{"letter": "A", "first": 0, "last": 2}]
    assert said["meter"] == [
        {"bar": 0, "onset": "0", "length": "1", "meter": "3/4"},
        {"bar": 1, "onset": "1", "length": "3", "meter": "3/4"},
    ]
    assert [note["voice"] for note in said["notes"]] == [
        "melody",
        "melody",
        "bass",
        "inner",
        "melody",
        "bass",
    ]
    assert said["notes"][0] == {
        "onset": "0",
        "length": "1",
        "midi": 77,
        "hand": "right",
        "voice": "melody",
    }
    assert said["warnings"] == [{"code": "late-off", "text": "a note was closed", "bar": 2}]


def test_a_performance_says_how_sure_its_beats_are(waltz: Analysis) -> None:
    score = waltz.score
    curve = (score.tempos[0], TempoMark(onset=Fraction(4), quarters=96.0))
    played = replace(waltz, score=replace(score, followed=0.62, tempos=curve))
    assert "tempo     120 quarter notes a minute (followed, 62% sure, 96 to 120)" in page(
        played
    )
    assert (
        "the beats were followed by ear or as tapped",
        "--tempo-hint, --beats",
    ) in decisions(played)


def test_bars_that_recur_most(waltz: Analysis) -> None:
    assert recurring_in_words(replace(waltz, same_as=(None, None, 1))) == (
        "bar 1 (2 times): 67% of the piece"
    )


def test_a_chord_is_named_as_its_key_spells_it(waltz: Analysis) -> None:
    flat_third = ChordSpan(start=Fraction(0), end=END, chord=Chord(3, "", 3))
    in_g = KeySection(start=Fraction(0), end=END, key=Key(7, "major"))
    said = json.loads(as_json(replace(waltz, keys=(in_g,), chords=(flat_third,))))
    assert said["chords"][0]["chord"] == "Eb"


def test_teacher_may_name_the_key() -> None:
    assert source_key(None) is None
    assert source_key("Em") == Key(4, "minor")
    with pytest.raises(UsageError, match="--key: 'H' is not a key"):
        source_key("H")
