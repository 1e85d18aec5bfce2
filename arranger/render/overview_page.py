"""``index.html``: a whole collection to choose from, one file that asks for nothing."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any, get_args

from lxml import etree

from arranger.music.outcome import Outcome, Status
from arranger.render.html_page import page_head, shipped
from arranger.render.plain_text import one_line
from arranger.render.tab_head import CAUTION
from arranger.render.xml_text import clean, sub
from arranger.tables import LEVEL_NAMES

OutcomeRows = Callable[[], Iterator[Outcome]]
"""The outcomes in order, from the first each time it is called: they are never all held."""

Alike = Callable[[Outcome], Sequence[str]]
"""Paths of other pieces that are the same music."""

_COLUMNS = {
    "piece": 0,
    "composer": 2,
    "key": 3,
    "level": 4,
    "outcome": 5,
    "difficulty": 6,
    "of the tune": 8,
    "on the grid": 9,
    "bars": 10,
    "warnings": 11,
    "same music": 14,
}
"""Headings and the places of their values in a row; sheet links have no order."""

_WIDTH, _HEIGHT = 760, 340
_LEFT, _RIGHT, _TOP, _BOTTOM = 52, 130, 16, 44
_CELL = 0.5
"""Points and percent that share one mark, so that a plot of any collection can be drawn."""
_SHAPES = {
    "beginner": "M-4,0a4,4 0 1 0 8,0a4,4 0 1 0 -8,0Z",
    "elementary": "M-3.5,-3.5H3.5V3.5H-3.5Z",
    "intermediate": "M0,-4.5L4.5,3.5H-4.5Z",
    "advanced": "M0,-5L5,0L0,5L-5,0Z",
}


def overview_page(rows: OutcomeRows, alike: Alike) -> Iterator[str]:
    """The page in pieces of text. Every word that comes from outside is escaped.

    Counts, a plot of what is heard of the tune against difficulty, and a table that is
    sorted and filtered by a script; script and style are known by their hashes.
    """
    script = shipped("overview.js")
    counted = _counted(rows)
    yield from (
        page_head("A collection, arranged", style="overview.css", script=script) + "\n",
        "<header><h1>A collection, arranged</h1>\n",
        f"<p>{_counts(counted)} All of it as a table: "
        '<a href="summary.csv">summary.csv</a>, <a href="failures.csv">failures.csv</a>.</p>'
        "</header>\n<main>\n",
        "<noscript><p>Sorting and filtering need a script, which this browser does not run;"
        " summary.csv holds the same rows.</p></noscript>\n",
        _filters(),
        '<p id="count" role="status"></p>\n',
        '<div class="wide"><table><thead><tr>',
        *(
            f'<th scope="col" aria-sort="{"ascending" if place == 0 else "none"}">'
            f'<button type="button" data-column="{place}">{name}</button></th>'
            for name, place in _COLUMNS.items()
        ),
        '<th scope="col">links</th></tr></thead><tbody id="body"></tbody></table></div>\n',
        '<p><button id="more" type="button" hidden>Show more rows</button></p>\n',
    )
    if counted.marks:
        yield "<h2>What is kept of the tune against what it asks</h2>\n"
        yield _plot(counted)
    yield f'\n<p class="caution">{escape(CAUTION)}</p>\n</main>\n'
    yield '<script type="application/json" id="rows">['
    comma = ""
    for outcome in rows():
        yield comma + _as_json(_row(outcome, alike(outcome)))
        comma = ",\n"
    yield f"]</script>\n<script>{script}</script>\n</body>\n</html>\n"


@dataclass(slots=True)
class _Mark:
    """Pieces whose values fall in one cell of the plot; the first is named."""

    first: str
    count: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class _Counted:
    statuses: Mapping[str, int]
    pieces: int
    marks: Mapping[tuple[str, int, int], _Mark]


def _counted(rows: OutcomeRows) -> _Counted:
    statuses: dict[str, int] = {}
    marks: dict[tuple[str, int, int], _Mark] = {}
    pieces, before = 0, None
    for outcome in rows():
        statuses[outcome.status] = statuses.get(outcome.status, 0) + 1
        pieces += outcome.piece != before
        before = outcome.piece
        if outcome.difficulty is None or outcome.fidelity is None:
            continue
        at = (
            outcome.level,
            round(outcome.difficulty / _CELL),
            round(100 * outcome.fidelity.melody_kept / _CELL),
        )
        if at in marks:
            marks[at].count += 1
        else:
            marks[at] = _Mark(first=one_line(outcome.title or outcome.piece))
    return _Counted(statuses=statuses, pieces=pieces, marks=marks)


def _counts(counted: _Counted) -> str:
    said = ", ".join(
        f"{counted.statuses[status]} {status}"
        for status in get_args(Status)
        if status in counted.statuses
    )
    return f"{counted.pieces} piece{'s' * (counted.pieces != 1)}; arrangements: {said}."


def _filters() -> str:
    levels = "".join(f"<option>{name}</option>" for name in LEVEL_NAMES)
    statuses = "".join(f"<option>{name}</option>" for name in get_args(Status))
    return (
        '<form id="filters">'
        '<label>Words <input id="sought" type="search" autocomplete="off"></label>'
        f'<label>Level <select id="level"><option value="">all</option>{levels}</select>'
        "</label>"
        f'<label>Outcome <select id="status"><option value="">all</option>{statuses}'
        "</select></label>"
        '<label>Difficulty at most <input id="most" type="number" min="0" max="100"></label>'
        '<label><input id="alike" type="checkbox"> same music under several names</label>'
        "</form>\n"
    )


def _row(outcome: Outcome, alike: Sequence[str]) -> list[Any]:
    heard = outcome.fidelity
    return [
        one_line(outcome.piece),
        one_line(outcome.title),
        one_line(outcome.composer),
        outcome.key + (f", capo {outcome.capo}" if outcome.capo else ""),
        outcome.level,
        outcome.status,
        None if outcome.difficulty is None else round(outcome.difficulty, 2),
        outcome.band,
        None if heard is None else round(heard.melody_kept, 4),
        None if heard is None else round(heard.grid_fidelity, 4),
        outcome.bars,
        [one_line(warning) for warning in outcome.warnings],
        one_line(outcome.reason),
        outcome.folder,
        [one_line(path) for path in alike],
    ]


def _as_json(value: object) -> str:
    """JSON that no text in it can end the script element, or be other than text."""
    return json.dumps(value, separators=(",", ":")).replace("<", "\\u003c")


def _plot(counted: _Counted) -> str:
    svg = etree.Element("svg", xmlns="http://www.w3.org/2000/svg", role="img")
    svg.set("class", "plot")
    svg.set("viewBox", f"0 0 {_WIDTH} {_HEIGHT}")
    svg.set("aria-label", _said(counted))
    lowest = min(kept for _, _, kept in counted.marks) * _CELL
    low = min(90.0, 10.0 * (lowest // 10))
    right, bottom = _WIDTH - _RIGHT, _HEIGHT - _BOTTOM

    def across(points: float) -> float:
        return _LEFT + (right - _LEFT) * points / 100

    def up(percent: float) -> float:
        return bottom - (bottom - _TOP) * (percent - low) / (100 - low)

    for number in range(5):
        value = low + (100 - low) * number / 4
        sub(svg, "path", d=f"M{_LEFT},{up(value):g}H{right}").set("class", "grid")
        _text(svg, _LEFT - 8, up(value) + 4, f"{value:g}", "end")
        _text(svg, across(25 * number), bottom + 16, f"{25 * number}", "middle")
    _text(svg, (_LEFT + right) / 2, _HEIGHT - 8, "difficulty", "middle")
    name = _text(svg, 14, (_TOP + bottom) / 2, "percent of the tune's notes", "middle")
    name.set("transform", f"rotate(-90 14 {(_TOP + bottom) / 2:g})")
    for number, level in enumerate(LEVEL_NAMES):
        group = sub(svg, "g")
        group.set("class", f"mark {level}")
        group.set("data-level", level)
        sub(
            group,
            "path",
            d=_SHAPES[level],
            transform=f"translate({right + 16} {24 + 20 * number})",
        )
        _text(svg, right + 28, 28 + 20 * number, level, "start")
        for (at_level, points, kept), mark in sorted(counted.marks.items()):
            if at_level != level:
                continue
            x, y = across(points * _CELL), up(kept * _CELL)
            size = 1 + min(1.0, (mark.count - 1) / 10)
            moved = f"translate({x:.1f} {y:.1f}) scale({size:.2g})"
            shape = sub(group, "path", d=_SHAPES[level], transform=moved)
            more = f" and {mark.count - 1} more" if mark.count > 1 else ""
            sub(
                shape,
                "title",
                clean(
                    f"{mark.first}{more}, {level}: difficulty {points * _CELL:g},"
                    f" {kept * _CELL:g} % of the tune"
                ),
            )
    return etree.tostring(svg, encoding="unicode")


def _said(counted: _Counted) -> str:
    """What a screen reader hears in place of the plot."""
    parts = []
    for level in LEVEL_NAMES:
        marks = [
            (points, kept, mark.count)
            for (name, points, kept), mark in counted.marks.items()
            if name == level
        ]
        if marks:
            count = sum(many for _, _, many in marks)
            points = sum(points * many for points, _, many in marks) * _CELL / count
            kept = sum(kept * many for _, kept, many in marks) * _CELL / count
            parts.append(
                f"{level}: {count} arrangements, difficulty {points:.0f} and {kept:.0f} % of"
                " the tune on average"
            )
    return "; ".join(parts)


def _text(svg: etree._Element, x: float, y: float, text: str, anchor: str) -> etree._Element:
    element = sub(svg, "text", clean(text), x=f"{x:.1f}", y=f"{y:.1f}")
    element.set("text-anchor", anchor)
    return element
