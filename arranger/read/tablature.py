"""A MusicXML score that says strings, frets and fingers, as an ``Arrangement``.

Frets and strings may stand on a tab staff and fingers on a notation staff: what begins at
one moment at one pitch is one note. Repeats are played out: what is rated is what a student
plays, and bars have the numbers they have in the arrangement.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from lxml import etree

from arranger.music.arrangement import (
    ArrangedBar,
    Arrangement,
    LeftFinger,
    Placement,
    Proof,
    RightFinger,
    Slur,
    Voice,
)
from arranger.music.key import Key
from arranger.music.pitch import pitch_class
from arranger.music.score import SourceWarning
from arranger.music.time import Beat, beats_of
from arranger.read.extent import refuse_endless
from arranger.read.file import NO_MUSIC, bytes_of, musicxml_root, no_music, unreadable
from arranger.read.repeats import as_played
from arranger.read.table import reading_table
from arranger.read.title import clean_text, title_from_name
from arranger.tables import instrument

LEFT: dict[str, LeftFinger] = {"0": "0", "1": "1", "2": "2", "3": "3", "4": "4", "T": "T"}
RIGHT: dict[str, RightFinger] = {"p": "p", "i": "i", "m": "m", "a": "a"}
SLURS: dict[str, Slur] = {"hammer-on": "hammer-on", "pull-off": "pull-off", "slide": "slide"}
HOME: dict[int, RightFinger] = {1: "a", 2: "m", 3: "i", 4: "i", 5: "i", 6: "i"}
"""The plucking finger of a string where the page says none: common practice, no source."""
NO_TEMPO = SourceWarning(code="tempo-default", text="the file states no tempo")


@dataclass(slots=True)
class _Note:
    """What is said of a note, gathered from every staff that shows it."""

    onset: Beat
    length: Beat
    midi: int
    bar: int
    voice: str = ""
    stem: str = ""
    string: int | None = None
    fret: int | None = None
    left: LeftFinger | None = None
    right: RightFinger | None = None
    slur: Slur | None = None


@dataclass(slots=True)
class _Sheet:
    """The score as far as it has been read."""

    bars: list[ArrangedBar] = field(default_factory=list)
    notes: dict[tuple[Beat, int], _Note] = field(default_factory=dict)
    tied: dict[tuple[str | None, int], _Note] = field(default_factory=dict)
    tempo: float | None = None
    divisions: int = 1
    meter: tuple[int, int] = (4, 4)
    transposed: int = 0
    capo: int = 0
    fifths: int = 0
    minor: bool = False


def tablature(path: Path) -> Arrangement | None:
    """The tab in a MusicXML file; None where a string, a fret or a left finger is missing.

    Raises
    ------
    UnreadableInput : the file is no MusicXML, or its frets and pitches contradict each other.
    """
    data = bytes_of(path)
    root = musicxml_root(data, path.name)
    part = _part_with_frets(root)
    if part is None:
        return None
    sheet = _Sheet()
    try:
        _read_measures(sheet, part.findall("measure"))
    except NO_MUSIC as error:
        raise no_music(error, path.name, len(sheet.bars) + 1) from error
    notes = sorted(sheet.notes.values(), key=lambda note: (note.onset, -(note.string or 0)))
    complete = all(note.string and note.fret is not None for note in notes)
    refuse_endless(sheet.bars, notes, sheet.tempo, path)
    if not notes or not complete or not all(note.left or note.fret == 0 for note in notes):
        return None
    tuning = _tuning(notes, sheet, path)
    _end_where_struck_again(notes)
    _end_where_fingers_leave(notes)
    stated = root.findtext("work/work-title") or root.findtext("movement-title") or ""
    tempo = sheet.tempo or reading_table().tempo.default
    key = Key(
        (7 * sheet.fifths + (9 if sheet.minor else 0)) % 12, "minor" if sheet.minor else "major"
    )
    return Arrangement(
        title=clean_text(stated) or title_from_name(path),
        composer=clean_text(root.findtext("identification/creator") or ""),
        level="as written",
        file=path.name,
        sha256=hashlib.sha256(data).hexdigest(),
        warnings=() if sheet.tempo else (NO_TEMPO,),
        key=key,
        transposed_by=0,
        capo=sheet.capo,
        tuning=tuning,
        target_tempo=tempo,
        student_tempo=tempo,
        swing=1.0,
        written_scale=1,
        bars=tuple(sheet.bars),
        chords=(),
        shapes=(),
        notes=tuple(_placements(notes)),
        dropped=(),
        decisions=(),
        proof=Proof(objective=0.0, bound=0.0, seconds=0.0),
    )


def _part_with_frets(root: etree._Element) -> etree._Element | None:
    for part in root.iterfind("part"):
        if part.find(".//note/notations/technical/fret") is not None:
            return part
    return None


def _read_measures(sheet: _Sheet, measures: list[etree._Element]) -> None:
    """The measures as played; one that comes again has the meter it had."""
    meters: dict[int, tuple[int, int]] = {}
    for index in as_played(measures):
        sheet.meter = meters.setdefault(index, sheet.meter)
        _read_measure(sheet, measures[index])


def _read_measure(sheet: _Sheet, measure: etree._Element) -> None:
    start = sheet.bars[-1].end if sheet.bars else Beat(0)
    now = last = longest = start
    number = len(sheet.bars) + (1 if not sheet.bars or sheet.bars[0].bar else 0)
    if not sheet.bars and measure.get("implicit") == "yes":
        number = 0
    for element in measure:
        if element.tag == "attributes":
            _read_attributes(sheet, element)
        elif element.tag in ("backup", "forward"):
            step = _length(sheet, element)
            now += step if element.tag == "forward" else -step
        elif element.tag == "note" and element.find("grace") is None:
            length = _length(sheet, element)
            chord = element.find("chord") is not None
            onset = last if chord else now
            if not chord:
                last, now = now, now + length
            _read_note(sheet, element, onset, length, number)
        if (sound := element.find(".//sound[@tempo]")) is not None and sheet.tempo is None:
            sheet.tempo = float(sound.get("tempo") or 0)
        elif element.tag == "sound" and element.get("tempo") and sheet.tempo is None:
            sheet.tempo = float(element.get("tempo") or 0)
        longest = max(longest, now)
    numerator, denominator = sheet.meter
    full = Beat(4 * numerator, denominator)
    compound = denominator >= 8 and numerator % 3 == 0
    sheet.bars.append(
        ArrangedBar(
            bar=number,
            start=start,
            length=longest - start or full,
            beat=Beat(12, denominator) if compound else Beat(4, denominator),
            written_bar=number,
            numerator=numerator,
            denominator=denominator,
            chord=None,
            same_as=None,
        )
    )


def _read_attributes(sheet: _Sheet, attributes: etree._Element) -> None:
    def number(path: str, otherwise: int) -> int:
        text = attributes.findtext(path)
        return int(text) if text else otherwise

    sheet.divisions = number("divisions", sheet.divisions)
    sheet.meter = (
        number("time/beats", sheet.meter[0]),
        number("time/beat-type", sheet.meter[1]),
    )
    octaves = number("transpose/octave-change", 0)
    if attributes.find("transpose") is not None:
        sheet.transposed = number("transpose/chromatic", 0) + 12 * octaves
    sheet.capo = number("staff-details/capo", sheet.capo)
    sheet.fifths = number("key/fifths", sheet.fifths)
    if mode := attributes.findtext("key/mode"):
        sheet.minor = mode == "minor"


def _length(sheet: _Sheet, element: etree._Element) -> Beat:
    return beats_of((element.findtext("duration") or "0").strip()) / sheet.divisions


def _read_note(
    sheet: _Sheet, element: etree._Element, onset: Beat, length: Beat, bar: int
) -> None:
    pitch = element.find("pitch")
    if pitch is None or length <= 0:
        return
    octave = int(pitch.findtext("octave") or 4)
    midi = 12 * (octave + 1) + pitch_class(pitch.findtext("step") or "C")
    midi += round(float(pitch.findtext("alter") or 0)) + sheet.transposed
    ties = {tie.get("type") for tie in element.iterfind("tie")}
    voice = element.findtext("voice"), midi
    before = sheet.tied.pop(voice, None)
    if (
        "stop" in ties
        and before is not None
        and before.onset < onset <= before.onset + before.length
    ):
        before.length = max(before.length, onset + length - before.onset)
        note = before
    else:
        note = sheet.notes.setdefault((onset, midi), _Note(onset, length, midi, bar))
        note.length = max(note.length, length)
    if "start" in ties:
        sheet.tied[voice] = note
    _read_hands(note, element)


def _read_hands(note: _Note, element: etree._Element) -> None:
    """What the technical marks say; the first to say a thing has the word."""
    for mark in element.iterfind("notations/technical/*"):
        text = (mark.text or "").strip()
        if mark.tag == "string" and note.string is None and text.isdigit():
            note.string = int(text)
        elif mark.tag == "fret" and note.fret is None and text.isdigit():
            note.fret = int(text)
        elif mark.tag in ("fingering", "other-technical") and note.left is None:
            note.left = LEFT.get(text)
        elif mark.tag == "pluck" and note.right is None:
            note.right = RIGHT.get(text)
        elif mark.tag in SLURS and mark.get("type") == "stop":
            note.slur = SLURS[mark.tag]
    for slide in element.iterfind("notations/slide"):
        if slide.get("type") == "stop":
            note.slur = "slide"


def _tuning(notes: list[_Note], sheet: _Sheet, path: Path) -> tuple[int, ...]:
    """The open strings without capo, from the notes themselves; standard where none tells.

    Guitar music is often written an octave above its sound and not said to be: where the
    first note's string would be nearer to standard an octave lower, all sound there.
    """
    tuning = list(instrument().tuning)
    known: dict[int, int] = {}
    octaves: int | None = None
    for note in notes:
        string, fret = note.string or 1, note.fret or 0
        if not 1 <= string <= len(tuning):
            raise unreadable(
                path.name, f"bar {note.bar}: there is no string {string} on a guitar"
            )
        open_string = note.midi - fret - sheet.capo
        if octaves is None:
            octaves = 12 * round((open_string - tuning[string - 1]) / 12)
        if known.setdefault(string, open_string) != open_string:
            what = f"bar {note.bar}: string {string} at fret {fret} does not sound its note"
            raise unreadable(path.name, what)
        note.midi -= octaves
    for string, open_string in known.items():
        tuning[string - 1] = open_string - (octaves or 0)
    return tuple(tuning)


def _end_where_struck_again(notes: list[_Note]) -> None:
    """A chord is written with one length; on a string that is struck again it was shorter."""
    sounding: dict[int | None, _Note] = {}
    for note in notes:
        before = sounding.get(note.string)
        if before is not None and before.onset < note.onset:
            before.length = min(before.length, note.onset - before.onset)
        sounding[note.string] = note


def _end_where_fingers_leave(notes: list[_Note]) -> None:
    """Lengths are what is meant to be heard; a finger that is called to another fret lets
    its note go then (common practice, no source).
    """
    pressing: dict[LeftFinger, list[_Note]] = {}
    for note in notes:
        if note.left is None or not note.fret:
            continue
        before = pressing.setdefault(note.left, [])
        if before and before[0].fret != note.fret and before[0].onset < note.onset:
            for held in before:
                held.length = min(held.length, note.onset - held.onset)
            before.clear()
        before.append(note)


def _placements(notes: list[_Note]) -> Iterator[Placement]:
    """The notes with what the page leaves to the player: plucking fingers and voices."""
    by_onset: dict[Beat, list[_Note]] = {}
    for note in notes:
        by_onset.setdefault(note.onset, []).append(note)
    for together in by_onset.values():
        low = max(together, key=lambda note: note.string or 0)
        top = max(together, key=lambda note: note.midi)
        for note in together:
            thumb = note is low and (note.string or 0) >= 4
            right = note.right or ("p" if thumb else HOME[note.string or 1])
            voice: Voice = "bass" if right == "p" else "melody" if note is top else "inner"
            yield Placement(
                onset=note.onset,
                length=note.length,
                midi=note.midi,
                string=note.string or 1,
                fret=note.fret or 0,
                left="0" if note.fret == 0 else note.left or "1",
                right=right,
                voice=voice,
                bar=note.bar,
                slur=note.slur,
            )
