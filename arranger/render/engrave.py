"""Engraved systems as SVG: staff and tab from the engraver, hands and barres added by us.

The engraver draws notation, tab numbers, fingers on the staff and chord names. What it cannot
place well is drawn here, at the places it chose for the tab numbers: the right hand in rows
under the tab, barres over everything, slurs and slides between tab numbers.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf

import verovio
from lxml import etree

from arranger.music.arrangement import Arrangement, Placement
from arranger.music.errors import InternalFault
from arranger.music.repeats import slur_origins
from arranger.music.time import Beat
from arranger.render.bar_numbers import (
    clear_endings,
    keep_off_stems,
    lead_section,
    lift_bar_numbers,
    lift_fingers,
    number_sections,
    stems,
)
from arranger.render.barre import BarreMark, barre_marks, roman
from arranger.render.breaks import line_starts
from arranger.render.fold import Folded
from arranger.render.groups import OURS, Groups
from arranger.render.groups import SVG as _SVG
from arranger.render.hand_row import Ending, HandMark, endings, lift, under_endings
from arranger.render.light_svg import lighten
from arranger.render.mei import ROOM, fingered_anew, mei
from arranger.render.position import position_marks
from arranger.render.spelling import engraved_name
from arranger.render.tab_head import tempo_values
from arranger.render.tempo_mark import MarkPen
from arranger.render.written import written_bars
from arranger.render.xml_text import clean, sub
from arranger.tables.engraving import engraving

_FINE = 10
"""The engraver's drawing units in a unit of the page."""

FONT = "'Libertinus Serif', 'Times New Roman', Times, serif"
_LINE = re.compile(r"M([\d.-]+)[ ,][\d.-]+ ?L([\d.-]+)")
_KEPT_CLASSES = frozenset({"page-margin", "measure", "staff", "note", "hands"})

_SPACE = 180
"""Distance of two staff lines in drawing units; all that we draw is measured by it."""
_LETTER = 1.8 * _SPACE
_ROW = 1.75 * _SPACE
_NAME = 2.3 * _SPACE
_FINGER = 1.6 * _SPACE
_SIGN = 1.5 * _SPACE
_AIR = 0.3 * _SPACE
_TAIL = 0.25 * _LETTER
"""How far a letter reaches under its line."""
_ROMAN = {"I": 0.42, "C": 0.72, "V": 0.75, "X": 0.75, "½": 0.85}
"""Widths of bold signs, in sizes of their letters."""


@dataclass(frozen=True, slots=True)
class System:
    """One system as an SVG document; ``bars`` are indices, sizes are in units of the page."""

    svg: str
    bars: tuple[int, ...]
    width: float
    height: float


def engraved(folds: Folded, *, width: int, tab_only: bool = False) -> tuple[System, ...]:
    """The systems of an arrangement in (notatable) written time, ``width`` units wide.

    ``tab_only`` leaves the notation out; left fingers and the count then stand at the tab.
    """
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    room = engraving().engraver
    toolkit.setOptions(
        {
            "inputFrom": "mei",
            "pageWidth": width,
            "pageHeight": 60_000,
            "adjustPageHeight": True,
            "systemMaxPerPage": 1,
            "header": "none",
            "footer": "none",
            "pageMarginLeft": 22,
            "pageMarginRight": 5,
            "pageMarginTop": 0,
            "pageMarginBottom": 0,
            "svgViewBox": True,
            "svgRemoveXlink": False,
            "xmlIdSeed": 1,
            "mnumInterval": 1,
            "spacingStaff": room.staves,
            "breaks": "line",
            "minLastJustification": room.last_line,
            "leftMarginRightBarLine": room.before_bar_line,
            "tieMinLength": room.tie,
            "outputIndent": 1,
        }
    )
    if not toolkit.loadData(mei(folds, line_starts(folds, width=width), tab_only=tab_only)):
        raise InternalFault(
            "the engraver cannot read our own score",
            next_step="Please report it together with the input file.",
        )
    drawing = _Drawing(folds, tab_only=tab_only)
    return tuple(
        drawing.finished(toolkit.renderToSVG(page), first=page == 1)
        for page in range(1, toolkit.getPageCount() + 1)
    )


@dataclass(frozen=True, slots=True)
class _Place:
    """Centre of a tab number, in drawing units."""

    x: float
    y: float


