"""The arrangement as MEI, for the engraver: notation with fingers above, tablature below.

Ids are ``n12`` on the staff and ``t12`` on the tab for the drawn note with index 12, ``b3`` for
the drawn bar with index 3, so that pages can find them again.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence

from lxml import etree

from arranger.music.arrangement import ArrangedBar, Placement
from arranger.music.repeats import slur_origins
from arranger.music.time import Beat
from arranger.render.fold import Folded
from arranger.render.note_values import NoteValue
from arranger.render.spelling import (
    Spelling,
    open_string,
    shown_accidentals,
    spellings,
)
from arranger.render.voices import (
    FLAGS,
    Chunk,
    Sound,
    VoiceName,
    bar_voices,
    sounds,
    tuplet_groups,
)
from arranger.render.written import WrittenBar, written_bars
from arranger.render.xml_text import clean, sub

_NAMESPACE = "http://www.music-encoding.org/ns/mei"
_ID = "{http://www.w3.org/XML/1998/namespace}id"
_DURATIONS = {
    "breve": "breve",
    "whole": "1",
    "half": "2",
    "quarter": "4",
    "eighth": "8",
    "16th": "16",
    "32nd": "32",
    "64th": "64",
    "128th": "128",
    "256th": "256",
    "512th": "512",
    "1024th": "1024",
}
_ACCIDENTALS = {-2: "ff", -1: "f", 0: "n", 1: "s", 2: "x"}
_STEMS: dict[VoiceName, str] = {"upper": "up", "lower": "down", "inner": "up"}
_LAYERS: dict[VoiceName, str] = {"upper": "1", "lower": "2", "inner": "3"}


def mei(folds: Folded, lines: Sequence[int] = (), *, tab_only: bool = False) -> str:
    """The MEI document of an arrangement in (notatable) written time, repeats folded.

    ``lines``: indices of the drawn bars that begin a line; ``tab_only`` leaves the notation
    staff out.
    """
    return _Document(folds, lines, tab_only=tab_only).text()


class _Document:
    def __init__(self, folds: Folded, lines: Sequence[int], *, tab_only: bool) -> None:
        written = folds.drawn
        self.folds = folds
        self.lines = frozenset(lines)
        self.tab_only = tab_only
        self.tab_staff = "1" if tab_only else "2"
        self.written = written
        self.bars = written_bars(written)
        self.spellings: Sequence[Spelling] = spellings(written)
        self.voices: dict[VoiceName, tuple[Sound, ...]] = sounds(written.notes)
        self.slurred = self._slurs_by_bar()
        self.fingered = fingered_anew(written.notes)
        self.arched = frozenset(_arched(written.notes, self.fingered))

    def text(self) -> str:
        root = etree.Element("mei", meiversion="5.0", xmlns=_NAMESPACE)
        head = sub(sub(root, "meiHead"), "fileDesc")
        sub(sub(head, "titleStmt"), "title", clean(self.written.title))
        sub(head, "pubStmt")
        score = sub(sub(sub(sub(root, "music"), "body"), "mdiv"), "score")
        self._definition(score)
        section = sub(score, "section")
        parent = section
        for index, bar in enumerate(self.bars):
            number = self.folds.endings.get(index)
            if number != self.folds.endings.get(index - 1):
                parent = section if number is None else sub(section, "ending", n=f"{number}.")
            self._meter(parent, index)
            if index and index in self.lines:
                sub(parent, "sb")
            self._measure(parent, index, bar)
        return etree.tostring(root, encoding="unicode")

    def _definition(self, score: etree._Element) -> None:
        first = self.bars[0].bar
        definition = sub(score, "scoreDef")
        sharps = self.written.key.sharps
        signature = f"{abs(sharps)}{'s' if sharps > 0 else 'f'}" if sharps else "0"
        group = sub(definition, "staffGrp", symbol="none")
        group.set("bar.thru", "true")
        if not self.tab_only:
            staff = sub(group, "staffDef", n="1", lines="5")
            staff.set("keysig", signature)
            _set_meter(staff, first)
            staff.set("clef.shape", "G")
            staff.set("clef.line", "2")
            staff.set("clef.dis", "8")
            staff.set("clef.dis.place", "below")
        tab = sub(group, "staffDef", n=self.tab_staff, lines="6", notationtype="tab.guitar")
        self._tab_meter(tab, first)
        sub(tab, "clef", shape="TAB", line="5")
        tuning = sub(tab, "tuning")
        for string, midi in enumerate(self.written.tuning, start=1):
            spelling = open_string(midi)
            course = sub(tuning, "course", n=str(string), pname=spelling.step.lower())
            course.set("oct", str(spelling.octave))
            if spelling.alter:
                course.set("accid", _ACCIDENTALS[spelling.alter])

    def _meter(self, section: etree._Element, index: int) -> None:
        """A new meter, where it changes."""
        here, before = self.bars[index].bar, self.bars[max(0, index - 1)].bar
        if (here.numerator, here.denominator) != (before.numerator, before.denominator):
            group = sub(sub(section, "scoreDef"), "staffGrp")
            if not self.tab_only:
                _set_meter(sub(group, "staffDef", n="1"), here)
            self._tab_meter(sub(group, "staffDef", n=self.tab_staff), here)

    def _tab_meter(self, tab: etree._Element, bar: ArrangedBar) -> None:
        """The meter is read off the notation, where there is one."""
        _set_meter(tab, bar)
        if not self.tab_only:
            tab.set("meter.visible", "false")

    def _measure(self, section: etree._Element, index: int, bar: WrittenBar) -> None:
        measure = sub(section, "measure", n=str(bar.number))
        measure.set(_ID, f"b-{index}")
        if bar.bar.length != bar.full:
            measure.set("metcon", "false")
        if index in self.folds.starts:
            measure.set("left", "rptstart")
        if index in self.folds.ends:
            measure.set("right", "rptend")
        elif index == len(self.bars) - 1:
            measure.set("right", "end")
        chunks = bar_voices(bar, self.voices, self.written.notes)
        used = {
            name: voice
            for name, voice in chunks.items()
            if name != "inner" or any(chunk.notes for chunk in voice)
        }
        if not self.tab_only:
            self._notation(measure, bar, used)
        tab = sub(measure, "staff", n=self.tab_staff)
        for name, voice in used.items():
            self._tab_layer(sub(tab, "layer", n=_LAYERS[name]), voice)
        if not self.tab_only:
            for name, voice in used.items():
                self._fingers(measure, name, voice)
            self._slurs(measure, index)
        if bar.bar.slows and not (index and self.bars[index - 1].bar.slows):
            sub(measure, "dir", "rit.", staff="1", tstamp="1", place="above")
        if bar.bar.section:
            letter = sub(measure, "reh", staff="1", tstamp="0", place="above")
            sub(letter, "rend", clean(bar.bar.section), rend="box")

    def _notation(
        self,
        measure: etree._Element,
        bar: WrittenBar,
        chunks: dict[VoiceName, tuple[Chunk, ...]],
    ) -> None:
        staff = sub(measure, "staff", n="1")
        signs = self._accidentals(chunks)
        for name, voice in chunks.items():
            layer = sub(staff, "layer", n=_LAYERS[name])
            self._layer(layer, bar, (name, voice, chunks.get("inner", ())), signs)

    def _accidentals(self, chunks: dict[VoiceName, tuple[Chunk, ...]]) -> frozenset[int]:
        starting = [
            (chunk.onset, index)
            for voice in chunks.values()
            for chunk in voice
            for index in chunk.plucked
        ]
        order = [index for _, index in sorted(starting)]
        return frozenset(shown_accidentals(order, self.spellings, self.written.key))

    def _layer(
        self,
        layer: etree._Element,
        bar: WrittenBar,
        part: tuple[VoiceName, Sequence[Chunk], Sequence[Chunk]],
        signs: frozenset[int],
    ) -> None:
        """``part`` is the voice's name, its own chunks, and those of the inner voice."""
        name, voice, inner = part
        if not any(chunk.notes for chunk in voice) and bar.bar.length == bar.full:
            sub(layer, "mRest" if name == "upper" else "mSpace")
            return
        for parent, chunk in _beamed(layer, voice, bar):
            if chunk.notes:
                self._chord(parent, name, chunk, signs)
            else:
                hidden = name == "inner" or _sounds(inner, chunk)
                _set_duration(sub(parent, "space" if hidden else "rest"), chunk.value)

    def _chord(
        self, parent: etree._Element, name: VoiceName, chunk: Chunk, signs: frozenset[int]
    ) -> None:
        holder = parent
        if len(chunk.notes) > 1:
            holder = sub(parent, "chord")
            _set_duration(holder, chunk.value)
            holder.set("stem.dir", _STEMS[name])
        for index in chunk.notes:
            spelling = self.spellings[index]
            note = sub(holder, "note", pname=spelling.step.lower(), oct=str(spelling.octave))
            tied_back = index in chunk.tied_back
            if not tied_back:
                note.set(_ID, f"n-{index}")
            # Without it the engraver sets fingers onto the stem, another voice's as well.
            sub(note, "artic", type="technical")
            if len(chunk.notes) == 1:
                _set_duration(note, chunk.value)
                note.set("stem.dir", _STEMS[name])
            tie = _TIES[tied_back, index in chunk.tied_on]
            if tie:
                note.set("tie", tie)
            sign = _ACCIDENTALS[spelling.alter]
            if index in signs and not tied_back:
                note.set("accid", sign)
            elif spelling.alter:
                note.set("accid.ges", sign)

    def _tab_layer(self, layer: etree._Element, voice: Sequence[Chunk]) -> None:
        """Numbers where a string is plucked; a note held on is not written again."""
        for chunk in voice:
            if not chunk.plucked:
                _set_duration(sub(layer, "space"), chunk.value)
                continue
            group = sub(layer, "tabGrp")
            _set_duration(group, chunk.value)
            for index in chunk.plucked:
                placed = self.written.notes[index]
                note = sub(group, "note")
                note.set(_ID, f"t-{index}")
                note.set("tab.course", str(placed.string))
                note.set("tab.fret", str(placed.fret))

    def _fingers(
        self, measure: etree._Element, name: VoiceName, voice: Sequence[Chunk]
    ) -> None:
        """Left fingers: above the staff for the fingers' notes, below for the thumb's."""
        place = "below" if name == "lower" else "above"
        for chunk in voice:
            fretted = [n for n in chunk.plucked if n in self.fingered]
            for index in fretted if place == "above" else reversed(fretted):
                finger = sub(measure, "fing", self.written.notes[index].left, staff="1")
                finger.set("startid", f"#n-{index}")
                finger.set("place", place)
                if place == "below" and index in self.arched:
                    room = sub(measure, "fing", ROOM, staff="1", place=place)
                    room.set("startid", f"#n-{index}")

    def _slurs_by_bar(self) -> dict[int, list[tuple[int, int]]]:
        """Slurred notes with the notes they come from, by the index of the bar of these."""
        starts = [bar.start for bar in self.bars]
        found: dict[int, list[tuple[int, int]]] = {}
        for to, origin in slur_origins(self.written.notes).items():
            place = bisect_right(starts, self.written.notes[origin].onset) - 1
            found.setdefault(place, []).append((to, origin))
        return found

    def _slurs(self, measure: etree._Element, index: int) -> None:
        for to, origin in self.slurred.get(index, ()):
            if self.written.notes[to].slur == "slide":
                slide = sub(measure, "gliss", startid=f"#n-{origin}", endid=f"#n-{to}")
                slide.set("lform", "solid")
            else:
                sub(measure, "slur", startid=f"#n-{origin}", endid=f"#n-{to}", curvedir="above")


