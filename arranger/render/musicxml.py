"""``score.musicxml``: a notation staff and a tablature staff that say the same (MusicXML 4.0).

Written directly, element by element in the order of the schema. The guitar's clef has an 8
below it, so that a written pitch is the sounding one; with a capo the part is transposing, so
that staff, tab and chord names all say what the hand does. Repeats are folded as on the sheet,
with first and second endings; a program that obeys the signs plays the arrangement.
"""

from __future__ import annotations

from math import lcm

from lxml import etree

from arranger.music.arrangement import Arrangement
from arranger.music.repeats import repeats
from arranger.music.time import Beat
from arranger.render.fold import Folded, folded
from arranger.render.musicxml_voice import STAFF, TAB, VoiceOfBar
from arranger.render.note_values import plain_value
from arranger.render.ringing import ringing
from arranger.render.slurs import slur_ends
from arranger.render.spelling import open_string, shown_accidentals, spellings
from arranger.render.voices import VOICE_NAMES, Sound, VoiceName, bar_voice, sounds
from arranger.render.written import (
    WrittenBar,
    in_notatable_time,
    in_written_time,
    thumb_beat,
    written_bars,
)
from arranger.render.xml_text import clean, sub

_DOCTYPE = (
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">'
)
_MIDI_PROGRAM = 25  # MusicXML counts General MIDI programs from 1: acoustic guitar (nylon)


def musicxml_score(arrangement: Arrangement) -> bytes:
    """The score as a MusicXML document in UTF-8."""
    written = in_notatable_time(in_written_time(arrangement))
    return _Score(folded(ringing(written), repeats(arrangement))).document()


