"""``sheet.pdf``: the page to print."""

from __future__ import annotations

import json
from collections.abc import Sequence
from functools import cache
from importlib import resources
from itertools import groupby

import typst

from arranger.music.arrangement import Arrangement
from arranger.music.lesson import Lesson, LessonStep
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
    sentence,
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
    wide, high = paper.millimetres
    data = {
        "title": one_line(arrangement.title) or "Untitled",
        "wide": wide,
        "high": high,
        "scale": paper.scale,
        "subtitle": f"for fingerstyle guitar · {arrangement.level}",
        "left": [key_text(arrangement), f"Tuning {tuning_text(arrangement.tuning)}"],
        "right": _right(arrangement, verdict),
        "shapes": [shape_svg(shape) for shape in arrangement.shapes],
        "systems": [
            {"svg": system.svg, "ratio": system.height / system.width} for system in systems
        ],
        "form": list(folds.said),
        "lesson": _steps(lesson),
        "hard": [sentence(line) for line in hardest_lines(verdict)],
        "teacher": [
            f"From the file {one_line(arrangement.file)}.",
            f"The tune: {melody_text(arrangement, verdict)}.",
            *(sentence(line) for line in decision_lines(arrangement)),
            *(sentence(line) for line in warning_lines(arrangement)),
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


def _steps(lesson: Lesson) -> list[dict[str, object]]:
    """The steps as they are printed: neighbouring loops are one list."""
    steps: list[dict[str, object]] = []
    for kind, together in groupby(lesson.steps, key=lambda step: step.kind):
        group = list(together)
        if kind == "loop" and len(group) > 1:
            how = one_line(group[0].text).partition(". ")[0].rstrip(".")
            lines = _loops(group)
            steps.append({"title": "Loops", "text": f"{how}:", "shapes": [], "lines": lines})
            continue
        steps += [
            {
                "title": one_line(step.title),
                "text": one_line(step.text),
                "shapes": list(step.shapes) if step.kind == "change" else [],
                "lines": [],
            }
            for step in group
        ]
    return steps


def _loops(loops: Sequence[LessonStep]) -> list[str]:
    """A line for each: which bars, and what there is to say of them but how to loop."""
    lines = []
    for step in loops:
        name = one_line(step.title).removeprefix("Loop ")
        more = one_line(step.text).partition(". ")[2]
        lines.append(f"{name[:1].upper()}{name[1:]}. {more}".rstrip())
    return lines


def _right(arrangement: Arrangement, verdict: Verdict) -> list[str]:
    lines = [one_line(arrangement.composer)] if arrangement.composer else []
    return [*lines, f"Difficulty {difficulty_text(verdict)}"]
