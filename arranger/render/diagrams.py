"""Chord shapes: as one line of text, and as a drawing."""

from __future__ import annotations

from dataclasses import replace

from lxml import etree

from arranger.music.arrangement import Shape
from arranger.render.barre import barre_columns, barre_span, barre_text, roman
from arranger.render.spelling import engraved_name
from arranger.render.xml_text import clean, sub

_GAP = 14
"""Distance of two strings, and of two frets but for a little more, in drawing units."""
_FRET = 17
_LEFT, _TOP = 34, 46
_FRETS = 4
_WIDTH = _LEFT + 5 * _GAP + 16


def finger_list(shape: Shape) -> str:
    """The left fingers, string 6 first: ``x32o1o`` (``x`` not played, ``o`` open)."""
    marks = []
    for fret, finger in zip(shape.frets, shape.fingers, strict=True):
        open_or_mute = "x" if fret is None else "o" if fret == 0 else "?"
        marks.append(finger or open_or_mute)
    return "".join(marks)


def shape_line(shape: Shape, *, width: int = 0) -> str:
    """``F       133211   fingers 134211   barre CI``, the name padded to ``width``."""
    line = f"{shape.name:<{width}}  {shape.shorthand:<12}  fingers {finger_list(shape)}"
    if shape.barre:
        line += f"  barre {barre_text(shape.barre, barre_span(shape))}"
    return line


def first_fret(shape: Shape) -> int:
    """The fret that a diagram of four frets begins with: 1 as long as all fingers fit."""
    pressed = [fret for fret in shape.frets if fret]
    return 1 if max(pressed, default=0) <= _FRETS else min(pressed)


def mirrored(shape: Shape) -> Shape:
    """The shape as a left-handed player sees it: string 1 first."""
    return replace(shape, frets=shape.frets[::-1], fingers=shape.fingers[::-1])


def shape_svg(shape: Shape) -> str:
    """A chord diagram: strings upright, nut on top, fingers in the dots, name above."""
    top = first_fret(shape)
    rows = max(_FRETS, max((fret for fret in shape.frets if fret), default=0) - top + 1)
    height = _TOP + rows * _FRET + 8
    svg = etree.Element("svg", xmlns="http://www.w3.org/2000/svg")
    svg.set("viewBox", f"0 0 {_WIDTH} {height}")
    svg.set("width", str(_WIDTH))
    svg.set("height", str(height))
    svg.set("font-family", "'Libertinus Serif', 'Times New Roman', Times, serif")
    svg.set("text-anchor", "middle")
    _text(svg, _LEFT + 2.5 * _GAP, 21, 19, clean(engraved_name(shape.name)))
    _grid(svg, rows, top)
    if barre_span(shape) > 1:
        _barre(svg, shape, top)
    for index, (fret, finger) in enumerate(zip(shape.frets, shape.fingers, strict=True)):
        x = _LEFT + index * _GAP
        if not fret:
            _open_or_mute(svg, x, fret)
            continue
        y = _TOP + (fret - top + 0.5) * _FRET
        sub(svg, "circle", cx=str(x), cy=f"{y:g}", r="6.6", fill="currentColor")
        if finger:
            number = _text(svg, x, y + 4, 11.5, finger)
            number.set("font-weight", "bold")
            number.set("fill", "white")
            number.set("class", "dot-number")
    return etree.tostring(svg, encoding="unicode")


def _open_or_mute(svg: etree._Element, x: float, fret: int | None) -> None:
    """A ring over an open string, a cross over one that is not played."""
    y = _TOP - 9
    if fret is None:
        path = f"M{x - 3.4:g},{y - 3.4:g}l6.8,6.8M{x - 3.4:g},{y + 3.4:g}l6.8,-6.8"
        sign = sub(svg, "path", d=path)
    else:
        sign = sub(svg, "circle", cx=f"{x:g}", cy=f"{y:g}", r="3.8")
    sign.set("fill", "none")
    sign.set("stroke", "currentColor")
    sign.set("stroke-width", "1.1")


def _grid(svg: etree._Element, rows: int, top: int) -> None:
    right, bottom = _LEFT + 5 * _GAP, _TOP + rows * _FRET
    lines = [f"M{x},{_TOP}V{bottom}" for x in range(_LEFT, right + 1, _GAP)]
    lines += [f"M{_LEFT},{y}H{right}" for y in range(_TOP, bottom + 1, _FRET)]
    grid = sub(svg, "path", d="".join(lines), fill="none", stroke="currentColor")
    grid.set("stroke-width", "0.8")
    if top == 1:
        nut = sub(svg, "path", d=f"M{_LEFT - 0.4},{_TOP}H{right + 0.4}", stroke="currentColor")
        nut.set("stroke-width", "3")
    else:
        fret = _text(svg, _LEFT - 10, _TOP + 0.5 * _FRET + 4.5, 13.5, roman(top))
        fret.set("font-weight", "bold")
        fret.set("text-anchor", "end")


def _barre(svg: etree._Element, shape: Shape, top: int) -> None:
    lying = barre_columns(shape)
    y = _TOP + ((shape.barre or top) - top + 0.5) * _FRET
    ends = f"M{_LEFT + lying[0] * _GAP},{y:g}H{_LEFT + lying[-1] * _GAP}"
    bar = sub(svg, "path", d=ends, stroke="currentColor")
    bar.set("stroke-width", "9")
    bar.set("stroke-linecap", "round")


def _text(svg: etree._Element, x: float, y: float, size: float, text: str) -> etree._Element:
    element = sub(svg, "text", text, x=f"{x:g}", y=f"{y:g}", fill="currentColor")
    element.set("font-size", f"{size:g}")
    return element
