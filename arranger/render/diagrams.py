"""Chord shapes as one-line diagrams."""

from __future__ import annotations

from arranger.music.arrangement import Shape
from arranger.render.barre import barre_span, barre_text


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
