"""tab.txt: what a guitarist reads. The golden tabs in tests/golden/render show whole pages."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import pytest
from render_tunes import (
    LESSON,
    TUNES,
    alternating_bass,
    arrangement_of,
    bars_of,
    jig,
    little_rag,
    verdict_of,
    waltz,
)

from arranger.music.arrangement import Arrangement
from arranger.render.tab import tab_systems, tab_text
from arranger.render.written import in_written_time

_GOLDEN = Path(__file__).resolve().parents[2] / "golden" / "render"


def _text(arrangement: Arrangement) -> str:
    return tab_text(arrangement, verdict_of(arrangement), LESSON)


def _lines(arrangement: Arrangement) -> list[str]:
    return [line for system in tab_systems(in_written_time(arrangement)) for line in system]


@pytest.mark.parametrize("tune", TUNES)
def test_the_page_is_the_golden_page(tune) -> None:  # type: ignore[no-untyped-def]
    """Set ARRANGER_WRITE_GOLDEN=1 to write the pages anew, then read them."""
    path = _GOLDEN / f"{tune.__name__}.txt"
    if os.environ.get("ARRANGER_WRITE_GOLDEN"):
        path.write_text(_text(tune()), "utf-8")
    assert _text(tune()) == path.read_text("utf-8")


@pytest.mark.parametrize("tune", TUNES)
def test_no_line_is_longer_than_eighty_columns(tune) -> None:  # type: ignore[no-untyped-def]
    assert max(len(line) for line in _text(tune()).splitlines()) <= 80


def test_pinched_notes_share_a_column_and_the_slur_is_not_plucked() -> None:
    system = next(iter(tab_systems(alternating_bass())))
    strings = next(n for n, line in enumerate(system) if line.startswith("    e "))
    assert [line[:25] for line in system[strings : strings + 7]] == [
        "    e |-0-------------0-|",
        "    B |-------1-0h1-----|",
        "    G |-----------------|",
        "    D |-----2-------2---|",
        "    A |-3-------3-------|",
        "    E |-----------------|",
        "right   m   | i i   | m  ",
    ]


def test_a_rag_in_sixteenths_is_written_in_eighths() -> None:
    lines = _lines(little_rag())
    assert "    e |-3-----0---------|-------0---------||" in lines
    assert "count   1 & 2 & 3 & 4 &   1 & 2 & 3 & 4 &" in lines
    assert "bar    [A] 1             2 same as bar 1" in lines


def test_the_rag_counts_its_tempo_in_written_quarters() -> None:
    """63 source quarters a minute are 126 thumb beats, each written as a quarter."""
    assert "student: quarter note = 126 · target: quarter note = 200" in _text(little_rag())


def test_a_pick_up_counts_where_it_lies_in_its_bar() -> None:
    assert _lines(waltz())[-1].startswith("count   3 &   1 & 2 & 3 &")


def test_a_jig_is_counted_in_six_and_the_thumb_over_the_neck_is_named() -> None:
    lines = _lines(jig())
    assert "count   1 2 3 4 5 6   1  2  3  4  5  6" in lines
    assert any(line.startswith("left") and "T" in line for line in lines)


def test_capo_and_sounding_key_are_said() -> None:
    assert "G major · capo at fret 2, sounds in A major" in _text(waltz())


def test_a_section_begins_a_line() -> None:
    bars = bars_of("4/4", 4)
    bars = (*bars[:2], replace(bars[2], section="B"), bars[3])
    piece = arrangement_of("Two parts", bars, "0 1 1:0 0 i m", "0 C")
    starts = [system[0] for system in tab_systems(piece)]
    assert [start.split()[1] for start in starts] == ["[A]", "[B]"]


def test_a_bar_too_long_for_a_line_is_cut_at_a_beat() -> None:
    notes = "\n".join(f"{n}/8 1/8 1:{n % 10} 1 i m" for n in range(64))
    piece = arrangement_of("Long", bars_of("8/4", 1), notes, "0 C")
    systems = list(tab_systems(piece))
    assert len(systems) > 1
    assert all(len(line) <= 80 for system in systems for line in system)
    strings = "".join(line[6:] for system in systems for line in system if line[4:5] == "e")
    assert [int(char) for char in strings if char.isdigit()] == [n % 10 for n in range(64)]
    assert strings.count("|") == 3


def test_high_frets_never_run_together() -> None:
    piece = arrangement_of(
        "High",
        bars_of("2/4", 1),
        "0 1/4 1:12 1 i m\n1/4 1/4 1:10 1 m m\n1/2 1/4 1:12 1 i m h\n3/4 1/4 1:9 1 m m s",
        "0 C",
    )
    assert "    e |-12-10h12\\9--------------||" in _lines(piece)


def test_titles_from_outside_stay_on_their_line() -> None:
    piece = replace(alternating_bass(), title="A\nB\x1b[2J" + "x" * 100)
    lines = _text(piece).splitlines()
    assert lines[0] == "A B [2J" + 73 * "X"
    assert lines[1] == 27 * "X"
    assert "\x1b" not in _text(piece)


def test_the_number_of_a_short_pick_up_is_not_run_over() -> None:
    bars = bars_of("6/8", 1, pickup="1/2", beat="3/2")
    bars = (replace(bars[0], section="A"), replace(bars[1], section=None))
    piece = arrangement_of("Short", bars, "0 1/2 1:0 0 i m\n1/2 3 1:1 1 m m", "0 C")
    assert next(iter(tab_systems(piece)))[0] == "bar    [A] 0  1"


def test_chord_names_that_would_run_together_stand_on_two_rows() -> None:
    piece = arrangement_of("Names", bars_of("4/4", 1), "0 1 1:0 0 i m", "0 F#m7b5/E 1 B7")
    assert next(iter(tab_systems(piece)))[1:3] == ["            B7", "        F#m7b5/E"]
