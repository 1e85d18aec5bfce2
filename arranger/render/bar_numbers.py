"""Numbers where the engraver fails: under ties and beams, at stems, beside section letters."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from math import inf

from lxml import etree

from arranger.render.groups import SVG as _SVG
from arranger.render.groups import Groups
from arranger.render.xml_text import sub
from arranger.tables.engraving import engraving

_CURVES = ("tie", "slur", "lv")
_NUMBERS = re.compile(r"-?\d+(?:\.\d+)?")
_STEPS = 16
"""Points at which a curve is looked at."""
_DIGIT, _TALL, _AIR = 0.55, 0.72, 0.2
"""Width and height of a digit, and the room around it, in sizes of its letters."""

_LETTERS = 324
"""Size of the engraver's own bar numbers, in drawing units."""
_BESIDE = 90
_OVER_CLEF = 40
"""Room between a section's letter and the clef under it, in drawing units."""
_WIDER = 0.12
"""Share by which the box round a section's name is widened."""

_FLAG = 190
"""Width of the flag of an eighth, in drawing units (SMuFL: 1.06 spaces of 180)."""

_Point = tuple[float, float]


_SPACE = 180
"""Distance of two staff lines in drawing units."""
_STEP = 150
"""Distance of the heights at which a stem or a sign stands in the way, in drawing units."""
_LEFTMOST = -210
"""Where the drawing begins, in drawing units from the first staff line."""


def lift_bar_numbers(groups: Groups) -> None:
    """Set each number of the engraver's drawing above what is in its way.

    A number at the head of a line begins where the drawing does, at the earliest.
    """
    curves = [*_all_curves(groups), *_flags(groups), *_solids(groups)]
    for text in _texts(groups, "mNum"):
        size = _letters(text)
        number = "".join(str(part) for part in text.itertext()).strip()
        left = _LEFTMOST + size * _DIGIT * len(number) / 2
        text.set("x", f"{max(left, float(text.get('x', '0'))):.0f}")
        y = _clear_of(text, curves)
        # Over the system stand the chords; there a number stops.
        text.set("y", f"{max(y, min(size, float(text.get('y', '0')))):.0f}")


def lift_fingers(groups: Groups) -> float:
    """Set left fingers over the notation above the slurs that run through them.

    What stands on such a finger rises with it. Returns how far the highest now reaches over
    the drawing's top edge, in drawing units.
    """
    curves = _all_curves(groups)
    top = _highest_line(groups)
    over = [text for text in _texts(groups, "fing") if float(text.get("y", "0")) < top]
    reach = 0.0
    for text in sorted(over, key=lambda text: -float(text.get("y", "0"))):
        x, y = float(text.get("x", "0")), float(text.get("y", "0"))
        rise = y - _clear_of(text, curves)
        for other in over if rise > 0 else ():
            above = float(other.get("y", "0"))
            if above <= y and abs(float(other.get("x", "0")) - x) < _letters(text) / 2:
                other.set("y", f"{above - rise:.0f}")
                reach = max(reach, rise - above + _TALL * _letters(other))
    return reach


def _clear_of(text: etree._Element, curves: Sequence[Sequence[_Point]]) -> float:
    """The height at which a number is clear of the curves that run through it."""
    number = "".join(str(part) for part in text.itertext()).strip()
    size = _letters(text)
    x, y = float(text.get("x", "0")), float(text.get("y", "0"))
    half = size * (_DIGIT * len(number) / 2 + _AIR)
    near = [
        ends
        for ends in curves
        if min(ends[0][0], ends[3][0]) <= x + half and x - half <= max(ends[0][0], ends[3][0])
    ]
    for over in sorted((_over(ends, x - half, x + half) for ends in near), reverse=True):
        if y - size * (_TALL + _AIR) < over < y + size * (_AIR + _TALL):
            y = min(y, over - size * _AIR)
    return y


def _texts(groups: Groups, kind: str) -> Iterator[etree._Element]:
    for group in groups.of_class(kind):
        text = group.find(f"{_SVG}text")
        if text is not None:
            yield text


def _letters(text: etree._Element) -> float:
    return max((_size(part) for part in text.iter(f"{_SVG}tspan")), default=0.0)


def _highest_line(groups: Groups) -> float:
    """The highest line of a staff."""
    return min(
        (
            float(_NUMBERS.findall(path.get("d", ""))[1])
            for group in groups.of_class("staff")
            for path in group.findall(f"{_SVG}path")
        ),
        default=0.0,
    )


