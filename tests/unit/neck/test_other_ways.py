"""Other ways to play a bar: different, priced, and chosen again by the marks they come with."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from arranger.music.arrangement import Placement, Voice
from arranger.music.errors import UsageError
from arranger.music.others import BarAlternative
from arranger.neck.others import difference, technique_words
from arranger.render.other_ways import other_lines, other_ways
from arranger.run.pipeline import Result, arrange
from arranger.tables.marks import marks_from_file, marks_lines

_CORPUS = Path(__file__).resolve().parents[3] / "corpus"
_CASES = (
    ("greensleeves", "beginner", 8),
    ("amazing_grace_hymn", "beginner", 2),
    ("amazing_grace_hymn", "intermediate", 4),
)


def _arranged(piece: str, level: str, **options: str | Path) -> Result:
    return arrange(_CORPUS / f"{piece}.mid", level=level, anyway=True, **options)  # type: ignore[arg-type]


def _places(notes: tuple[Placement, ...], bar: int) -> list[tuple[object, ...]]:
    """All that is played in a bar: where, by which left finger, for how long, how begun."""
    return [
        (n.onset, n.length, n.voice, n.string, n.fret, n.left, n.slur)
        for n in notes
        if n.bar == bar
    ]


@pytest.fixture(scope="module", params=_CASES, ids=lambda case: f"{case[0]}-{case[1]}")
def case(request: pytest.FixtureRequest) -> tuple[str, str, int, Result]:
    piece, level, bar = request.param
    return piece, level, bar, _arranged(piece, level, others=str(bar))


def test_they_differ_from_what_was_chosen_and_from_each_other(
    case: tuple[str, str, int, Result],
) -> None:
    _, _, bar, result = case
    ways = result.arrangement.others
    assert 1 <= len(ways) <= 3
    assert {way.bar for way in ways} == {bar}
    played = [_places(result.arrangement.notes, bar), *(_places(w.notes, bar) for w in ways)]
    assert len({tuple(places) for places in played}) == len(played)
    assert [way.points for way in ways] == sorted(way.points for way in ways)


def test_the_tune_stays_the_tune(case: tuple[str, str, int, Result]) -> None:
    _, _, bar, result = case

    def tune(notes: tuple[Placement, ...]) -> list[tuple[object, int]]:
        inside = (n for n in notes if n.bar == bar and n.voice == "melody")
        return [(n.onset, n.midi) for n in inside]

    for way in result.arrangement.others:
        assert tune(way.notes) == tune(result.arrangement.notes)


def _chosen(way: BarAlternative, case: tuple[str, str, int, Result], folder: Path) -> Result:
    piece, level, _, _ = case
    file = folder / "marks.toml"
    bars = (way.bar_mark,) if way.bar_mark else ()
    file.write_text(marks_lines(way.note_marks, bars), "utf-8")
    marks = marks_from_file(file)
    assert (marks.note_marks, marks.bar_marks) == (way.note_marks, bars)
    return _arranged(piece, level, marks=file, others="none")


def test_the_marks_of_a_way_choose_it(
    case: tuple[str, str, int, Result], tmp_path: Path
) -> None:
    """With its neighbours free to answer, a way also costs no more than was said."""
    before = case[3].arrangement.proof
    for way in case[3].arrangement.others:
        again = _chosen(way, case, tmp_path).arrangement
        assert _places(again.notes, way.bar) == _places(way.notes, way.bar)
        assert again.proof.objective <= before.objective + way.points + 0.05


def test_other_inner_notes_are_offered_and_a_mark_names_each(tmp_path: Path) -> None:
    """The ways of the last case differ in inner notes, which the marks hold or leave out."""
    piece, level, bar = _CASES[2]
    ways = _arranged(piece, level, others=str(bar)).arrangement.others
    reasons = [way.reason for way in ways]
    assert any("1 inner note fewer" in reason for reason in reasons)
    assert any("1 inner note more" in reason for reason in reasons)
    for way in ways:
        inner = [mark for mark in way.note_marks if mark.voice == "inner" and mark.string]
        assert len(inner) == sum(note.voice == "inner" for note in way.notes)


def test_inner_notes_that_no_hand_adds_are_refused_by_their_mark(tmp_path: Path) -> None:
    file = tmp_path / "marks.toml"
    file.write_text('[[bar]]\nbar = 2\nnotes = ["1 inner, string 3, fret 9"]\n', "utf-8")
    said = "the inner note on beat 1 cannot be played with string 3 and fret 9"
    with pytest.raises(UsageError, match=said):
        _arranged("amazing_grace_hymn", "intermediate", marks=file)


def test_each_way_is_said_with_tab_and_marks(case: tuple[str, str, int, Result]) -> None:
    _, _, bar, result = case
    for way in other_ways(result.arrangement):
        assert "points" in way.cost
        assert f"bar = {bar}" in way.marks
        assert way.tab.count("|") > 6
    text = "\n".join(other_lines(result.arrangement))
    assert f"other ways to play bar {bar}:" in text


def test_a_small_piece_comes_with_other_ways_and_none_means_none() -> None:
    assert _arranged("little_minuet", "beginner").arrangement.others
    assert not _arranged("little_minuet", "beginner", others="none").arrangement.others


@pytest.mark.parametrize("asked", ["99", "x", "9-3"])
def test_a_bar_that_is_not_there(asked: str) -> None:
    with pytest.raises(UsageError):
        _arranged("little_minuet", "beginner", others=asked)


def test_a_technique_is_named_against_the_one_it_replaces() -> None:
    barre, thumb = frozenset({"full barre"}), frozenset({"thumb over"})
    assert technique_words(thumb, barre) == ["a full barre instead of the thumb over the neck"]
    assert technique_words(barre, frozenset()) == ["without a full barre"]
    assert technique_words(frozenset(), thumb) == ["with the thumb over the neck"]
    assert technique_words(thumb, thumb) == []


def test_notes_are_told_apart_in_a_guitarists_words() -> None:
    def note(onset: int, midi: int, string: int, fret: int, voice: Voice) -> Placement:
        return Placement(
            onset=Fraction(onset),
            length=Fraction(1),
            midi=midi,
            string=string,
            fret=fret,
            left="0" if fret == 0 else "1",
            right="p",
            voice=voice,
            bar=1,
        )

    before = [note(0, 43, 6, 3, "bass"), note(0, 64, 1, 0, "melody")]
    after = [note(0, 47, 5, 2, "bass"), note(0, 64, 2, 5, "melody")]
    assert difference(before, after) == [
        "first finger at fret 2 instead of 3",
        "bass B instead of G",
        "the tune's E on string 2 fret 5 instead of string 1 fret 0",
        "1 open string fewer",
    ]
