"""Where lines break, where the hand moves, what rings on, and the marks drawn from paths."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import combinations, pairwise

import pytest
from lxml import etree
from render_tunes import arrangement_of, bars_of, little_rag

from arranger.music.arrangement import Arrangement
from arranger.render.breaks import _Lines, line_starts
from arranger.render.engrave import engraved
from arranger.render.fold import folded
from arranger.render.mei import mei
from arranger.render.note_values import plain_value
from arranger.render.position import position_marks
from arranger.render.ringing import ringing
from arranger.render.tempo_mark import MarkPen
from arranger.render.written import in_written_time
from arranger.tables.engraving import engraving


def _piece(count: int, *, sections: tuple[int, ...] = (), busy: int = 4) -> Arrangement:
    """``count`` bars of 4/4 with ``busy`` notes a bar; letters at the bars in ``sections``."""
    step = Fraction(4, busy)
    lines = [f"{step * k} {step} 1:{k % 4} {k % 4} m m" for k in range(count * busy)]
    piece = arrangement_of("Lines", bars_of("4/4", count), "\n".join(lines), "0 G")
    bars = [
        replace(bar, section=chr(ord("A") + sections.index(i)) if i in sections else None)
        for i, bar in enumerate(piece.bars)
    ]
    return replace(piece, bars=tuple(bars))


@pytest.mark.parametrize(("count", "busy"), [(1, 4), (5, 8), (9, 4), (9, 16), (10, 6)])
def test_no_other_way_to_break_is_better(count: int, busy: int) -> None:
    folds = folded(_piece(count, busy=busy, sections=(0, 3)))
    lines = _Lines(folds, 2000, engraving())

    def cost(starts: tuple[int, ...]) -> float:
        return sum(lines.cost(a, b) for a, b in pairwise((*starts, count)))

    ways = [
        (0, *inner) for size in range(count) for inner in combinations(range(1, count), size)
    ]
    assert cost(line_starts(folds, width=2000)) == pytest.approx(min(map(cost, ways)))


def test_sections_begin_lines_and_lines_hold_fours() -> None:
    folds = folded(_piece(24, sections=(0, 8, 16), busy=8))
    assert line_starts(folds, width=2000) == (0, 4, 8, 12, 16, 20)


def test_a_crowded_bar_stands_alone() -> None:
    folds = folded(_piece(3, busy=64))
    assert line_starts(folds, width=1000) == (0, 1, 2)


def test_the_engraver_keeps_our_lines() -> None:
    folds = folded(_piece(12, sections=(0, 4), busy=8))
    starts = tuple(system.bars[0] for system in engraved(folds, width=2000))
    assert starts == line_starts(folds, width=2000)


def _notes(*fretted: tuple[int, str]) -> Arrangement:
    lines = [f"{k} 1 1:{fret} {finger} m m" for k, (fret, finger) in enumerate(fretted)]
    return arrangement_of("Neck", bars_of("4/4", 4), "\n".join(lines), "0 G")


def _marks(*fretted: tuple[int, str]) -> list[tuple[int, int]]:
    return [(int(m.onset), m.fret) for m in position_marks(_notes(*fretted).notes)]


def test_first_position_needs_no_mark() -> None:
    assert _marks((1, "1"), (3, "3"), (3, "4"), (2, "1"), (0, "0")) == []


def test_a_shift_is_marked_and_the_way_back_too() -> None:
    shift = ((1, "1"), (5, "1"), (8, "4"), (7, "3"), (0, "0"), (3, "3"), (1, "1"))
    assert _marks(*shift) == [(1, 5), (5, 1)]


def test_a_stretch_is_not_a_shift() -> None:
    assert _marks((5, "1"), (7, "3"), (9, "4"), (6, "2")) == [(0, 5)]


def test_bass_strings_ring_to_the_next_stroke() -> None:
    piece = arrangement_of(
        "Ring",
        bars_of("4/4", 2),
        "0 1/2 5:0 0 p b\n1 1/2 4:0 0 p b\n2 1/2 4:2 2 i i\n3 1/2 6:3 3 p b\n4 1 6:0 0 p b",
        "0 Am",
    )
    lengths = {(n.onset, n.string): n.length for n in ringing(piece).notes}
    assert lengths[Fraction(0), 5] == 1  # until the thumb plays again
    assert lengths[Fraction(1), 4] == 1  # until its string is needed
    assert lengths[Fraction(3), 6] == 1  # fretted, and the finger has nothing else to do
    assert lengths[Fraction(4), 6] == 4  # until the bar ends


@pytest.mark.parametrize(
    ("meanwhile", "rings"),
    [
        ("1/2 1/2 2:0 0 m m", True),  # an open string
        ("1/2 1/2 2:1 1 m m", True),  # another finger near by
        ("1/2 1/2 2:3 2 m m", False),  # the same finger
        ("1/2 1/2 2:8 4 m m", False),  # another finger far away
        ("2 1/2 2:2 2 m m", False),  # the same finger the moment it would end
        ("2 1/2 6:3 2 p b", True),  # the same finger on the same note
    ],
)
def test_a_fretted_bass_note_rings_where_its_finger_may_stay(
    meanwhile: str, rings: bool
) -> None:
    """Else it is written to the end of its beat: that the hand lets go is no rest."""
    text = f"0 1/2 6:3 2 p b\n{meanwhile}\n2 1 4:0 0 p b"
    piece = arrangement_of("Ring", bars_of("4/4", 1), text, "0 G")
    assert ringing(piece).notes[0].length == (2 if rings else 1)


@pytest.mark.parametrize(
    ("meter", "pickup", "onset", "length", "end"),
    [
        ("4/4", "", "0", "3/4", "1"),
        ("4/4", "", "3/2", "1/4", "2"),
        ("4/4", "", "0", "1", "1"),  # it fills its beat as it is
        ("6/8", "", "0", "1/2", "3/2"),
        ("3/4", "1/2", "0", "1/4", "1/2"),  # half a beat of pick-up
    ],
)
def test_a_bass_note_let_go_is_written_to_the_end_of_its_beat(
    meter: str, pickup: str, onset: str, length: str, end: str
) -> None:
    away = Fraction(onset) + Fraction(length)
    text = f"{onset} {length} 6:3 2 p b\n{away} 1/4 2:8 4 m m"
    piece = arrangement_of("Ring", bars_of(meter, 2, pickup=pickup), text, "0 G")
    assert ringing(piece).notes[0].end == Fraction(end)


def test_a_bass_note_ends_in_writing_where_its_string_or_the_thumb_is_needed() -> None:
    text = "0 1/4 6:3 2 p b\n1/4 1/4 1:8 2 m m\n1/2 1/2 6:0 0 p b"
    piece = arrangement_of("Ring", bars_of("4/4", 1), text, "0 G")
    assert ringing(piece).notes[0].length == Fraction(1, 2)


def test_a_rest_gives_way_to_an_inner_voice() -> None:
    piece = arrangement_of(
        "Rest",
        bars_of("4/4", 1),
        "0 4 1:0 0 a m\n0 1 6:3 3 p b\n1 1 3:0 0 i i\n2 2 6:3 3 p b",
        "0 G",
    )
    score = etree.fromstring(mei(folded(in_written_time(piece))))
    assert not list(score.iter("{*}rest"))


@pytest.mark.parametrize("quarters", ["1/4", "1/2", "1", "3/2", "2", "4"])
def test_a_tempo_mark_has_no_text_but_its_number(quarters: str) -> None:
    canvas = etree.Element("{http://www.w3.org/2000/svg}g")
    value = plain_value(Fraction(quarters))
    assert value is not None
    MarkPen(canvas, 0, 0, 100).tempo(value, 90, 120)
    assert "".join(canvas.itertext()) == "= 90 (aim: 120)"


def test_swing_is_drawn_where_the_piece_swings() -> None:
    straight, swung = (replace(little_rag(), swing=ratio) for ratio in (1.0, 2.0))
    plain, marked = (
        engraved(folded(in_written_time(piece)), width=2000)[0] for piece in (straight, swung)
    )
    assert marked.svg.count("<path") > plain.svg.count("<path")
