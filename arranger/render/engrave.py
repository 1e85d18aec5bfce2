"""Engraved systems as SVG: staff and tab from the engraver, hands and barres added by us.

The engraver draws notation, tab numbers, fingers on the staff and chord names. What it cannot
place well is drawn here, at the places it chose for the tab numbers: the right hand in rows
under the tab, barres over everything, slurs and slides between tab numbers.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import verovio
from lxml import etree

from arranger.music.arrangement import Arrangement
from arranger.music.errors import InternalFault
from arranger.render.barre import BarreMark, barre_marks
from arranger.render.fold import Folded
from arranger.render.mei import mei
from arranger.render.slurs import slur_origins
from arranger.render.xml_text import sub

_SVG = "{http://www.w3.org/2000/svg}"
_FINE = 10
"""The engraver's drawing units in a unit of the page."""

FONT = "'Libertinus Serif', 'Times New Roman', Times, serif"
_OURS = re.compile(r"[ntb]\d+")
_KEPT_CLASSES = frozenset({"page-margin", "measure", "staff", "note", "hands"})

_SIGNS = {"\uea64": "♭", "\uea65": "♮", "\uea66": "♯"}
"""Accidentals in chord names: the music font's characters and the plain ones."""

_SPACE = 180
"""Distance of two staff lines in drawing units; all that we draw is measured by it."""
_LETTER = 1.9 * _SPACE
_ROW = 2.0 * _SPACE
_SIGN = 1.5 * _SPACE
_AIR = 0.3 * _SPACE


@dataclass(frozen=True, slots=True)
class System:
    """One system as an SVG document; ``bars`` are indices, sizes are in units of the page."""

    svg: str
    bars: tuple[int, ...]
    width: float
    height: float


def engraved(folds: Folded, *, width: int) -> tuple[System, ...]:
    """The systems of an arrangement in (notatable) written time, ``width`` units wide."""
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.setOptions(
        {
            "inputFrom": "mei",
            "pageWidth": width,
            "pageHeight": 60_000,
            "adjustPageHeight": True,
            "systemMaxPerPage": 1,
            "header": "none",
            "footer": "none",
            "pageMarginLeft": 30,
            "pageMarginRight": 5,
            "pageMarginTop": 0,
            "pageMarginBottom": 0,
            "svgViewBox": True,
            "svgRemoveXlink": False,
            "xmlIdSeed": 1,
            "mnumInterval": 1,
            "spacingStaff": 9,
            "breaks": "auto",
            "minLastJustification": 0.7,
            "outputIndent": 1,
        }
    )
    if not toolkit.loadData(mei(folds)):
        raise InternalFault(
            "the engraver cannot read our own score",
            next_step="Please report it together with the input file.",
        )
    drawing = _Drawing(folds.drawn)
    return tuple(
        drawing.finished(toolkit.renderToSVG(page))
        for page in range(1, toolkit.getPageCount() + 1)
    )


@dataclass(frozen=True, slots=True)
class _Place:
    """Centre of a tab number, in drawing units."""

    x: float
    y: float


