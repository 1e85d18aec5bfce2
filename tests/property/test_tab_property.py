"""Whatever is arranged, the text tab says every note once, in order, within 80 columns."""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from arranger.music.arrangement import Arrangement
from arranger.render.tab import tab_systems

_GRID = st.sampled_from([1, 2, 3, 4, 6, 8])


@st.composite
def _lines(draw: st.DrawFn) -> str:
    """Notes on a grid that changes from beat to beat, at most one a string at a time."""
    lines = []
    for beat in range(draw(st.integers(1, 12))):
        grid = draw(_GRID)
        for step in range(grid):
            for string in draw(st.sets(st.integers(1, 6), max_size=3)):
                fret = draw(st.integers(0, 19))
                finger = "0" if fret == 0 else draw(st.sampled_from("1234"))
                right = draw(st.sampled_from("pima"))
                onset = beat + Fraction(step, grid)
                lines.append(f"{onset} 1/{grid} melody {string} {fret} {finger} {right}")
    return "\n".join(lines)


def _frets(systems: list[list[str]]) -> dict[int, list[int]]:
    """What is read from the tab: the frets on each string in order."""
    rows: dict[int, list[int]] = {}
    for system in systems:
        strings = [line for line in system if re.match(r"    [A-Ge] ", line)]
        assert len(strings) == 6
        assert len({len(line) for line in strings}) == 1
        for number, line in enumerate(strings, start=1):
            rows.setdefault(number, []).extend(int(fret) for fret in re.findall(r"\d+", line))
    return rows


@settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(_lines(), st.sampled_from([(4, 4), (3, 4), (6, 8), (2, 4)]))
def test_every_note_is_said_once_in_order(
    piece: Callable[..., Arrangement], lines: str, meter: tuple[int, int]
) -> None:
    arrangement = piece(lines, meter=meter)
    systems = list(tab_systems(arrangement))
    assert max(len(line) for system in systems for line in system) <= 80
    said = _frets(systems)
    for string in range(1, 7):
        played = [note.fret for note in arrangement.notes if note.string == string]
        assert said[string] == played