class _Drawing:
    """Adds to each system what belongs to its notes."""

    def __init__(self, folds: Folded, *, tab_only: bool) -> None:
        self.written = written = folds.drawn
        self.tab_only = tab_only
        self.fingered = fingered_anew(written.notes) if tab_only else frozenset()
        self.notes = written.notes
        self.positions = {mark.onset: mark.fret for mark in position_marks(written.notes)}
        self.bars = written_bars(written)
        self.chords = [mark for bar in self.bars for mark in bar.marks]
        # A finger that leaves a note for another string before the note ends on paper lies
        # across none.
        self.barres: Sequence[BarreMark] = barre_marks(folds.held)
        self.origins = slur_origins(written.notes)

    def finished(self, svg: str, *, first: bool) -> System:
        root = etree.fromstring(svg.encode("utf-8"), etree.XMLParser(remove_blank_text=True))
        _shorten_ids(root)
        _drop_room(root)
        groups = Groups(root)
        led = lead_section(root)
        if self.tab_only:
            _shrink_marks(root)
        above = max(led, lift_fingers(groups))
        keep_off_stems(groups)
        fingers = _finger_places(groups)
        ends = [(x, low) for x, _, low in stems(groups)]
        lift_bar_numbers(groups)
        if self.tab_only:
            clear_endings(groups, baseline=(1 - _TAB_SHARE) * 1.5 * _SPACE)
        over = [] if self.tab_only else endings(groups)
        number_sections(root, {f"b-{at}": bar.number for at, bar in enumerate(self.bars)})
        _tidy(root)
        places = _tab_places(groups)
        canvas = root.find(f".//{_SVG}g[@class='page-margin']")
        assert canvas is not None
        hands = sub(canvas, f"{_SVG}g", **{"class": "hands"})
        top, bottom = _tab_lines(groups)
        rows = self._right_hand(hands, places, bottom)
        # Beside a tab alone no bar line reaches above the tab, where slur letters stand.
        lines = (
            [] if self.tab_only else [*ends, *((right, inf) for _, right in _bar_spans(groups))]
        )
        self._slurs(hands, places, top, fingers, lines)
        moments = _moments(groups, self.written, places)
        if self.tab_only:
            above = self._left_hand(hands, places, bottom + rows * _ROW)
            rows += 1 + self._count(hands, moments, places, bottom + (rows + 2) * _ROW)
        above = self._hand_row(hands, places, above, over)
        names, chords = self._chord_row(hands, moments, above)
        above = self._tempo(hands, above, chords, names) if first else chords
        _draw_strokes(root)
        _tell_spans(groups)
        lighten(root)
        width, height = _resize(root, above=above, least=bottom + rows * _ROW + _AIR + _TAIL)
        return System(
            svg=etree.tostring(root, encoding="unicode"),
            bars=tuple(_bars(groups)),
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
        self,
        parent: etree._Element,
        places: Mapping[int, _Place],
        tab_top: float,
        fingers: Sequence[_Place],
        lines: Sequence[tuple[float, float]],
    ) -> None:
        """H and P as arcs, slides as lines, where both ends stand in this system.

        ``lines``: where bar lines and stems stand, and how far down they reach.
        """
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
            begins = _beside(left.x, 1, top, fingers)
            ends = _beside(right.x, -1, top, fingers)
            path = f"M{begins:.0f},{top:.0f} Q{high} {ends:.0f},{top:.0f}"
            arc = sub(parent, f"{_SVG}path", d=path, fill="none")
            arc.set("stroke-width", "22")
            sign = "H" if self.notes[to].slur == "hammer-on" else "P"
            # Letters stand over the arc and over the tab, where no line runs through them.
            over = min(tab_top, top - 0.5 * _SPACE) - 0.4 * _SPACE
            x = _clear(middle, over, fingers, lines)
            _letter(parent, x, over, sign, size=_SIGN, style="normal")

    def _left_hand(
        self, parent: etree._Element, places: Mapping[int, _Place], base: float
    ) -> float:
        """Left fingers beside a tab alone: over it, the thumb's in a row under ``base``.

        Returns the height above the system.
        """
        stacks: dict[float, int] = defaultdict(int)
        for index, place in places.items():
            note = self.notes[index]
            if index not in self.fingered:
                continue
            if note.right == "p" and note.slur is None:
                y = base + _ROW + _AIR
            else:
                y = -0.6 * _SPACE - stacks[place.x] * 0.9 * _ROW
                stacks[place.x] += 1
            text = _letter(parent, place.x, y, note.left, size=_FINGER, style="normal")
            text.set("font-weight", "bold")
        return max(stacks.values(), default=0) * 0.9 * _ROW

    def _count(
        self,
        parent: etree._Element,
        moments: _Moments,
        places: Mapping[int, _Place],
        y: float,
    ) -> int:
        """The beats to count, under the moments at which a note begins; returns one row."""
        onsets = {self.notes[index].onset for index in places}
        for bar in self.bars:
            if not moments.start <= bar.start < moments.end:
                continue
            for onset in sorted(o for o in onsets if bar.start <= o < bar.end):
                beat = (onset - bar.start + bar.missing) * bar.bar.denominator / 4
                share = beat % 1
                text = str(int(beat) + 1) if not share else "&" if share == Beat(1, 2) else "·"
                _letter(parent, moments.x(onset), y, text, size=_SIGN, style="normal")
        return 1

    def _hand_row(
        self,
        parent: etree._Element,
        places: Mapping[int, _Place],
        above: float,
        over: Sequence[Ending],
    ) -> float:
        """A row above the system for barres and positions; returns the height by now.

        ``over`` are the brackets of endings; what belongs into one stands under it.
        """
        barres = [mark for barre in self.barres if (mark := _barre(barre, places, self.notes))]
        marks = [*barres, *self._positions(places, barres)]
        under = under_endings(marks, over)
        rise = _ROW
        if under:
            rise += 0.4 * _SPACE
            lift(over, rise)
        for mark in marks:
            ending = under.get(mark)
            y = -above - 0.6 * _SPACE if ending is None else ending.bottom - 0.1 * _SPACE
            _hand_mark(parent, mark, y)
        return above + (rise if marks else 0.0)

    def _positions(
        self, places: Mapping[int, _Place], barres: Sequence[HandMark]
    ) -> Iterator[HandMark]:
        """Where the hand moves to, one mark a moment; a barre says the position as well."""
        marked: set[Beat] = set()
        for index, place in places.items():
            onset = self.notes[index].onset
            fret = self.positions.get(onset)
            if fret is None or onset in marked:
                continue
            marked.add(onset)
            left, right = place.x - 0.6 * _SPACE, place.x + 1.5 * _SPACE
            if not any(barre.left <= right and left <= barre.right for barre in barres):
                yield HandMark(roman(fret), left, left + _wide(roman(fret)))

    def _chord_row(
        self, parent: etree._Element, moments: _Moments, above: float
    ) -> tuple[float, float]:
        """Chord names on one line over the system; returns where they begin, and the height.

        A chord that lasts from the line before is named again; one that no shape is held for
        stands in italics, where others have their diagrams.
        """
        marks = [m for m in self.chords if moments.start <= m.onset < moments.end]
        held = [m for m in self.chords if m.onset < moments.start][-1:]
        if held and not any(mark.onset == moments.start for mark in marks):
            marks.insert(0, replace(held[0], onset=moments.start))
        first = moments.x(marks[0].onset) if marks else inf
        reach, last = 0.0, moments.x(moments.end)
        for mark in marks:
            name = clean(engraved_name(mark.name))
            wide = 0.62 * len(name) * _NAME
            # A long name over the last note ends with the line, where it has the room.
            x = max(min(moments.x(mark.onset) - 0.6 * _SPACE, last - wide), reach)
            y = -above - 0.9 * _SPACE
            text = _letter(parent, x, y, name, size=_NAME, style="normal", anchor="start")
            if mark.shape is None and self.written.shapes:
                _slant(text)
            reach = x + wide + 0.4 * _NAME
        return first, above + (2.6 * _SPACE if marks else 0.0)

    def _tempo(
        self, parent: etree._Element, above: float, chords: float, names: float
    ) -> float:
        """Tempo and swing over the first system; returns the height above it by now.

        They stand in the row of the chord names (between ``above`` and ``chords``) where
        those begin (``names``) to the right of them, else in a row of their own.
        """
        value, student, target = tempo_values(self.written)
        swing = self.written.swing
        pen = MarkPen(parent, 0.3 * _SPACE, -above - 0.8 * _SPACE, 0.95 * _SPACE)
        pen.tempo(value, student, target)
        if swing != 1.0:
            pen.space(2)
            pen.swing(swing)
        high = (3.6 if swing == 1.0 else 4.6) * _SPACE
        if pen.x < names:
            return max(chords, above + high)
        pen.group.set("transform", f"translate(0 {above - chords:.0f})")
        return chords + high