class _Drawing:
    """Adds to each system what belongs to its notes."""

    def __init__(self, written: Arrangement) -> None:
        self.notes = written.notes
        self.barres: Sequence[BarreMark] = barre_marks(written)
        self.origins = slur_origins(written.notes)

    def finished(self, svg: str) -> System:
        root = etree.fromstring(svg.encode("utf-8"), etree.XMLParser(remove_blank_text=True))
        _shorten_ids(root)
        _tidy(root)
        places = _tab_places(root)
        canvas = root.find(f".//{_SVG}g[@class='page-margin']")
        assert canvas is not None
        ours = sub(canvas, f"{_SVG}g", **{"class": "hands"})
        top, bottom = _tab_lines(root)
        rows = self._right_hand(ours, places, bottom)
        self._slurs(ours, places, top)
        above = self._barres(ours, places)
        _draw_strokes(root)
        width, height = _resize(root, above=above, least=bottom + (rows + 0.5) * _ROW)
        return System(
            svg=etree.tostring(root, encoding="unicode"),
            bars=tuple(_bars(root)),
            width=width,
            height=height,
        )

    def _right_hand(
        self, parent: etree._Element, places: Mapping[int, _Place], bottom: float
    ) -> int:
        """Rows of letters under the tab, i m a over p; returns how many rows there are."""
        fingers: dict[float, list[str]] = defaultdict(list)
        thumb = set()
        for index, place in places.items():
            note = self.notes[index]
            if note.slur is not None:
                continue
            if note.right == "p":
                thumb.add(place.x)
            else:
                fingers[place.x].append(note.right)
        depth = max((len(letters) for letters in fingers.values()), default=0)
        for x, letters in fingers.items():
            # Indices rise from string 6 to string 1; the highest string stands on top.
            for up, letter in enumerate(letters):
                _letter(parent, x, bottom + (depth - up) * _ROW + _AIR, letter)
        for x in sorted(thumb):
            _letter(parent, x, bottom + (depth + 1) * _ROW + _AIR, "p")
        return depth + bool(thumb)

    def _slurs(
        self, parent: etree._Element, places: Mapping[int, _Place], tab_top: float
    ) -> None:
        """H and P as arcs, slides as lines, where both ends stand in this system."""
        for to, origin in self.origins.items():
            if to not in places or origin not in places:
                continue
            left, right = places[origin], places[to]
            gap = 0.75 * _SPACE
            if self.notes[to].slur == "slide":
                rise = (
                    0.45
                    * _SPACE
                    * (1 if self.notes[to].fret >= self.notes[origin].fret else -1)
                )
                _line(parent, left.x + gap, left.y + rise, right.x - gap, right.y - rise)
                continue
            top = left.y - 0.8 * _SPACE
            middle = (left.x + right.x) / 2
            high = f"{middle:.0f},{top - _SPACE:.0f}"
            path = f"M{left.x:.0f},{top:.0f} Q{high} {right.x:.0f},{top:.0f}"
            arc = sub(parent, f"{_SVG}path", d=path, fill="none")
            arc.set("stroke-width", "22")
            sign = "H" if self.notes[to].slur == "hammer-on" else "P"
            # Letters stand over the arc and over the tab, where no line runs through them.
            over = min(tab_top, top - 0.5 * _SPACE) - 0.4 * _SPACE
            _letter(parent, middle, over, sign, size=_SIGN, style="normal")

    def _barres(self, parent: etree._Element, places: Mapping[int, _Place]) -> float:
        """A row of barre marks above the system; returns the height it needs."""
        drawn = False
        for barre in self.barres:
            under = [
                place.x
                for index, place in places.items()
                if barre.start <= self.notes[index].onset < barre.end
            ]
            if not under:
                continue
            drawn = True
            y = -0.6 * _SPACE
            left, right = min(under) - 0.6 * _SPACE, max(under) + 0.9 * _SPACE
            text = _letter(parent, left, y, barre.text, style="normal", anchor="start")
            text.set("font-weight", "bold")
            line = left + (0.75 * len(barre.text) + 0.6) * _SPACE
            if right - line > 0.5 * _SPACE:
                _line(parent, line, y - 0.5 * _SPACE, right, y - 0.5 * _SPACE)
                _line(parent, right, y - 0.5 * _SPACE, right, y + 0.2 * _SPACE)
        return _ROW if drawn else 0.0


def _letter(
    parent: etree._Element,
    x: float,
    y: float,
    text: str,
    *,
    size: float = _LETTER,
    style: str = "italic",
    anchor: str = "middle",
) -> etree._Element:
    element = sub(parent, f"{_SVG}text", text, x=f"{x:.0f}", y=f"{y:.0f}")
    element.set("font-size", f"{size:.0f}px")
    element.set("font-style", style)
    element.set("text-anchor", anchor)
    return element


def _line(parent: etree._Element, x1: float, y1: float, x2: float, y2: float) -> None:
    path = f"M{x1:.0f},{y1:.0f} L{x2:.0f},{y2:.0f}"
    sub(parent, f"{_SVG}path", d=path).set("stroke-width", "22")


def _tab_places(root: etree._Element) -> dict[int, _Place]:
    """Where the tab numbers stand, by index of their note, in order of the index."""
    places = {}
    for group in root.iter(f"{_SVG}g"):
        name = group.get("id", "")
        if name.startswith("t") and _OURS.fullmatch(name):
            text = group.find(f"{_SVG}text")
            if text is not None:
                middle = float(text.get("y", "0")) - 0.6 * _SPACE
                places[int(name[1:])] = _Place(float(text.get("x", "0")), middle)
    return dict(sorted(places.items()))