def _all_curves(groups: Groups) -> list[Sequence[_Point]]:
    return [curve for path in _paths(groups) for curve in _curves(path)]


def _flags(groups: Groups) -> Iterator[Sequence[_Point]]:
    """The upper edges of flags, as flat curves."""
    for group in groups.of_class("flag"):
        for flag in group.iter(f"{_SVG}use"):
            x, y = (float(n) for n in _NUMBERS.findall(flag.get("transform", "0 0"))[:2])
            yield [(x + _FLAG * step / 3, y) for step in range(4)]


def _solids(groups: Groups) -> Iterator[Sequence[_Point]]:
    """Beams, stems, heads and accidentals, as flat lines at the heights they reach."""
    for beam in groups.root.iter(f"{_SVG}polygon"):
        corners = [float(n) for n in _NUMBERS.findall(beam.get("points", ""))]
        ends = sorted(zip(corners[::2], corners[1::2], strict=False))
        if ends:
            (left, _), (right, _) = ends[0], ends[-1]
            heads = [min(y for x, y in ends if x == side) for side in (left, right)]
            yield _straight((left, heads[0]), (right, heads[1]))
    for x, top, bottom in stems(groups):
        yield from _rungs(x, x, top, bottom)
    for group in (*groups.of_class("notehead"), *groups.of_class("accid")):
        for glyph in group.findall(f"{_SVG}use"):
            yield from _sign(glyph)


def stems(groups: Groups) -> Iterator[tuple[float, float, float]]:
    """Where each stem stands, its upper and its lower end."""
    for group in groups.of_class("stem"):
        for stem in group.findall(f"{_SVG}path"):
            x, one, _, other = (float(n) for n in _NUMBERS.findall(stem.get("d", ""))[:4])
            yield x, min(one, other), max(one, other)


def _sign(glyph: etree._Element) -> Iterator[Sequence[_Point]]:
    """What a glyph takes up; nothing where its name is not known."""
    link = glyph.get("{http://www.w3.org/1999/xlink}href", "").lstrip("#").split("-")[0]
    extent = engraving().glyphs.get(link)
    if extent is not None:
        left, right, up, down = (_SPACE * part for part in extent)
        x, y = (float(n) for n in _NUMBERS.findall(glyph.get("transform", "0 0"))[:2])
        yield from _rungs(x + left, x + right, y - up, y + down)


