"""``sheet.pdf``: the page to print."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
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
from arranger.render.plain_text import kept_together, one_line
from arranger.render.spelling import engraved_names
from arranger.render.tab_head import (
    as_printed,
    caution,
    decision_lines,
    difficulty_text,
    hardest_lines,
    key_text,
    loose_text,
    melody_text,
    sentence,
    tuning_text,
    warning_lines,
)
from arranger.tables.engraving import engraving


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
    tuning = f"Tuning {tuning_text(arrangement.tuning)}".partition(" (")[0]
    data = {
        "title": one_line(arrangement.title) or "Untitled",
        "wide": wide,
        "high": high,
        "scale": paper.scale,
        "subtitle": f"for fingerstyle guitar · {arrangement.level}",
        "left": [key_text(arrangement), tuning],
        "right": _right(arrangement, verdict),
        "shapes": [shape_svg(shape) for shape in arrangement.shapes],
        "loose": engraved_names(loose_text(arrangement, printed=True)),
        "systems": [
            {"svg": system.svg, "ratio": system.height / system.width} for system in systems
        ],
        "gaps": engraving().pages.model_dump(),
        "form": list(folds.said),
        "lesson": _steps(lesson),
        "hard": [_said(line) for line in hardest_lines(arrangement, verdict)],
        "teacher": [
            f"From the file {one_line(arrangement.file)}.",
            _said(f"The tune: {melody_text(arrangement, verdict)}"),
            *map(_said, as_printed(arrangement, decision_lines(arrangement))),
            *map(_said, as_printed(arrangement, warning_lines(arrangement))),
        ],
        "caution": caution(lesson),
    }
    pdf: bytes = typst.compile(
        _template(),
        format="pdf",
        sys_inputs={"sheet": json.dumps(data)},
        ignore_system_fonts=True,
        timestamp=0,
    )
    return pdf


def _said(line: str) -> str:
    return kept_together(engraved_names(sentence(line)))


@cache
def _template() -> bytes:
    return resources.files(__package__).joinpath("page/sheet.typ").read_bytes()


def _steps(lesson: Lesson) -> list[dict[str, object]]:
    """The steps as they are printed: neighbouring loops are one list, drills stand abreast."""
    steps: list[dict[str, object]] = []
    lesson = replace(lesson, steps=tuple(map(_set, lesson.steps)))
    for kind, together in groupby(lesson.steps, key=lambda step: step.kind):
        group = list(together)
        if kind == "loop" and len(group) > 1:
            how = group[0].text.partition(". ")[0].rstrip(".")
            steps.append({**_plain("Loops", f"{how}:"), "lines": _loops(group)})
        elif kind == "repeats" and len(group) > 1:
            steps.append({**_plain("Where repeats differ", ""), "lines": _repeats(group)})
        elif kind == "change":
            title = "The hardest changes" if len(group) > 1 else "The hardest change"
            steps.append({**_plain(title, ""), "cards": [_card(step) for step in group]})
        else:
            steps += [_plain(step.title, step.text) for step in group]
    return steps


def _set(step: LessonStep) -> LessonStep:
    """The step in print: chord names with their signs, and no number at the head of a line."""
    title, text = (
        kept_together(engraved_names(one_line(words))) for words in (step.title, step.text)
    )
    return replace(step, title=title, text=text)


def _plain(title: str, text: str) -> dict[str, object]:
    return {"title": title, "text": text, "lines": [], "cards": []}


def _card(step: LessonStep) -> dict[str, object]:
    """A drill: both shapes over what the hand does."""
    title = step.title.removeprefix("Drill ")
    return {"title": title, "text": step.text, "shapes": list(step.shapes)}


def _loops(loops: Sequence[LessonStep]) -> list[str]:
    """A line for each: which bars, and what there is to say of them but how to loop."""
    lines = []
    for step in loops:
        name = step.title.removeprefix("Loop ")
        more = step.text.partition(". ")[2]
        lines.append(f"{name[:1].upper()}{name[1:]}. {more}".rstrip())
    return lines


def _repeats(repeats: Sequence[LessonStep]) -> list[str]:
    """A line for each repeat: which it is, and what is different in it."""
    lines = []
    for step in repeats:
        name = step.title.removeprefix("Where ").rpartition(" differ")[0]
        lines.append(f"{name[:1].upper()}{name[1:]}. {step.text}")
    return lines


def _right(arrangement: Arrangement, verdict: Verdict) -> list[str]:
    lines = [one_line(arrangement.composer)] if arrangement.composer else []
    return [*lines, f"Difficulty {difficulty_text(verdict)}"]