def _tab_lines(root: etree._Element) -> tuple[float, float]:
    """The highest and the lowest line of the tab: the second staff of each bar."""
    heights = []
    for measure in root.iter(f"{_SVG}g"):
        if _classes(measure)[:1] == ["measure"]:
            staves = [group for group in measure if _classes(group)[:1] == ["staff"]]
            for path in staves[-1].findall(f"{_SVG}path"):
                found = re.match(r"M[\d.-]+[ ,]([\d.-]+)", path.get("d", ""))
                if found:
                    heights.append(float(found[1]))
    return min(heights, default=0.0), max(heights, default=0.0)


def _bars(root: etree._Element) -> Iterator[int]:
    for group in root.iter(f"{_SVG}g"):
        name = group.get("id", "")
        if name.startswith("b") and _OURS.fullmatch(name):
            yield int(name[1:])


def _shorten_ids(root: etree._Element) -> None:
    """Only our own ids stay; a glyph has the same name on every page, for it is the same."""
    glyphs: dict[str, str] = {}
    for element in root.iter(etree.Element):
        name = element.get("id")
        if name is None or _OURS.fullmatch(name):
            continue
        parent = element.getparent()
        if parent is not None and parent.tag == f"{_SVG}defs":
            glyphs[name] = name.split("-")[0]
            element.set("id", glyphs[name])
        else:
            del element.attrib["id"]
    reference = "{http://www.w3.org/1999/xlink}href"
    for use in root.iter(f"{_SVG}use"):
        target = use.get(reference, "").removeprefix("#")
        use.set(reference, f"#{glyphs.get(target, target)}")


def _tidy(root: etree._Element) -> None:
    """Drop what only the engraver needs: its style sheet, its remarks, hidden marks."""
    hidden = [
        element
        for tag in ("style", "desc", "title", "ellipse")
        for element in root.iter(f"{_SVG}{tag}")
        if tag != "ellipse" or "placeholder" in _classes(element.getparent())
    ]
    for element in hidden:
        parent = element.getparent()
        if parent is not None:
            parent.remove(element)
    for group in root.iter(f"{_SVG}g"):
        for name in _classes(group)[:1]:
            for attribute, value in _STYLES.get(name, {}).items():
                group.set(attribute, value)
            if name not in _KEPT_CLASSES:
                del group.attrib["class"]
            else:
                group.set("class", name)
    for part in root.iter(f"{_SVG}tspan"):
        part.attrib.pop("class", "")
        if part.get("font-family") and part.text in _SIGNS:
            # Text glyphs of the music font are boxes where that font is missing.
            del part.attrib["font-family"]
            part.set("font-size", "380px")
            part.text = _SIGNS[part.text]
    inner = root.find(f"{_SVG}svg")
    if inner is not None:
        inner.set("font-family", FONT)
        inner.attrib.pop("color", "")


def _classes(element: etree._Element | None) -> list[str]:
    return [] if element is None else element.get("class", "").split()


def _draw_strokes(root: etree._Element) -> None:
    """Lines have the colour of the text; glyphs of the music font are filled, not stroked."""
    for tag in ("path", "rect", "polygon", "polyline", "ellipse"):
        for shape in root.iter(f"{_SVG}{tag}"):
            parent = shape.getparent()
            if parent is None or not (parent.get("id") or "").startswith("E"):
                shape.set("stroke", "currentColor")


_STYLES: dict[str, dict[str, str]] = {
    "fing": {"font-weight": "bold"},
    "reh": {"font-weight": "bold"},
    "mNum": {"font-style": "italic"},
}


def _resize(root: etree._Element, *, above: float, least: float) -> tuple[float, float]:
    """Room for what was added above and below; returns width and height of the page."""
    inner = root.find(f"{_SVG}svg")
    assert inner is not None
    _, _, width, height = (float(part) for part in inner.get("viewBox", "0 0 0 0").split())
    height = max(height, least) + above
    inner.set("viewBox", f"0 {-above:.0f} {width:.0f} {height:.0f}")
    root.set("viewBox", f"0 0 {width / _FINE:.1f} {height / _FINE:.1f}")
    return width / _FINE, height / _FINE
