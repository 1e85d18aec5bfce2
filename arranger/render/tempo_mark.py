"""Tempo and swing marks drawn from paths: fonts without the signs would print boxes."""

from __future__ import annotations

from lxml import etree

from arranger.music.time import Beat
from arranger.render.groups import SVG as _SVG
from arranger.render.note_values import NoteValue
from arranger.render.voices import FLAGS
from arranger.render.xml_text import sub

_STEM = 2.5
_SLOPE = 20
_TRIPLET = 1.75
"""From this ratio of long to short on, swung eighths are written as a triplet."""


class MarkPen:
    """Draws signs from left to right on a base line; ``unit`` is the height of a note head."""

    def __init__(self, parent: etree._Element, x: float, y: float, unit: float) -> None:
        self.group = sub(parent, f"{_SVG}g")
        self.x, self.y, self.unit = x, y, unit

    def tempo(self, value: NoteValue, student: int, target: int) -> None:
        """``♩ = 108 (aim: 168)``."""
        self.note(value)
        aim = f" (aim: {target})" if target > student else ""
        self.text(f"= {student}{aim}")

    def swing(self, ratio: float) -> None:
        """Two eighths are played as quarter and eighth of a triplet, or nearly so."""
        eighth = NoteValue(length=Beat(1, 2), type="eighth")
        quarter = NoteValue(length=Beat(1), type="quarter")
        left = self.x
        self.note(eighth, flags=0)
        right = self.x
        self.note(eighth, flags=0)
        self._beam(left, right)
        self.text("=")
        begin = self.x
        self.note(quarter)
        self.note(eighth)
        self._bracket(begin, self.x)
        if ratio < _TRIPLET:
            self.text("(light)")

    def note(self, value: NoteValue, flags: int | None = None) -> None:
        """A note with stem up, then a little room."""
        unit, hollow = self.unit, value.type in {"half", "whole", "breve"}
        x, y = self.x + 0.66 * unit, self.y - 0.45 * unit
        wide, high = (0.6, 0.38) if hollow else (0.66, 0.44)
        dx, dy = wide * unit * 0.94, wide * unit * 0.342
        arc = f"A{wide * unit:.0f} {high * unit:.0f} -{_SLOPE} 1 0"
        ring = (
            f"M{x - dx:.0f},{y + dy:.0f} {arc} {x + dx:.0f},{y - dy:.0f} "
            f"{arc} {x - dx:.0f},{y + dy:.0f}"
        )
        head = sub(self.group, f"{_SVG}path", d=ring)
        if hollow:
            head.set("fill", "none")
            head.set("stroke-width", f"{0.2 * unit:.0f}")
        self.x += 1.5 * unit
        if value.type not in {"whole", "breve"}:
            stem = x + 0.6 * unit
            self._line(f"M{stem:.0f},{y - 0.2 * unit:.0f}V{y - _STEM * unit:.0f}", 0.12)
            count = FLAGS.get(value.type, 0) if flags is None else flags
            for flag in range(count):
                self._flag(stem, y + (0.6 * flag - _STEM) * unit)
            self.x += 0.6 * unit if count else 0
        for dot in range(value.dots):
            self._dot(self.x + (0.2 + 0.5 * dot) * unit, y - 0.1 * unit)
        self.x += (0.4 + 0.5 * value.dots) * unit

    def text(self, words: str) -> None:
        size = 2.35 * self.unit
        element = sub(self.group, f"{_SVG}text", words, x=f"{self.x:.0f}", y=f"{self.y:.0f}")
        element.set("font-size", f"{size:.0f}px")
        # A wide face of a browser is set narrower, not over what stands to the right.
        element.set("textLength", f"{0.45 * len(words) * size:.0f}")
        element.set("lengthAdjust", "spacingAndGlyphs")
        self.x += (0.5 * len(words) + 0.35) * size

    def space(self, units: float) -> None:
        self.x += units * self.unit

    def _beam(self, left: float, right: float) -> None:
        shift, top = 1.26 * self.unit, self.y - (0.45 + _STEM) * self.unit
        path = f"M{left + shift:.0f},{top:.0f}H{right + shift:.0f}"
        self._line(path, 0.45)

    def _flag(self, x: float, y: float) -> None:
        u = self.unit
        path = (
            f"M{x:.0f},{y:.0f}c{0.1 * u:.0f},{0.7 * u:.0f} {0.9 * u:.0f},{0.8 * u:.0f} "
            f"{0.55 * u:.0f},{1.9 * u:.0f}c{0.1 * u:.0f},{-0.8 * u:.0f} {-0.3 * u:.0f},"
            f"{-1.0 * u:.0f} {-0.55 * u:.0f},{-1.1 * u:.0f}z"
        )
        sub(self.group, f"{_SVG}path", d=path)

    def _dot(self, x: float, y: float) -> None:
        r = 0.2 * self.unit
        arc = f"a{r:.0f} {r:.0f} 0 1 0"
        path = f"M{x - r:.0f},{y:.0f}{arc} {2 * r:.0f},0{arc} {-2 * r:.0f},0z"
        sub(self.group, f"{_SVG}path", d=path)

    def _bracket(self, left: float, right: float) -> None:
        u, y = self.unit, self.y - (_STEM + 1.0) * self.unit
        middle, end = (left + right) / 2, right - 0.3 * u
        for start, stop in ((left, middle - 0.7 * u), (middle + 0.7 * u, end)):
            self._line(f"M{start:.0f},{y:.0f}H{stop:.0f}", 0.1)
        for x in (left, end):
            self._line(f"M{x:.0f},{y:.0f}v{0.4 * u:.0f}", 0.1)
        three = sub(self.group, f"{_SVG}text", "3", x=f"{middle:.0f}", y=f"{y + 0.45 * u:.0f}")
        three.set("font-size", f"{1.4 * u:.0f}px")
        three.set("font-style", "italic")
        three.set("text-anchor", "middle")

    def _line(self, path: str, width: float) -> None:
        line = sub(self.group, f"{_SVG}path", d=path, fill="none")
        line.set("stroke-width", f"{width * self.unit:.0f}")
