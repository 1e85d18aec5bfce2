"""Plots as drawings: lines told apart by dashes, marks and labels, not by colour alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

from lxml import etree

from arranger.render.xml_text import clean, sub

_WIDTH, _HEIGHT = 760, 300
_LEFT, _RIGHT, _TOP, _BOTTOM = 52, 170, 16, 44
_DASHES = ("", "7 3", "2 3", "9 3 2 3", "4 4", "1 4")
_LABEL_ROOM = 15
"""Units between the labels of two lines."""
_FULL = 100.0
"""Both axes of every plot that is not by bar are points or percent."""
_QUARTER = _FULL / 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """Points ``(x, y)`` from left to right under one name; y is 0..100.

    ``marks`` are words beside each point, or empty.
    """

    name: str
    points: tuple[tuple[float, float], ...]
    marks: tuple[str, ...] = ()


def plot_svg(
    lines: Sequence[Line],
    *,
    said: str,
    across: str,
    up: str,
    span: tuple[float, float],
    whole: bool = True,
) -> str:
    """The lines over ``span`` of x, with axes named ``across`` and ``up``.

    Where it need not be the ``whole`` of y, it ends at the quarter above the highest point.
    ``said`` is what a screen reader hears in place of the drawing.
    """
    svg = etree.Element("svg", xmlns="http://www.w3.org/2000/svg", role="img")
    svg.set("class", "plot")
    svg.set("viewBox", f"0 0 {_WIDTH} {_HEIGHT}")
    svg.set("aria-label", clean(said))
    drawn = [line for line in lines if line.points]
    highest = max((y for line in drawn for _, y in line.points), default=_FULL)
    quarters = 4 if whole else min(4, max(1, ceil(highest / _QUARTER)))
    sheet = _Sheet(svg, span, _QUARTER * quarters)
    sheet.axes(across, up)
    ends = _apart([sheet.y(line.points[-1][1]) for line in drawn])
    for number, (line, end) in enumerate(zip(drawn, ends, strict=True)):
        sheet.line(line, number, end)
    return etree.tostring(svg, encoding="unicode")


def _apart(heights: Sequence[float]) -> list[float]:
    """The heights moved so that labels at them do not touch nor leave the drawing."""
    moved = list(heights)
    order = sorted(range(len(heights)), key=lambda index: heights[index])
    above = -_FULL
    for index in order:
        above = moved[index] = max(heights[index], above + _LABEL_ROOM)
    below = _HEIGHT - _LABEL_ROOM + 0.0
    for index in reversed(order):
        moved[index] = min(moved[index], below)
        below = moved[index] - _LABEL_ROOM
    return moved


class _Sheet:
    """The drawing and where a value lies on it."""

    def __init__(self, svg: etree._Element, span: tuple[float, float], full: float) -> None:
        self.svg = svg
        self.low, self.high = span
        self.full = full

    def x(self, value: float) -> float:
        width = _WIDTH - _LEFT - _RIGHT
        return _LEFT + width * (value - self.low) / max(self.high - self.low, 1e-9)

    def y(self, value: float) -> float:
        return _HEIGHT - _BOTTOM - (_HEIGHT - _TOP - _BOTTOM) * value / self.full

    def axes(self, across: str, up: str) -> None:
        right, bottom = _WIDTH - _RIGHT, _HEIGHT - _BOTTOM
        steps = 5 if self.full < 3 * _QUARTER else round(self.full / _QUARTER)
        for value in (self.full * step / steps for step in range(steps + 1)):
            height = f"{self.y(value):g}"
            grid = sub(self.svg, "path", d=f"M{_LEFT},{height}H{right}")
            grid.set("class", "axis" if value == 0 else "grid")
            self._text(_LEFT - 8, self.y(value) + 4, f"{value:g}", "end")
        for value in _ticks(self.low, self.high):
            self._text(self.x(value), bottom + 16, f"{value:g}", "middle")
        self._text((_LEFT + right) / 2, _HEIGHT - 8, across, "middle")
        name = self._text(14, (_TOP + bottom) / 2, up, "middle")
        name.set("transform", f"rotate(-90 14 {(_TOP + bottom) / 2:g})")

    def line(self, line: Line, number: int, label_at: float) -> None:
        at = [(self.x(x), self.y(y)) for x, y in line.points]
        path = sub(self.svg, "path", d="M" + "L".join(f"{x:.1f},{y:.1f}" for x, y in at))
        path.set("class", f"line line-{number % len(_DASHES)}")
        if dash := _DASHES[number % len(_DASHES)]:
            path.set("stroke-dasharray", dash)
        for (x, y), mark in zip(at, line.marks or [""] * len(at), strict=True):
            if mark or len(at) == 1:
                dot = sub(self.svg, "circle", cx=f"{x:.1f}", cy=f"{y:.1f}", r="3.5")
                dot.set("class", f"dot line-{number % len(_DASHES)}")
                sub(dot, "title", clean(mark or line.name))
        end_x, end_y = at[-1]
        label_x = _WIDTH - _RIGHT + 12
        leader = sub(
            self.svg, "path", d=f"M{end_x + 3:.1f},{end_y:.1f}L{label_x - 2},{label_at:.1f}"
        )
        leader.set("class", "grid")
        self._text(label_x, label_at + 4, line.name, "start")

    def _text(self, x: float, y: float, text: str, anchor: str) -> etree._Element:
        element = sub(self.svg, "text", clean(text), x=f"{x:.1f}", y=f"{y:.1f}")
        element.set("text-anchor", anchor)
        return element


def _ticks(low: float, high: float) -> list[float]:
    """Round numbers from low to high, eleven at most."""
    for step in (1, 2, 4, 5, 8, 10, 16, 20, 25, 32, 50, 64, 100, 200, 500, 1000):
        first = ceil(low / step) * step
        ticks = [float(first + step * k) for k in range(int((high - first) // step) + 1)]
        if len(ticks) <= 11:
            return ticks
    return [low, high]
