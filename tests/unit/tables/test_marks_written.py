"""Marks written as lines are read back as they were; a ritardando is a list of bars."""

from __future__ import annotations

import tomllib
from fractions import Fraction
from pathlib import Path

import pytest

from arranger.music.errors import UsageError
from arranger.music.marks import BarMark, NoteMark
from arranger.run.pipeline import arrange
from arranger.tables.marks import MarksFile, marks_from_file, marks_lines

_CORPUS = Path(__file__).resolve().parents[3] / "corpus"


def test_lines_are_read_back(tmp_path: Path) -> None:
    notes = (
        NoteMark(bar=0, beat=Fraction(4), voice="melody", string=2, finger=None),
        NoteMark(bar=8, beat=Fraction(5, 2), voice="bass", string=None, finger=5),
        NoteMark(bar=8, beat=Fraction(4, 3), voice="bass", string=6, finger=0),
        NoteMark(bar=8, beat=Fraction(2), voice="inner", string=3, finger=2, fret=12),
        NoteMark(bar=8, beat=Fraction(3), voice="inner", string=None, finger=None),
    )
    bars = (
        BarMark(bar=8, avoid=frozenset({"full barre", "half barre"}), use=frozenset()),
        BarMark(bar=9, avoid=frozenset(), use=frozenset({"thumb over"})),
    )
    file = tmp_path / "marks.toml"
    file.write_text(marks_lines(notes, bars), "utf-8")
    marks = marks_from_file(file)
    assert (marks.note_marks, marks.bar_marks) == (notes, bars)


def test_lines_of_two_bars_can_stand_in_one_file() -> None:
    one, two = (
        marks_lines((NoteMark(bar=bar, beat=Fraction(1), voice="bass", string=6, finger=2),))
        for bar in (1, 2)
    )
    file = MarksFile.model_validate(tomllib.loads(f"ritardando = [7, 8]\n\n{one}\n{two}"))
    assert [bar.bar for bar in file.bar] == [1, 2]
    assert file.ritardando == (7, 8)


def test_a_bar_names_its_notes_one_a_line() -> None:
    notes = (
        NoteMark(bar=8, beat=Fraction(1), voice="bass", string=6, finger=5),
        NoteMark(bar=8, beat=Fraction(5, 2), voice="melody", string=1, finger=4),
    )
    bar = BarMark(bar=8, avoid=frozenset({"full barre"}), use=frozenset())
    assert marks_lines(notes, (bar,)).splitlines() == [
        "[[bar]]",
        "bar = 8",
        'avoid = ["full barre"]',
        "notes = [",
        '  "1 bass, string 6, finger T",',
        '  "5/2 melody, string 1, finger 4",',
        "]",
    ]


@pytest.mark.parametrize(
    "words", ["melody", "1 tenor, string 2", "1 bass, string 7", "x bass", "1 no bass"]
)
def test_a_line_that_names_no_note_is_refused(tmp_path: Path, words: str) -> None:
    file = tmp_path / "marks.toml"
    file.write_text(f'[[bar]]\nbar = 3\nnotes = ["{words}"]\n', "utf-8")
    with pytest.raises(UsageError, match=r"in bar 3 does not name a note"):
        marks_from_file(file)


@pytest.mark.parametrize(
    "lines",
    [
        '[[bar]]\nbar = 3\nnotes = ["2 inner, finger 1"]',
        "[[note]]\nbar=3\nbeat=2\nvoice='inner'",
    ],
)
def test_an_inner_note_needs_its_string(tmp_path: Path, lines: str) -> None:
    """Else it could be read as 'none at all', which has words of its own."""
    file = tmp_path / "marks.toml"
    file.write_text(lines, "utf-8")
    with pytest.raises(UsageError, match="inner note on beat 2 of bar 3 has no string"):
        marks_from_file(file)


def test_a_note_alone_has_lines_of_its_own_too(tmp_path: Path) -> None:
    file = tmp_path / "marks.toml"
    file.write_text('[[note]]\nbar = 1\nbeat = 2.5\nvoice = "bass"\nstring = 5\n', "utf-8")
    expected = NoteMark(bar=1, beat=Fraction(5, 2), voice="bass", string=5, finger=None)
    assert marks_from_file(file).note_marks == (expected,)


def test_the_marks_slow_the_piece_down(tmp_path: Path) -> None:
    file = tmp_path / "marks.toml"
    file.write_text("ritardando = [15, 16]\n", "utf-8")
    tune = _CORPUS / "amazing_grace_hymn.mid"
    slowed = arrange(tune, marks=file, others="none")
    assert [bar.bar for bar in slowed.arrangement.bars if bar.slows] == [15, 16]
    closing = next(step for step in slowed.lesson.steps if step.kind == "closing")
    assert closing.bars == (15, 16)
    file.write_text("ritardando = [99]\n", "utf-8")
    with pytest.raises(UsageError, match="no bar 99"):
        arrange(tune, marks=file)
