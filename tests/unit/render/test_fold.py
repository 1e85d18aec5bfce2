"""Repeats are folded only where both passes are the same to the last finger."""

from __future__ import annotations

import pytest
from lxml import etree
from render_tunes import LENGTH_OF_TWICE, TUNES, twice

from arranger.music.arrangement import Arrangement
from arranger.render.fold import Folded, folded
from arranger.render.mei import mei
from arranger.render.tab_head import as_printed
from arranger.render.written import in_written_time, written_bars

_LENGTH = LENGTH_OF_TWICE


def _unfolded(folds: Folded, played: Arrangement) -> list[tuple[object, ...]]:
    """The notes as a player meets them who obeys the repeat signs."""
    drawn = folds.drawn.notes
    starts = [bar.start for bar in folds.drawn.bars]
    heard = []
    for index, bar in enumerate(written_bars(played)):
        place = folds.bar_place[index]
        end = folds.drawn.bars[place].end
        for note in drawn:
            if starts[place] <= note.onset < end:
                onset = note.onset - starts[place] + bar.start
                heard.append(
                    (onset, note.length, note.string, note.fret, note.left, note.right)
                )
    return heard


@pytest.mark.parametrize(
    "piece",
    [twice(), twice(last="1:1 1"), twice(pickup=True), twice(held="2")]
    + [in_written_time(tune()) for tune in TUNES],
)
def test_unfolding_gives_back_what_is_played(piece: Arrangement) -> None:
    folds = folded(piece)
    assert _unfolded(folds, piece) == [
        (n.onset, n.length, n.string, n.fret, n.left, n.right) for n in piece.notes
    ]
    for index, note in enumerate(piece.notes):
        drawn = folds.drawn.notes[folds.note_place[index]]
        assert (drawn.string, drawn.fret) == (note.string, note.fret)


def test_equal_passes_are_drawn_once() -> None:
    folds = folded(twice())
    assert len(folds.drawn.bars) == _LENGTH
    assert (folds.starts, folds.ends, folds.endings) == ({0}, {_LENGTH - 1}, {})
    assert folds.said == ("Bars 7–12 are bars 1–6 again.",)


def test_another_last_note_is_a_second_ending() -> None:
    folds = folded(twice(last="1:1 1"))
    assert folds.endings == {5: 1, 6: 2}
    assert folds.said == ("Bars 7–12 are bars 1–6 again; bar 12 is the second ending.",)


def test_a_note_held_over_the_sign_forbids_it() -> None:
    folds = folded(twice(held="2"))
    assert len(folds.drawn.bars) == 2 * _LENGTH


def test_a_pick_up_stays_outside() -> None:
    folds = folded(twice(pickup=True))
    assert len(folds.drawn.bars) == _LENGTH + 1
    assert folds.starts == {1}


def test_the_signs_stand_in_the_score() -> None:
    score = etree.fromstring(mei(folded(twice(last="1:1 1"))))
    measures = list(score.iter("{*}measure"))
    assert [m.get("n") for m in measures] == ["1", "2", "3", "4", "5", "6", "12"]
    assert measures[0].get("left") == "rptstart"
    assert measures[5].get("right") == "rptend"
    endings = [(e.get("n"), [m.get("n") for m in e]) for e in score.iter("{*}ending")]
    assert endings == [("1.", ["6"]), ("2.", ["12"])]


def test_what_is_said_of_bars_names_those_that_are_printed() -> None:
    """Bars 7 to 11 are bars 1 to 5 again; bar 12 is the second ending."""
    piece = twice(last="1:1 1")
    said = as_printed(piece, ["added in bars 2, 4, 8, 12", "bar 9: odd", "40 quarters"])
    assert said == ["added in bars 2, 4 and 12", "bar 3: odd", "40 quarters"]