def _sounds(inner: Sequence[Chunk], rest: Chunk) -> bool:
    """Whether an inner voice plays while another rests: the rest would stand on its notes."""
    return any(
        chunk.notes and chunk.onset < rest.end and rest.onset < chunk.end for chunk in inner
    )


ROOM = "l"
"""What holds a place between the staves free and is not printed."""


def _arched(notes: Sequence[Placement], fingered: frozenset[int]) -> Iterator[int]:
    """Notes (indices) whose finger, if under the staff, stands where a slur arches the tab."""
    for to, origin in slur_origins(notes).items():
        if notes[to].string != 1 or notes[to].slur == "slide":
            continue
        for index in range(origin + 1, to):
            inside = notes[origin].onset < notes[index].onset < notes[to].onset
            if inside and index in fingered:
                yield index


def fingered_anew(notes: Sequence[Placement]) -> frozenset[int]:
    """Notes (indices) whose left finger is written, see ``_fingered``."""
    return frozenset(_fingered(notes))


def _fingered(notes: Sequence[Placement]) -> Iterator[int]:
    """Notes (indices) whose left finger is written: pressed anew on their string in the bar."""
    before: dict[int, Placement] = {}
    for index, note in enumerate(notes):
        last = before.get(note.string)
        stays = last is not None and (last.bar, last.fret, last.left) == (
            note.bar,
            note.fret,
            note.left,
        )
        if note.left != "0" and not stays:
            yield index
        before[note.string] = note


