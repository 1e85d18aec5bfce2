"""One voice of one bar in MusicXML: notes, rests, ties, beams, tuplets, fingers, frets."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from lxml import etree

from arranger.music.arrangement import Arrangement
from arranger.music.time import Beat
from arranger.render.harmony import harmony
from arranger.render.slurs import SlurEnds
from arranger.render.spelling import Spelling
from arranger.render.voices import FLAGS, Chunk, VoiceName, beams, tuplet_groups
from arranger.render.written import WrittenBar
from arranger.render.xml_text import sub

STAFF, TAB = 1, 2
"""Staff numbers: notation above, tablature below."""

_VOICE_NUMBERS: dict[tuple[int, VoiceName], str] = {
    (STAFF, "upper"): "1",
    (STAFF, "lower"): "2",
    (STAFF, "inner"): "3",
    (TAB, "upper"): "5",
    (TAB, "lower"): "6",
    (TAB, "inner"): "7",
}
_STEMS: dict[VoiceName, str] = {"upper": "up", "lower": "down", "inner": "up"}
_SLUR_LETTERS = {"hammer-on": "H", "pull-off": "P"}


@dataclass(frozen=True, kw_only=True)
class VoiceOfBar:
    """What is needed to write voice ``name`` of ``bar`` on ``staff``.

    ``accidentals`` holds the notes (indices) that show one, with its MusicXML name.
    """

    written: Arrangement
    bar: WrittenBar
    staff: int
    name: VoiceName
    chunks: Sequence[Chunk]
    divisions: int
    spellings: Sequence[Spelling]
    slurs: SlurEnds
    accidentals: Mapping[int, str]

    def write(self, measure: etree._Element) -> None:
        """Add the voice to ``measure``, which stands at the beginning of the bar."""
        silent = not any(chunk.notes for chunk in self.chunks)
        if silent and self.bar.bar.length == self.bar.full:
            self._harmonies(measure, self.bar.start, self.bar.end)
            self._bar_rest(measure)
            return
        for chunk in self.chunks:
            self._harmonies(measure, chunk.onset, chunk.end)
            if not chunk.notes and self.name == "inner":
                sub(sub(measure, "forward"), "duration", self._duration(chunk.value.length))
            elif not chunk.notes or (self.staff == TAB and not chunk.plucked):
                self._rest(measure, chunk)
            else:
                self._chord(measure, chunk)

    def _duration(self, length: Beat) -> str:
        return str(int(length * self.divisions))

    @cached_property
    def _beams(self) -> dict[Beat, tuple[str, ...]]:
        return _beam_marks(self.chunks, self.bar)

    @cached_property
    def _tuplets(self) -> dict[Beat, list[str]]:
        return _tuplet_marks(self.chunks, self.bar)

    def _harmonies(self, measure: etree._Element, start: Beat, end: Beat) -> None:
        """Chord names stand over the upper voice of the staff."""
        if (self.staff, self.name) != (STAFF, "upper"):
            return
        for mark in self.bar.marks:
            if start <= mark.onset < end:
                offset = int((mark.onset - start) * self.divisions)
                measure.append(harmony(mark, self.written.shapes, offset=offset, staff=STAFF))

    def _bar_rest(self, measure: etree._Element) -> None:
        note = sub(measure, "note")
        sub(note, "rest", measure="yes")
        sub(note, "duration", self._duration(self.bar.bar.length))
        sub(note, "voice", _VOICE_NUMBERS[self.staff, self.name])
        sub(note, "staff", str(self.staff))

    def _rest(self, measure: etree._Element, chunk: Chunk) -> None:
        note = sub(measure, "note")
        if self.staff == TAB:
            note.set("print-object", "no")
        sub(note, "rest")
        sub(note, "duration", self._duration(chunk.value.length))
        sub(note, "voice", _VOICE_NUMBERS[self.staff, self.name])
        _add_value(note, chunk, None)
        sub(note, "staff", str(self.staff))
        notations = etree.Element("notations")
        self._add_tuplets(notations, chunk)
        if len(notations):
            note.append(notations)

    def _chord(self, measure: etree._Element, chunk: Chunk) -> None:
        """The notes of a chunk from the highest string down; the first carries its beams."""
        # In tab a number means: pluck. A note held on is not written again.
        notes = chunk.plucked if self.staff == TAB else chunk.notes
        for place, index in enumerate(reversed(notes)):
            note = sub(measure, "note")
            if place:
                sub(note, "chord")
            self._pitched(note, index, chunk)
            if not place:
                for level, text in enumerate(self._beams.get(chunk.onset, ()), start=1):
                    sub(note, "beam", text, number=str(level))
            notations = self._notations(index, chunk, first=not place)
            if len(notations):
                note.append(notations)

    def _pitched(self, note: etree._Element, index: int, chunk: Chunk) -> None:
        _add_pitch(note, self.spellings[index])
        sub(note, "duration", self._duration(chunk.value.length))
        if self.staff == STAFF:
            _add_ties(note, "tie", chunk, index)
        sub(note, "voice", _VOICE_NUMBERS[self.staff, self.name])
        _add_value(
            note, chunk, None if index in chunk.tied_back else self.accidentals.get(index)
        )
        sub(note, "stem", _STEMS[self.name] if self.staff == STAFF else "none")
        sub(note, "staff", str(self.staff))

    def _notations(self, index: int, chunk: Chunk, *, first: bool) -> etree._Element:
        """Ties and slurs, fingers on the staff, string and fret on the tab."""
        notations = etree.Element("notations")
        if self.staff == STAFF:
            _add_ties(notations, "tied", chunk, index)
        if first:
            self._add_tuplets(notations, chunk)
        slurs = self._slur_ends(index, chunk)
        number = str(self.written.notes[index].string)
        for type_, kind in slurs:
            if kind == "slide":
                sub(notations, "slide", type=type_, number=number).set("line-type", "solid")
            elif self.staff == STAFF:
                sub(notations, "slur", type=type_, number=number)
        technical = etree.Element("technical")
        if self.staff == TAB:
            self._add_place(technical, index, slurs)
        elif index not in chunk.tied_back:
            self._add_fingers(technical, index)
        if len(technical):
            notations.append(technical)
        return notations

    def _slur_ends(self, index: int, chunk: Chunk) -> list[tuple[str, str]]:
        """(stop or start, kind): a slur leaves from the last of tied notes."""
        ends = []
        if index in self.slurs.stops and index not in chunk.tied_back:
            ends.append(("stop", self.slurs.stops[index]))
        if index in self.slurs.starts and (self.staff == TAB or index not in chunk.tied_on):
            ends.append(("start", self.slurs.starts[index]))
        return ends

    def _add_tuplets(self, notations: etree._Element, chunk: Chunk) -> None:
        """Brackets on the staff; on the tab they only tell a reader how to count."""
        for type_ in self._tuplets.get(chunk.onset, ()):
            tuplet = sub(notations, "tuplet", type=type_, number="1")
            if self.staff == TAB and type_ == "start":
                tuplet.set("bracket", "no")
                tuplet.set("show-number", "none")

    def _add_fingers(self, technical: etree._Element, index: int) -> None:
        note = self.written.notes[index]
        place = "below" if self.name == "lower" else "above"
        # Other programs read a fingering as a number; the thumb over the neck is none.
        tag = "other-technical" if note.left == "T" else "fingering"
        sub(technical, tag, note.left, placement=place)
        if note.slur is None:
            sub(technical, "pluck", note.right, placement=place)

    def _add_place(
        self, technical: etree._Element, index: int, slurs: Sequence[tuple[str, str]]
    ) -> None:
        note = self.written.notes[index]
        sub(technical, "string", str(note.string))
        sub(technical, "fret", str(note.fret))
        for type_, kind in slurs:
            if kind in _SLUR_LETTERS:
                letter = _SLUR_LETTERS[kind] if type_ == "start" else None
                sub(technical, kind, letter, type=type_, number=str(note.string))


def _add_pitch(note: etree._Element, spelling: Spelling) -> None:
    pitch = sub(note, "pitch")
    sub(pitch, "step", spelling.step)
    if spelling.alter:
        sub(pitch, "alter", str(spelling.alter))
    sub(pitch, "octave", str(spelling.octave))


def _add_value(note: etree._Element, chunk: Chunk, accidental: str | None) -> None:
    sub(note, "type", chunk.value.type)
    for _ in range(chunk.value.dots):
        sub(note, "dot")
    if accidental:
        sub(note, "accidental", accidental)
    if chunk.value.actual != 1:
        change = sub(note, "time-modification")
        sub(change, "actual-notes", str(chunk.value.actual))
        sub(change, "normal-notes", str(chunk.value.normal))


def _add_ties(parent: etree._Element, tag: str, chunk: Chunk, index: int) -> None:
    if index in chunk.tied_back:
        sub(parent, tag, type="stop")
    if index in chunk.tied_on:
        sub(parent, tag, type="start")


def _beam_marks(chunks: Sequence[Chunk], bar: WrittenBar) -> dict[Beat, tuple[str, ...]]:
    """By onset: begin, continue, end or hook, for each beam from the outermost inwards."""
    marks = {}
    for group in beams(chunks, bar):
        if len(group) > 1:
            flags = [FLAGS[chunk.value.type] for chunk in group]
            for place, chunk in enumerate(group):
                marks[chunk.onset] = tuple(_beam_levels(flags, place))
    return marks


def _beam_levels(flags: Sequence[int], place: int) -> Iterator[str]:
    for level in range(1, flags[place] + 1):
        before = place > 0 and flags[place - 1] >= level
        after = place + 1 < len(flags) and flags[place + 1] >= level
        if before and after:
            yield "continue"
        elif before:
            yield "end"
        elif after:
            yield "begin"
        else:
            yield "forward hook" if place == 0 else "backward hook"


def _tuplet_marks(chunks: Sequence[Chunk], bar: WrittenBar) -> dict[Beat, list[str]]:
    """By onset: whether a tuplet starts or stops there."""
    marks: dict[Beat, list[str]] = {}
    for group in tuplet_groups(chunks, bar):
        marks.setdefault(group[0].onset, []).append("start")
        marks.setdefault(group[-1].onset, []).append("stop")
    return marks