def _barre(
    barre: BarreMark, places: Mapping[int, _Place], notes: Sequence[Placement]
) -> HandMark | None:
    """One barre's mark, with a line as long as it lies; None where it is in another system."""
    under = [
        place.x
        for index, place in places.items()
        if barre.start <= notes[index].onset < barre.end
    ]
    if not under:
        return None
    left, right = min(under) - 0.6 * _SPACE, max(under) + 0.9 * _SPACE
    line = left + _wide(barre.text) + _AIR
    drawn = right - line > 0.5 * _SPACE
    return HandMark(barre.text, left, max(line, right), line if drawn else None)


def _wide(text: str) -> float:
    """How wide a bold roman numeral is."""
    return sum(_ROMAN.get(sign, 0.8) for sign in text) * _LETTER


def _hand_mark(parent: etree._Element, mark: HandMark, y: float) -> None:
    text = _letter(parent, mark.left, y, mark.text, style="normal", anchor="start")
    text.set("font-weight", "bold")
    if mark.line is not None:
        _line(parent, mark.line, y - 0.5 * _SPACE, mark.right, y - 0.5 * _SPACE)
        _line(parent, mark.right, y - 0.5 * _SPACE, mark.right, y + 0.2 * _SPACE)


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


def _slant(text: etree._Element) -> None:
    """Lean a chord name over, as italics do; an italic itself has no sharps and flats."""
    x, y = text.get("x", "0"), text.get("y", "0")
    for name in ("x", "y"):
        del text.attrib[name]
    text.set("transform", f"translate({x} {y}) skewX(-14)")


