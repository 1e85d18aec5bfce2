"""``sheet.pdf``: the page to print."""

from __future__ import annotations

import json
from functools import cache
from importlib import resources

import typst

from arranger.music.arrangement import Arrangement
from arranger.music.lesson import Lesson
from arranger.music.verdict import Verdict
from arranger.render.diagrams import shape_svg
from arranger.render.engrave import System
from arranger.render.fold import Folded
from arranger.render.paper import Paper
from arranger.render.plain_text import one_line
from arranger.render.tab_head import (
    CAUTION,
    decision_lines,
    difficulty_text,
    hardest_lines,
    key_text,
    melody_text,
    swing_text,
    tempo_text,
    tuning_text,
    warning_lines,
)


def printed_sheet(
    arrangement: Arrangement,
    verdict: Verdict,
    lesson: Lesson,
    systems: tuple[System, ...],
    *,
    folds: Folded,
    paper: Paper,
) -> bytes:
    """The PDF, the same bytes for the same values; ``systems`` as wide as ``paper`` asks."""
    data = {
        "title": one_line(arrangement.title) or "Untitled",
        "paper": paper.typst_name,
        "scale": paper.scale,
        "left": _left(arrangement),
        "right": _right(arrangement, verdict),
        "shapes": [shape_svg(shape) for shape in arrangement.shapes],
        "systems": [system.svg for system in systems],
        "notes": [
            *folds.said,
            f"Melody: {melody_text(arrangement, verdict)}.",
            *decision_lines(arrangement),
            *warning_lines(arrangement),
            *hardest_lines(verdict),
        ],
        "lesson": [
            {"title": one_line(step.title), "text": one_line(step.text)}
            for step in lesson.steps
        ],
        "caution": CAUTION,
    }
    pdf: bytes = typst.compile(
        _template(),
        format="pdf",
        sys_inputs={"sheet": json.dumps(data)},
        ignore_system_fonts=True,
        timestamp=0,
    )
    return pdf


@cache
def _template() -> bytes:
    return resources.files(__package__).joinpath("page/sheet.typ").read_bytes()


def _left(arrangement: Arrangement) -> list[str]:
    lines = [f"Key: {key_text(arrangement)}", f"Tuning: {tuning_text(arrangement.tuning)}"]
    return [f"Tempo, {tempo_text(arrangement)}", *lines]


def _right(arrangement: Arrangement, verdict: Verdict) -> list[str]:
    lines = [one_line(arrangement.composer)] if arrangement.composer else []
    lines.append(f"Level: {arrangement.level}")
    lines.append(f"Difficulty: {difficulty_text(verdict)}")
    if arrangement.swing != 1.0:
        lines.append(f"Swing: {swing_text(arrangement.swing)}")
    return lines
