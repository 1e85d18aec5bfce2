"""Tunes in ABC of any sections, with and without the signs where repeats begin.

Played out as the ABC Standard 2.1 has it (section 4.8, repeat/bar symbols; from memory): a
repeat without a beginning begins after the one before it, or with the tune.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from arranger.read import read

PITCHES = "CDEFGABcdefgab"
FIRST = 60
STEPS = (0, 2, 4, 5, 7, 9, 11)


@dataclass(frozen=True)
class Section:
    """Bars of one section: played ``twice`` or once, with two endings or none."""

    bars: int
    twice: bool
    signed: bool
    endings: bool


def sections() -> st.SearchStrategy[list[Section]]:
    one = st.builds(
        Section,
        bars=st.integers(2, 3),
        twice=st.booleans(),
        signed=st.booleans(),
        endings=st.booleans(),
    )
    return st.lists(one, min_size=1, max_size=4)


def written(tune: list[Section]) -> tuple[str, list[int]]:
    """The tune in ABC, a whole note a bar, and the bars as played (MIDI numbers)."""
    text, place = "", 0
    played: list[int] = []
    run: list[int] = []  # what a repeat without a sign goes back over
    for section in tune:
        letters = [(place + bar) % len(PITCHES) for bar in range(section.bars)]
        place += section.bars
        signed = section.twice and section.signed
        if signed:
            run = []
        text += "|: " if signed else ""
        body = letters[:-1] if section.twice and section.endings else letters
        text += " | ".join(PITCHES[k] + "4" for k in body)
        run += body
        played += body
        if not section.twice:
            text += " | "
            continue
        if section.endings:
            first, second = letters[-1], place % len(PITCHES)
            place += 1
            text += f" |1 {PITCHES[first]}4 :|2 {PITCHES[second]}4 || "
            played += [first, *run, second]
        else:
            text += " :| "
            played += run
        run = []
    midi = [FIRST + 12 * (k // 7) + STEPS[k % 7] for k in played]
    return text, midi


@settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(tune=sections())
def test_every_section_is_played_as_often_as_written(
    tmp_path: Path, tune: list[Section]
) -> None:
    text, midi = written(tune)
    # music21 takes a tune of fewer plain bar lines for one without bars.
    assume(text.count(" | ") >= 2)
    path = tmp_path / "tune.abc"
    path.write_text(f"X:1\nT:Tune\nM:4/4\nL:1/4\nK:C\n{text}|]\n")
    score = read(path)
    assert [note.midi for note in score.notes] == midi, text