class _Score:
    """One document being written; everything in it is in written time."""

    def __init__(self, folds: Folded) -> None:
        self.folds = folds
        self.written = written = folds.drawn
        self.bars = written_bars(written)
        self.spellings = spellings(written)
        self.voices: dict[VoiceName, tuple[Sound, ...]] = sounds(written.notes)
        # Voices apart: a reader in wide use takes a note of a chord that alone is tied back
        # for one struck again, so that no inner note shares a tied note's stem here.
        self.chunks = {
            (bar.start, name): bar_voice(bar, self.voices[name])
            for bar in self.bars
            for name in VOICE_NAMES
        }
        self.divisions = self._divisions()
        self.slurs = slur_ends(written.notes)

    def _divisions(self) -> int:
        """The smallest part of a quarter that every length and chord name fits."""
        lengths = [chunk.value.length for chunks in self.chunks.values() for chunk in chunks]
        marks = [mark.onset for bar in self.bars for mark in bar.marks]
        return lcm(*(time.denominator for time in (*lengths, *marks)))

    def document(self) -> bytes:
        root = etree.Element("score-partwise", version="4.0")
        self._header(root)
        part = sub(root, "part", id="P1")
        for index in range(len(self.bars)):
            self._measure(part, index)
        etree.indent(root, space=" ")
        text: bytes = etree.tostring(
            root, xml_declaration=True, encoding="UTF-8", standalone=False, doctype=_DOCTYPE
        )
        return text + b"\n"

    def _header(self, root: etree._Element) -> None:
        work = sub(root, "work")
        sub(work, "work-title", clean(self.written.title) or "Untitled")
        identification = sub(root, "identification")
        if self.written.composer:
            sub(identification, "creator", clean(self.written.composer), type="composer")
        sub(sub(identification, "encoding"), "software", "arranger")
        part_list = sub(root, "part-list")
        score_part = sub(part_list, "score-part", id="P1")
        sub(score_part, "part-name", "Guitar")
        instrument = sub(score_part, "score-instrument", id="P1-I1")
        sub(instrument, "instrument-name", "Guitar")
        sub(instrument, "instrument-sound", "pluck.guitar")
        midi = sub(score_part, "midi-instrument", id="P1-I1")
        sub(midi, "midi-channel", "1")
        sub(midi, "midi-program", str(_MIDI_PROGRAM))

    def _measure(self, part: etree._Element, index: int) -> None:
        bar = self.bars[index]
        measure = sub(part, "measure", number=str(bar.number))
        if bar.bar.length < bar.full:
            measure.set("implicit", "yes")
        self._left_line(measure, index)
        self._attributes(measure, index)
        if bar.bar.section:
            kind = sub(sub(measure, "direction", placement="above"), "direction-type")
            sub(kind, "rehearsal", clean(bar.bar.section))
        if bar.bar.slows and not (index and self.bars[index - 1].bar.slows):
            kind = sub(sub(measure, "direction", placement="above"), "direction-type")
            sub(kind, "words", "rit.").set("font-style", "italic")
        if index == 0:
            self._tempo(measure)
        self._voices(measure, bar)
        self._right_line(measure, index)

    def _left_line(self, measure: etree._Element, index: int) -> None:
        """Where a repeated section or an ending begins."""
        ending = self.folds.endings.get(index)
        begins = ending is not None and ending != self.folds.endings.get(index - 1)
        repeats = index in self.folds.starts
        if not begins and not repeats:
            return
        line = sub(measure, "barline", location="left")
        if repeats:
            sub(line, "bar-style", "heavy-light")
        if begins:
            sub(line, "ending", number=str(ending), type="start")
        if repeats:
            sub(line, "repeat", direction="forward")

    def _right_line(self, measure: etree._Element, index: int) -> None:
        """Where they end: a first ending goes back, the last one stays open as in print."""
        ending = self.folds.endings.get(index)
        ends = ending is not None and ending != self.folds.endings.get(index + 1)
        repeats = index in self.folds.ends
        last = index == len(self.bars) - 1
        if not (ends or repeats or last):
            return
        line = sub(measure, "barline", location="right")
        if repeats or last:
            sub(line, "bar-style", "light-heavy")
        if ends:
            type_ = "stop" if repeats else "discontinue"
            sub(line, "ending", number=str(ending), type=type_)
        if repeats:
            sub(line, "repeat", direction="backward")

    def _voices(self, measure: etree._Element, bar: WrittenBar) -> None:
        """Every voice from bar line to bar line, first on the staff, then on the tab."""
        signs = self._accidentals(bar)
        for staff in (STAFF, TAB):
            for name in VOICE_NAMES:
                chunks = self.chunks[bar.start, name]
                if name == "inner" and not any(chunk.notes for chunk in chunks):
                    continue
                if measure.find("note") is not None:
                    length = str(int(bar.bar.length * self.divisions))
                    sub(sub(measure, "backup"), "duration", length)
                VoiceOfBar(
                    written=self.written,
                    bar=bar,
                    staff=staff,
                    name=name,
                    chunks=chunks,
                    divisions=self.divisions,
                    spellings=self.spellings,
                    slurs=self.slurs,
                    accidentals=signs if staff == STAFF else {},
                ).write(measure)

    def _attributes(self, measure: etree._Element, index: int) -> None:
        bar = self.bars[index].bar
        meter = (bar.numerator, bar.denominator)
        before = self.bars[index - 1].bar if index else None
        if before and meter == (before.numerator, before.denominator):
            return
        attributes = sub(measure, "attributes")
        if before is None:
            sub(attributes, "divisions", str(self.divisions))
            key = sub(attributes, "key")
            sub(key, "fifths", str(self.written.key.sharps))
            sub(key, "mode", self.written.key.mode)
        time = sub(attributes, "time")
        sub(time, "beats", str(bar.numerator))
        sub(time, "beat-type", str(bar.denominator))
        if before is None:
            self._staves(attributes)

    def _staves(self, attributes: etree._Element) -> None:
        sub(attributes, "staves", "2")
        clef = sub(attributes, "clef", number=str(STAFF))
        sub(clef, "sign", "G")
        sub(clef, "line", "2")
        sub(clef, "clef-octave-change", "-1")
        clef = sub(attributes, "clef", number=str(TAB))
        sub(clef, "sign", "TAB")
        sub(clef, "line", "5")
        details = sub(attributes, "staff-details", number=str(TAB))
        sub(details, "staff-type", "alternate")
        sub(details, "staff-lines", "6")
        for line, midi in enumerate(reversed(self.written.tuning), start=1):
            tuning = sub(details, "staff-tuning", line=str(line))
            spelling = open_string(midi)
            sub(tuning, "tuning-step", spelling.step)
            if spelling.alter:
                sub(tuning, "tuning-alter", str(spelling.alter))
            sub(tuning, "tuning-octave", str(spelling.octave))
        if self.written.capo:
            sub(details, "capo", str(self.written.capo))
            transpose = sub(attributes, "transpose")
            sub(transpose, "diatonic", str(_diatonic_steps(self.written)))
            sub(transpose, "chromatic", str(self.written.capo))

    def _tempo(self, measure: etree._Element) -> None:
        """The student's tempo as a metronome mark, the aim in words, the swing for players."""
        beat = thumb_beat(self.written)
        value = plain_value(beat) or plain_value(Beat(1))
        beat = value.length if value else Beat(1)
        direction = sub(measure, "direction", placement="above")
        kind = sub(direction, "direction-type")
        metronome = sub(kind, "metronome", parentheses="no")
        sub(metronome, "beat-unit", value.type if value else "quarter")
        for _ in range(value.dots if value else 0):
            sub(metronome, "beat-unit-dot")
        sub(metronome, "per-minute", str(round(self.written.student_tempo / beat)))
        if self.written.swing != 1.0:
            kind = sub(direction, "direction-type")
            sub(kind, "words", "swing")
        sub(direction, "staff", str(STAFF))
        sound = sub(direction, "sound", tempo=_number(self.written.student_tempo))
        if self.written.swing != 1.0:
            self._swing(sound)
        direction = sub(measure, "direction", placement="above")
        aim = f"(aim: {round(self.written.target_tempo / beat)})"
        sub(sub(direction, "direction-type"), "words", aim)
        sub(direction, "staff", str(STAFF))

    def _swing(self, sound: etree._Element) -> None:
        ratio = Beat(self.written.swing).limit_denominator(10)
        swing = sub(sound, "swing")
        sub(swing, "first", str(ratio.numerator))
        sub(swing, "second", str(ratio.denominator))
        sub(swing, "swing-type", "eighth")

    def _accidentals(self, bar: WrittenBar) -> dict[int, str]:
        """Which notes (by index) show an accidental, read from left to right in the bar."""
        order = [
            (chunk.onset, index)
            for name in VOICE_NAMES
            for chunk in self.chunks[bar.start, name]
            for index in chunk.plucked
        ]
        notes = [index for _, index in sorted(order)]
        shown = shown_accidentals(notes, self.spellings, self.written.key)
        return {index: _ACCIDENTALS[alter] for index, alter in shown.items()}


_ACCIDENTALS = {
    -2: "flat-flat",
    -1: "flat",
    0: "natural",
    1: "sharp",
    2: "double-sharp",
}


def _diatonic_steps(written: Arrangement) -> int:
    """Letters between the key of the hand and the key that sounds."""
    letters = "CDEFGAB"
    hand = written.key.tonic_name[0]
    heard = written.key.transposed(written.capo).tonic_name[0]
    steps = (letters.index(heard) - letters.index(hand)) % 7
    return steps + 7 * (written.capo // 12)


def _number(value: float) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".")
