"""Equal bars, sections and phrases."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from little_scores import score_of

from arranger.analyse import analyse
from arranger.music.score import Score
from arranger.read import read

BASS = "C3:1/2 E3+G3:1/2 G2:1/2 E3+G3:1/2 "


def strain(seed: int) -> str:
    """Eight different bars of 2/4."""
    names = ("C5", "D5", "E5", "F5", "G5", "A5", "B5", "C6")
    words = []
    for bar in range(8):
        picks = [names[(seed * 3 + bar * 5 + step * (bar + seed)) % 8] for step in range(3)]
        words.append(f"{picks[0]}:1/2 {picks[1]}:1/2 {picks[2]}:1 ")
    return "".join(words)


A, B = strain(1), strain(2)


def form(score: Score) -> str:
    return " ".join(f"{s.letter}{s.last - s.first + 1}" for s in analyse(score).sections)


def test_played_out_repeats_share_a_letter() -> None:
    score = score_of(A * 2 + B * 2 + A, BASS * 40, meter=(2, 4))
    assert form(score) == "A8 A8 B8 B8 A8"


def test_a_short_opening_that_never_returns_is_an_introduction() -> None:
    opening = "G4:1 Ab4:1 | A4:1 Bb4:1 | B4:1 F4:1 | E4:1 F#4:1 "
    score = score_of(opening + A * 2 + B * 2, BASS * 36, meter=(2, 4))
    assert form(score) == "Intro4 A8 A8 B8 B8"


def test_a_strain_of_two_halves_that_begin_alike_is_one_section() -> None:
    """Question and answer: five bars the same, then another close."""
    bars = [f"{bar.strip()} " for bar in A.split(" ")]
    eight = [" ".join(bars[3 * k : 3 * k + 3]) for k in range(8)]
    other = "F5:1/2 A5:1/2 D5:1 B4:1/2 G5:1/2 F5:1 E5:1/2 D5:1/2 C5:1 "
    halves = A + " ".join(eight[:5]) + " " + other
    score = score_of((halves * 2 + B * 2) * 2, BASS * 96, meter=(2, 4))
    assert form(score) == "A16 A16 B8 B8 A16 A16 B8 B8"


def test_a_song_with_a_middle_part_that_comes_once_a_verse() -> None:
    score = score_of((A * 2 + B + A) * 2, BASS * 64, meter=(2, 4))
    assert form(score) == "A8 A8 B8 A8 A8 A8 B8 A8"


def test_a_trio_that_comes_back_in_octaves_after_a_break_is_the_trio() -> None:
    """A march: the trio, then twice a break and the trio in full dress.

    Break and trio come again as one block. Two bars of the return have another note, so no
    stretch of it is as long as the trio.
    """
    trio = A + strain(4)
    full = [octave(word) for word in trio.split()]
    full[3 * 2] = full[3 * 9] = "F#5+F#4:1/2"
    again = B + " ".join(full) + " "
    score = score_of(trio * 2 + again * 2, BASS * 80, meter=(2, 4))
    assert form(score) == "A16 A16 B8 A16 B8 A16"


def octave(word: str) -> str:
    """A note with its lower octave: ``C5:1`` gives ``C5+C4:1``."""
    name, length = word.split(":")
    return f"{name}+{name[:-1]}{int(name[-1]) - 1}:{length}"


def test_a_pick_up_belongs_to_the_first_section() -> None:
    score = score_of(
        "G4:1/2 " + A * 2 + B * 2, "r:1/2 " + BASS * 32, meter=(2, 4), pickup="1/2"
    )
    assert analyse(score).sections[0].first == 0
    assert form(score) == "A9 A8 B8 B8"


def test_equal_bars_are_equal_in_every_note_and_length() -> None:
    score = score_of(A * 2, BASS * 16, meter=(2, 4))
    same = analyse(score).same_as
    assert same[:8] == (None,) * 8
    assert same[8:] == tuple(range(8))
    notes = list(score.notes)
    place = next(i for i, note in enumerate(notes) if note.onset == Fraction(16))
    notes[place] = replace(notes[place], length=notes[place].length / 2)
    assert analyse(replace(score, notes=tuple(notes))).same_as[8] is None


def test_phrases_begin_after_rests_and_cover_the_piece() -> None:
    phrase = "C5:1 D5:1 | E5:1 F5:1 | G5:1 E5:1 | C5:1 r:1 | "
    other = "A5:1 G5:1 | F5:1/2 E5:1/2 D5:1 | E5:1 F5:1 | D5:1 r:1 | "
    score = score_of(phrase + other + phrase + other, BASS * 16, meter=(2, 4))
    phrases = analyse(score).phrases
    assert [found.start for found in phrases] == [0, 8, 16, 24]
    assert phrases[-1].end == score.end
    assert [found.motif for found in phrases] == [0, 1, 0, 1]


def test_a_phrase_takes_its_pick_up_with_it() -> None:
    line = "E5:1 D5:1 | C5:1 D5:1 | E5:1 C5:1 | D5:1 r:1/2 G4:1/2 | "
    score = score_of("G4:1/2 " + line * 4, "r:1/2 " + BASS * 16, meter=(2, 4), pickup="1/2")
    starts = [found.start for found in analyse(score).phrases]
    assert starts == [0, 8, 16, 24]


def test_verse_and_chorus_that_differ_in_how_they_open_have_two_letters() -> None:
    """Greensleeves: the chorus goes up to the seventh of the scale, then on as the verse."""
    corpus = Path(__file__).parents[3] / "corpus"
    found = analyse(read(corpus / "greensleeves.mid")).sections
    assert [section.letter for section in found] == ["A", "A", "B", "B"]