def _line(parent: etree._Element, x1: float, y1: float, x2: float, y2: float) -> None:
    path = f"M{x1:.0f},{y1:.0f} L{x2:.0f},{y2:.0f}"
    sub(parent, f"{_SVG}path", d=path).set("stroke-width", "22")


class _Moments:
    """Where the moments of one system lie from left to right."""

    def __init__(self, points: Mapping[Beat, float], start: Beat, end: Beat) -> None:
        self.start, self.end = start, end
        self._points = sorted(points.items())

    def x(self, moment: Beat) -> float:
        """At a note's onset its place; between two notes in proportion to the time."""
        place = bisect_right(self._points, moment, key=lambda point: point[0])
        if place == 0:
            return max(0.0, self._points[0][1] - 2 * _SPACE) if self._points else 0.0
        before, left = self._points[place - 1]
        if before == moment or place == len(self._points):
            return left
        after, right = self._points[place]
        return left + (right - left) * float((moment - before) / (after - before))


def _moments(groups: Groups, written: Arrangement, places: Mapping[int, _Place]) -> _Moments:
    """The onsets of a system's notes, and its bar lines where no note begins."""
    points: dict[Beat, float] = {}
    bars = [written.bars[index] for index in _bars(groups)]
    for (left, right), bar in zip(_bar_spans(groups), bars, strict=True):
        # After the bar line there is a little room before the first note.
        points[bar.start] = left + 1.5 * _SPACE
        points[bar.end] = right
    for index, place in places.items():
        points[written.notes[index].onset] = place.x
    return _Moments(points, bars[0].start, bars[-1].end)


def _bar_spans(groups: Groups) -> Iterator[tuple[float, float]]:
    """From where to where the staff lines of each bar run; a tab's stop at its numbers."""
    for _, measure in groups.ours("b"):
        lines = [
            (float(found[1]), float(found[2]))
            for line in measure.findall(f"{_SVG}g[@class='staff']/{_SVG}path")
            if (found := _LINE.match(line.get("d", "")))
        ]
        left = min((left for left, _ in lines), default=0.0)
        yield left, max((right for _, right in lines), default=0.0)


def _tell_spans(groups: Groups) -> None:
    """Each bar says where it stands, so that a page need not measure it."""
    for (_, bar), (left, right) in zip(groups.ours("b"), _bar_spans(groups), strict=True):
        bar.set("data-span", f"{left:.0f} {right:.0f}")


