"""A comparison as rows of words, the same for the terminal and for the page."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import asdict
from typing import Any

from arranger.music.comparison import Column, Comparison, CurvePoint, Refusal, Version
from arranger.render.plain_text import one_line
from arranger.render.tab_head import percent, tempo_marks


def _difficulty(version: Version) -> str:
    """``37 of 100, 31 to 43``."""
    grade = version.verdict.difficulty
    return f"{grade.score:.0f} of 100, {grade.low:.0f} to {grade.high:.0f}"


def _key(version: Version) -> str:
    arrangement = version.arrangement
    capo = f", capo {arrangement.capo}" if arrangement.capo else ""
    return f"{arrangement.key.name}{capo}"


def _tempo(version: Version) -> str:
    unit, student, target = tempo_marks(version.arrangement)
    return f"{unit} = {student}, later {target}"


def _shapes(version: Version) -> str:
    shapes = version.arrangement.shapes
    names = ", ".join(dict.fromkeys(shape.name for shape in shapes))
    return f"{len(shapes)}: {names}" if shapes else "none"


def _techniques(version: Version) -> str:
    used = (
        f"{use.name}, {use.times} times" if use.times > 1 else f"{use.name}, once"
        for use in version.techniques
    )
    return "; ".join(used) or "none"


def _highest(version: Version) -> str:
    return str(max((note.fret for note in version.arrangement.notes), default=0))


def _share(name: str) -> Callable[[Version], str]:
    return lambda version: percent(getattr(version.verdict.fidelity, name))


ROWS: dict[str, Callable[[Version], str]] = {
    "difficulty, and how unsure": _difficulty,
    "band": lambda version: version.verdict.difficulty.band,
    "key": _key,
    "tempo": _tempo,
    "shapes": _shapes,
    "techniques": _techniques,
    "highest fret": _highest,
    "notes": lambda version: str(len(version.arrangement.notes)),
    "tune: notes kept": _share("melody_kept"),
    "tune: heard on the level's grid": _share("grid_fidelity"),
    "tune: steps turned": _share("contour_breaks"),
    "bars with the bass root": _share("bass_roots"),
    "bars with the third": _share("thirds"),
    "thumb on its beats": _share("thumb_beats"),
    "thumb alternates": _share("alternation"),
}
"""What a row is called, and how a version's value is said."""


def comparison_rows(comparison: Comparison) -> Iterator[tuple[str, ...]]:
    """A row for each thing compared: its name, then one text a column.

    A refused column has a dash in every row but the first, which says why.
    """
    if any(column.version is None for column in comparison.columns):
        yield ("does it suit", *(_suits(column) for column in comparison.columns))
    for name, said in ROWS.items():
        yield (
            name,
            *(
                one_line(said(column.version)) if column.version else "–"
                for column in comparison.columns
            ),
        )


def curve_lines(comparison: Comparison) -> Iterator[str]:
    """What can be kept at each difficulty, a line each; neighbours alike are one line."""
    runs: list[list[CurvePoint]] = []
    for point in comparison.curve:
        if runs and (runs[-1][0].level, runs[-1][0].score) == (point.level, point.score):
            runs[-1].append(point)
        else:
            runs.append([point])
    for run in runs:
        first, last = run[0], run[-1]
        limits = f"{first.limit:.0f}" + (f" to {last.limit:.0f}" if len(run) > 1 else "")
        heard = first.fidelity
        yield (
            f"difficulty {limits}: {percent(first.richness)} of the piece, within {first.level}"
            f" (score {first.score:.1f}; tune {percent(heard.melody_kept)}, bass roots"
            f" {percent(heard.bass_roots)}, thirds {percent(heard.thirds)})"
        )


def comparison_json(comparison: Comparison) -> str:
    """The comparison as JSON: figures of every column, and the curve where there is one."""
    value = {
        "title": comparison.title,
        "composer": comparison.composer,
        "columns": [_column(column) for column in comparison.columns],
        "curve": [asdict(point) for point in comparison.curve],
        "front": [asdict(point) for point in comparison.front],
    }
    return json.dumps(value, allow_nan=False, indent=1) + "\n"


def _column(column: Column) -> dict[str, Any]:
    if isinstance(column.outcome, Refusal):
        return {"name": column.name, "refused": asdict(column.outcome)}
    version = column.outcome
    arrangement, verdict = version.arrangement, version.verdict
    return {
        "name": column.name,
        "level": arrangement.level,
        "key": arrangement.key.name,
        "capo": arrangement.capo,
        "tempo": {"target": arrangement.target_tempo, "student": arrangement.student_tempo},
        "notes": len(arrangement.notes),
        "shapes": len(arrangement.shapes),
        "difficulty": {
            "score": verdict.difficulty.score,
            "low": verdict.difficulty.low,
            "high": verdict.difficulty.high,
            "band": verdict.difficulty.band,
        },
        "fidelity": asdict(verdict.fidelity),
        "techniques": [asdict(use) for use in version.techniques],
    }


def _suits(column: Column) -> str:
    return one_line(column.outcome.why) if isinstance(column.outcome, Refusal) else "yes"