def _rungs(left: float, right: float, top: float, bottom: float) -> Iterator[Sequence[_Point]]:
    """Flat lines from the top of something upright to its bottom."""
    for step in range(int((bottom - top) // _STEP) + 1):
        yield _straight((left, top + step * _STEP), (right, top + step * _STEP))


def _straight(start: _Point, end: _Point) -> Sequence[_Point]:
    """A straight line as a curve of four points."""
    (x, y), (wide, high) = start, (end[0] - start[0], end[1] - start[1])
    return [(x + wide * part / 3, y + high * part / 3) for part in range(4)]


def clear_endings(groups: Groups, *, baseline: float) -> None:
    """Set each number that the bracket of an ending runs through into the bracket.

    Over a tab alone the brackets come down to where the numbers stand; there the number goes
    beside that of the ending, ``baseline`` drawing units above the bracket's lower end.
    """
    brackets = []
    for text in _texts(groups, "voltaBracket"):
        brackets.append((float(text.get("x", "0")), float(text.get("y", "0"))))
    for text in _texts(groups, "mNum"):
        near = [b for b in brackets if abs(float(text.get("x", "0")) - b[0]) < _LETTERS]
        for x, y in near[:1]:
            text.set("x", f"{x + _LETTERS:.0f}")
            text.set("y", f"{y - baseline:.0f}")
            text.set("text-anchor", "start")


def lead_section(root: etree._Element) -> float:
    """At the head of a line a section's letter begins with the staff, above the clef.

    The engraver sets it over the meter, where a long name stands on the first notes. Returns
    how far it now reaches over the drawing's top edge, in drawing units.
    """
    bar = root.find(f".//{_SVG}g[@class='measure']")
    group = None if bar is None else bar.find(f"{_SVG}g[@class='reh']")
    box = None if group is None else group.find(f"{_SVG}rect")
    if bar is None or group is None or box is None:
        return 0.0
    wide = float(box.get("width", "0"))
    # A name is wider in the fonts of some browsers than the engraver reckons with.
    spare = _WIDER * wide if len("".join(map(str, group.itertext())).strip()) > 1 else 0.0
    shift = float(box.get("x", "0")) - spare / 2
    y, high = float(box.get("y", "0")), float(box.get("height", "0"))
    rise = max(0.0, y + high - min(_clef_tops(bar), default=inf) + _OVER_CLEF)
    box.set("x", "0")
    box.set("y", f"{y - rise:.0f}")
    box.set("width", f"{wide + spare:.0f}")
    for text in group.findall(f"{_SVG}text"):
        text.set("x", f"{float(text.get('x', '0')) - shift:.0f}")
        text.set("y", f"{float(text.get('y', '0')) - rise:.0f}")
    return max(0.0, rise - y)


def _clef_tops(bar: etree._Element) -> Iterator[float]:
    """How high the clefs of a bar reach that the table knows: a tab's stays in its lines."""
    for group in bar.iter(f"{_SVG}g"):
        for glyph in group.findall(f"{_SVG}use") if group.get("class") == "clef" else ():
            for sign in _sign(glyph):
                yield sign[0][1]


def keep_off_stems(groups: Groups) -> None:
    """Move fingers aside that stand at a stem, as far as the stem is too near."""
    near = list(stems(groups))
    for text in _texts(groups, "fing"):
        size = _letters(text)
        x, y = float(text.get("x", "0")), float(text.get("y", "0"))
        room = size * (_DIGIT / 2 + _AIR)
        for at, top, bottom in near:
            if abs(at - x) < room and top < y and y - size * _TALL < bottom:
                x = at - room if at > x else at + room
        text.set("x", f"{x:.0f}")


def number_sections(root: etree._Element, numbers: Mapping[str, int]) -> None:
    """A bar with a section's letter has lost its number: it stands to the right of the letter.

    Where the first note is too near for that, as inside a line, it stands to the left.
    ``numbers`` leads from the ids of bars to what is printed; a pick-up (0) needs none.
    """
    for bar in root.iter(f"{_SVG}g"):
        number = numbers.get(bar.get("id") or "", 0)
        box = bar.find(f"{_SVG}g[@class='reh']/{_SVG}rect") if number else None
        if box is None or bar.find(f"{_SVG}g[@class='mNum']") is not None:
            continue
        x, y, wide, high = (float(box.get(name, "0")) for name in ("x", "y", "width", "height"))
        group = sub(bar, f"{_SVG}g", **{"class": "mNum"})
        right = x + wide + _BESIDE
        ends = right + _LETTERS * (_DIGIT * len(str(number)) + _AIR)
        if ends <= min(_heads(bar), default=ends):
            text = sub(group, f"{_SVG}text", str(number), x=f"{right:.0f}")
        else:
            text = sub(group, f"{_SVG}text", str(number), x=f"{x - _BESIDE:.0f}")
            text.set("text-anchor", "end")
        text.set("y", f"{y + high:.0f}")
        text.set("font-size", f"{_LETTERS}px")


def _heads(bar: etree._Element) -> Iterator[float]:
    """Where the heads of a bar's notes stand."""
    for note in bar.iter(f"{_SVG}g"):
        if "note" in note.get("class", "").split():
            for head in note.iter(f"{_SVG}use"):
                yield float(_NUMBERS.findall(head.get("transform", "0"))[0])


def _paths(groups: Groups) -> Iterator[etree._Element]:
    for kind in _CURVES:
        for group in groups.of_class(kind):
            yield from group.iterfind(f"{_SVG}path")


def _curves(path: etree._Element) -> Iterator[Sequence[_Point]]:
    """The two Bézier curves that a tie is drawn from, by four points each."""
    numbers = [float(number) for number in _NUMBERS.findall(path.get("d", ""))]
    points = list(zip(numbers[::2], numbers[1::2], strict=False))
    for first in (0, 3):
        ends = points[first : first + 4]
        if len(ends) == 4:
            yield ends


def _bezier(ends: Sequence[_Point], part: float) -> _Point:
    """The cubic Bézier curve of four points after a part of its way."""
    left = 1 - part
    shares = (left**3, 3 * left**2 * part, 3 * left * part**2, part**3)
    x, y = (sum(s * e[axis] for s, e in zip(shares, ends, strict=True)) for axis in (0, 1))
    return x, y


def _over(ends: Sequence[_Point], left: float, right: float) -> float:
    """The highest point of a curve between two places; far below where it is not there."""
    points = (_bezier(ends, step / _STEPS) for step in range(_STEPS + 1))
    return min((y for x, y in points if left <= x <= right), default=float("inf"))


def _size(part: etree._Element) -> float:
    return float(part.get("font-size", "0").removesuffix("px") or 0)