def _tab_places(groups: Groups) -> dict[int, _Place]:
    """Where the tab numbers stand, by index of their note, in order of the index."""
    places = {}
    for index, group in groups.ours("t"):
        text = group.find(f"{_SVG}text")
        if text is not None:
            middle = float(text.get("y", "0")) - 0.6 * _SPACE
            places[index] = _Place(float(text.get("x", "0")), middle)
    return dict(sorted(places.items()))


def _tab_lines(groups: Groups) -> tuple[float, float]:
    """The highest and the lowest line of the tab: the second staff of each bar."""
    heights = []
    for measure in groups.of_class("measure"):
        staves = [group for group in measure if _classes(group)[:1] == ["staff"]]
        for path in staves[-1].findall(f"{_SVG}path"):
            found = re.match(r"M[\d.-]+[ ,]([\d.-]+)", path.get("d", ""))
            if found:
                heights.append(float(found[1]))
    return min(heights, default=0.0), max(heights, default=0.0)


def _bars(groups: Groups) -> Iterator[int]:
    return (index for index, _ in groups.ours("b"))


def _finger_places(groups: Groups) -> list[_Place]:
    """Where the engraver put left fingers; asked before its class names are dropped."""
    found = []
    for group in groups.of_class("fing"):
        text = group.find(f"{_SVG}text")
        if text is not None:
            found.append(_Place(float(text.get("x", "0")), float(text.get("y", "0"))))
    return found


def _clear(
    x: float, y: float, fingers: Sequence[_Place], lines: Sequence[tuple[float, float]]
) -> float:
    """The nearest place to ``x`` at which a letter at height ``y`` meets no finger, no line."""
    near = [(place.x, 1.5) for place in fingers if abs(place.y - y) < 2 * _SPACE]
    near += [(at, 0.9 if low == inf else 0.6) for at, low in lines if low > y - 0.8 * _SIGN]
    ways = (0.0, 0.7, -0.7, 1.0, -1.0, 1.6, -1.6, 2.4, -2.4)
    tried = (x + way * _SPACE for way in ways)
    return next((at for at in tried if all(abs(at - f) > w * _SPACE for f, w in near)), x)


def _beside(x: float, way: int, top: float, fingers: Sequence[_Place]) -> float:
    """Where an arc at height ``top`` ends over ``x``, or beside a finger that stands there."""
    met = any(
        abs(place.x - x) < 0.8 * _SPACE and -1.2 * _SPACE < place.y - top < 0.6 * _SPACE
        for place in fingers
    )
    return x + way * 0.7 * _SPACE if met else x


def _shorten_ids(root: etree._Element) -> None:
    """Only our own ids stay; a glyph has the same name on every page, for it is the same."""
    glyphs: dict[str, str] = {}
    for element in root.iter(etree.Element):
        name = element.get("id")
        if name is None or OURS.fullmatch(name):
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


def _drop_room(root: etree._Element) -> None:
    """Take out what only held a place free."""
    for group in Groups(root).of_class("fing"):
        parent = group.getparent()
        said = "".join(str(part) for part in group.itertext()).strip()
        if parent is not None and said == ROOM:
            parent.remove(group)


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
    inner = root.find(f"{_SVG}svg")
    if inner is not None:
        inner.set("font-family", FONT)
        inner.attrib.pop("color", "")


_TAB_SHARE = 0.6
"""The engraver sizes letters and ending numbers by their staff; a tab's is that much larger."""


def _shrink_marks(root: etree._Element) -> None:
    """Section letters and ending numbers of a tab alone, as large as over a notation staff."""
    for group in root.iter(f"{_SVG}g"):
        name = _classes(group)[:1]
        text = group.find(f"{_SVG}text")
        if text is None or name not in (["reh"], ["voltaBracket"]):
            continue
        box = group.find(f"{_SVG}rect")
        x, y = float(text.get("x", "0")), float(text.get("y", "0"))
        if box is not None:
            y = float(box.get("y", "0")) + float(box.get("height", "0"))
        else:
            y -= 1.5 * _SPACE
        target = text if box is None else group
        shift = f"{(1 - _TAB_SHARE) * x:.0f} {(1 - _TAB_SHARE) * y:.0f}"
        target.set("transform", f"translate({shift}) scale({_TAB_SHARE})")


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