_TIES = {
    (False, False): "",
    (False, True): "i",
    (True, True): "m",
    (True, False): "t",
}


def _set_meter(staff: etree._Element, bar: ArrangedBar) -> None:
    staff.set("meter.count", str(bar.numerator))
    staff.set("meter.unit", str(bar.denominator))


def _set_duration(element: etree._Element, value: NoteValue) -> None:
    element.set("dur", _DURATIONS[value.type])
    if value.dots:
        element.set("dots", str(value.dots))


def _beamed(
    layer: etree._Element, voice: Sequence[Chunk], bar: WrittenBar
) -> Iterator[tuple[etree._Element, Chunk]]:
    """Each chunk with the element it goes into: the layer, a beam, a tuplet, or both."""
    for run in _runs(_cells(voice, bar), bar):
        parent = sub(layer, "beam") if sum(map(len, run)) > 1 and _short(run[0]) else layer
        for cell in run:
            yield from _in_tuplet(parent, cell, beamed=parent is not layer)


def _in_tuplet(
    parent: etree._Element, cell: Sequence[Chunk], *, beamed: bool
) -> Iterator[tuple[etree._Element, Chunk]]:
    """The chunks of a cell, under a tuplet if it is one, with beams inside if none outside."""
    value = cell[0].value
    if value.actual == 1:
        yield parent, cell[0]
        return
    tuplet = sub(parent, "tuplet", num=str(value.actual), numbase=str(value.normal))
    run: list[Chunk] = []
    for chunk in (*cell, None):
        if chunk is not None and not beamed and _short([chunk]):
            run.append(chunk)
            continue
        inner = sub(tuplet, "beam") if len(run) > 1 else tuplet
        yield from ((inner, short) for short in run)
        run = []
        if chunk is not None:
            yield tuplet, chunk


def _cells(voice: Sequence[Chunk], bar: WrittenBar) -> Iterator[tuple[Chunk, ...]]:
    """Tuplets as wholes, everything else one by one."""
    groups = {group[0].onset: group for group in tuplet_groups(voice, bar)}
    end = Beat(-1)
    for chunk in voice:
        group = groups.get(chunk.onset)
        if group:
            yield group
            end = group[-1].end
        elif chunk.onset >= end:
            yield (chunk,)


def _runs(
    cells: Iterator[tuple[Chunk, ...]], bar: WrittenBar
) -> Iterator[list[tuple[Chunk, ...]]]:
    """Cells that one beam joins: short notes within one beat of the meter."""
    run: list[tuple[Chunk, ...]] = []
    origin = bar.start - bar.missing
    for cell in cells:
        same_beat = bool(run) and all(
            (chunk.onset - origin) // bar.pulse == (run[-1][0].onset - origin) // bar.pulse
            for chunk in cell
        )
        if run and not (same_beat and _short(cell) and _short(run[-1])):
            yield run
            run = []
        run.append(cell)
    if run:
        yield run


def _short(cell: Sequence[Chunk]) -> bool:
    return all(chunk.notes and chunk.value.type in FLAGS for chunk in cell)
