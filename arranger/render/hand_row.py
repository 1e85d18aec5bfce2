"""Barres and positions of the fretting hand in a row over a system, under its endings.

An ending's bracket is the outermost of what stands over the music; a roman numeral over it
would read like another ending.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from lxml import etree

from arranger.render.groups import SVG as _SVG
from arranger.render.groups import Groups

_LINE = re.compile(r"M([\d.-]+)[ ,]([\d.-]+) ?L([\d.-]+)[ ,]([\d.-]+)")


@dataclass(frozen=True, slots=True)
class HandMark:
    """A mark from ``left`` to ``right``; ``line`` is where the line of a barre begins."""

    text: str
    left: float
    right: float
    line: float | None = None


@dataclass(frozen=True, slots=True)
class Ending:
    """The bracket of an ending: what it spans, and where it ends below."""

    bracket: etree._Element
    left: float
    right: float
    bottom: float


def endings(groups: Groups) -> list[Ending]:
    """The brackets of a system, asked before their class names are dropped."""
    found = []
    for group in groups.of_class("voltaBracket"):
        drawn = [_LINE.match(path.get("d", "")) for path in group.findall(f"{_SVG}path")]
        ends = [tuple(map(float, line.groups())) for line in drawn if line]
        if ends:
            across = [x for x1, _, x2, _ in ends for x in (x1, x2)]
            bottom = max(y for _, y1, _, y2 in ends for y in (y1, y2))
            found.append(Ending(group, min(across), max(across), bottom))
    return found


def under_endings(marks: Sequence[HandMark], over: Sequence[Ending]) -> dict[HandMark, Ending]:
    """Which marks go under which ending; none at all where one reaches out of an ending."""
    under: dict[HandMark, Ending] = {}
    for mark in marks:
        for ending in over:
            if mark.left < ending.right and ending.left < mark.right:
                if mark.left < ending.left or ending.right < mark.right:
                    return {}
                under[mark] = ending
    return under


def lift(over: Sequence[Ending], rise: float) -> None:
    """Move the brackets up, to make room for a row under them."""
    for ending in over:
        ending.bracket.set("transform", f"translate(0 {-rise:.0f})")
