"""A guitar score, every note as written: MusicXML element by element, MIDI as ``read`` does.

Repeats of a MusicXML score are not played out: what is fingered is the page, and each of its
notes stays tied to the elements it came from.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import Any, Literal

from arranger.music.arrangement import Decision
from arranger.music.errors import UnreadableInput
from arranger.music.key import Key
from arranger.music.page import Page
from arranger.music.pitch import pitch_class
from arranger.music.score import Bar, KeyMark, Note, Score, SourceWarning, TempoMark
from arranger.music.time import Beat, beats_of
from arranger.music.written_note import WrittenNote
from arranger.read.extent import refuse_endless, refuse_uncountable
from arranger.read.file import NO_MUSIC, bytes_of, musicxml_root, no_music
from arranger.read.notation import notation_format
from arranger.read.reading import read
from arranger.read.table import reading_table
from arranger.read.title import clean_text, title_from_name
from arranger.tables import instrument

OCTAVE_UP = "the score is taken as written an octave above its sound"
AS_SOUNDING = "the pitches of the score are taken as they sound"


def guitar_page(
    path: Path, *, octave_down: bool | None = None, keep_fingering: bool = False
) -> Page:
    """The score in a file, no note left out or moved in time.

    ``octave_down`` True: everything sounds an octave lower than the file's pitches say; False:
    it does not; None: where the score says so itself (a part named for the guitar, without a
    clef or transposition of an octave, that never goes below the guitar's lowest written
    note). ``keep_fingering`` pins strings and fingers that a MusicXML score states.

    Raises
    ------
    UnreadableInput : the file cannot be read or holds no music.
    """
    data = bytes_of(path)
    if notation_format(data, path) != "musicxml":
        return _shifted(_from_score(read(path)), octave_down, named=False)
    sheet = _sheet(data, path)
    tempo = sheet.tempos[0].quarters if sheet.tempos else None
    refuse_endless(sheet.bars, sheet.notes.values(), tempo, path)
    refuse_uncountable(sheet.bars, path)
    page = _page(sheet, path, hashlib.sha256(data).hexdigest(), keep_fingering)
    return _shifted(page, octave_down, named=sheet.guitar and not sheet.octave_said)


def _from_score(score: Score) -> Page:
    """Any other format: the parts or hands of the file are the voices."""
    tracks = sorted({note.track for note in score.notes})
    notes = tuple(
        WrittenNote(
            onset=note.onset,
            length=note.length,
            midi=note.midi,
            voice=_part_voice(note, tracks),
            source=(note.index,),
        )
        for note in score.notes
    )
    return Page(score=score, notes=notes)


def _part_voice(note: Note, tracks: list[int]) -> int:
    """Two parts are two voices; one part says nothing."""
    return 1 + tracks.index(note.track) if len(tracks) == 2 else 0


def _shifted(page: Page, octave_down: bool | None, *, named: bool) -> Page:
    """The page as it sounds, with the decision that was made."""
    pitches = [note.midi for note in page.notes]
    tuning = instrument().tuning
    top = tuning[0] + 19
    high = min(pitches) >= tuning[-1] + 12 and max(pitches) > tuning[0] + 12
    down = octave_down if octave_down is not None else (named and high) or min(pitches) > top
    decisions = []
    if octave_down is None and (down or high):
        option = "--as-sounding" if down else "--octave-down"
        decisions.append(Decision(text=OCTAVE_UP if down else AS_SOUNDING, option=option))
    if not down:
        return replace(page, decisions=tuple(decisions))
    return replace(
        page,
        notes=tuple(replace(note, midi=note.midi - 12) for note in page.notes),
        score=replace(
            page.score,
            notes=tuple(replace(note, midi=note.midi - 12) for note in page.score.notes),
        ),
        decisions=tuple(decisions),
    )


# MusicXML -----------------------------------------------------------------------------


@dataclass(slots=True)
class _Said:
    """One note element, or several joined by ties or shown on two staves."""

    onset: Beat
    length: Beat
    midi: int
    bar: int
    voice: str
    stem: str
    grace: bool = False
    string: int | None = None
    finger: int | None = None
    slur: Literal["slur", "slide"] | None = None
    elements: list[int] = field(default_factory=list)


@dataclass(slots=True)
class _Sheet:
    """A part as far as it has been read."""

    notes: dict[tuple[Beat, int], _Said] = field(default_factory=dict)
    bars: list[Bar] = field(default_factory=list)
    tempos: list[TempoMark] = field(default_factory=list)
    keys: list[KeyMark] = field(default_factory=list)
    tied: dict[tuple[int, str], _Said] = field(default_factory=dict)
    slurs: dict[tuple[str, str], list[_Said]] = field(default_factory=dict)
    divisions: int = 1
    meter: tuple[int, int] = (4, 4)
    transposed: int = 0
    octave_said: bool = False
    guitar: bool = False
    title: str = ""
    composer: str = ""
    warnings: list[SourceWarning] = field(default_factory=list)


def _sheet(data: bytes, path: Path) -> _Sheet:
    root = musicxml_root(data, path.name)
    elements = list(root.iter("note"))  # kept, so that each keeps its identity
    numbers = {id(note): at for at, note in enumerate(elements)}
    part, name = _guitar_part(root)
    sheet = _Sheet(guitar="guit" in name.lower())
    sheet.title = _text(root, "work/work-title") or _text(root, "movement-title")
    for creator in root.iter("creator"):
        if creator.get("type") == "composer":
            sheet.composer = clean_text(creator.text or "")
    if len(root.findall("part")) > 1:
        said = f"Of several parts, {name or 'the first'} is fingered"
        sheet.warnings.append(SourceWarning(code="one-part", text=said))
    if root.find(".//repeat") is not None:
        said = "Repeats are not played out; what is fingered is the page"
        sheet.warnings.append(SourceWarning(code="repeats-as-printed", text=said))
    try:
        for measure in [] if part is None else part.findall("measure"):
            _measure(sheet, measure, numbers)
    except NO_MUSIC as error:
        bar = sheet.bars[-1].number + 1 if sheet.bars else 1
        raise no_music(error, path.name, bar) from error
    if not sheet.notes:
        raise UnreadableInput(
            "the file holds no notes", where=path.name, next_step="Give a guitar piece."
        )
    return sheet


def _guitar_part(root: Any) -> tuple[Any, str]:
    """The part named for the guitar, else the first that holds notes; with its name."""
    names = {part.get("id"): _text(part, "part-name") for part in root.iter("score-part")}
    parts = [part for part in root.findall("part") if part.find(".//pitch") is not None]
    parts.sort(key=lambda part: "guit" not in names.get(part.get("id"), "").lower())
    if not parts:
        return None, ""
    return parts[0], names.get(parts[0].get("id"), "")


def _text(element: Any, path: str) -> str:
    return (element.findtext(path) or "").strip()


def _number(element: Any, path: str, otherwise: int = 0) -> int:
    text = _text(element, path)
    return int(float(text)) if text else otherwise


def _measure(sheet: _Sheet, measure: Any, numbers: dict[int, int]) -> None:
    start = sheet.bars[-1].end if sheet.bars else Fraction(0)
    at = longest = start
    before = start
    graces: list[Any] = []
    for element in measure:
        if element.tag == "attributes":
            _attributes(sheet, element, at)
        elif element.tag in ("backup", "forward"):
            step = beats_of(_text(element, "duration")) / sheet.divisions
            at += step if element.tag == "forward" else -step
            longest = max(longest, at)
        elif element.tag in ("direction", "sound"):
            _tempo(sheet, element, at)
        elif element.tag == "note" and element.find("cue") is None:
            if element.find("grace") is not None:
                graces.append(element)
                continue
            length = beats_of(_text(element, "duration")) / sheet.divisions
            chord = element.find("chord") is not None
            onset = before if chord else at
            short = Fraction(reading_table().page.grace)
            for place, grace in enumerate(graces):
                early = onset - short * (len(graces) - place)
                _note(sheet, grace, max(Fraction(0), early), short, numbers)
            graces = []
            if length > 0:
                _note(sheet, element, onset, length, numbers)
            if not chord:
                before, at = at, at + length
                longest = max(longest, at)
    sheet.bars.append(_bar(sheet, measure, start, longest))


def _bar(sheet: _Sheet, measure: Any, start: Beat, end: Beat) -> Bar:
    """The bar: as long as what is in it, or as its meter says where it is empty."""
    beats, beat_type = sheet.meter
    full = Fraction(4 * beats, beat_type)
    length = end - start or full
    short = not sheet.bars and length < full
    number = sheet.bars[-1].number + 1 if sheet.bars else (0 if short else 1)
    return Bar(
        number=number, start=start, length=length, numerator=beats, denominator=beat_type
    )


def _attributes(sheet: _Sheet, element: Any, at: Beat) -> None:
    sheet.divisions = _number(element, "divisions", sheet.divisions)
    for time in element.findall("time"):
        beats, unit = _text(time, "beats"), _text(time, "beat-type")
        if beats and unit:
            sheet.meter = sum(int(part) for part in beats.split("+")), int(unit)
    for key in element.findall("key"):
        fifths = max(-7, min(7, _number(key, "fifths")))
        tonic = 7 * fifths % 12
        minor = _text(key, "mode") == "minor"
        found = Key((tonic - 3) % 12, "minor") if minor else Key(tonic, "major")
        if not sheet.keys or sheet.keys[-1].key != found:
            sheet.keys.append(KeyMark(onset=at, key=found))
    for clef in element.findall("clef"):
        sheet.octave_said |= _number(clef, "clef-octave-change") != 0
    for transpose in element.findall("transpose"):
        octaves = _number(transpose, "octave-change")
        sheet.transposed = _number(transpose, "chromatic") + 12 * octaves
        sheet.octave_said |= octaves != 0 or abs(sheet.transposed) >= 12


def _tempo(sheet: _Sheet, element: Any, at: Beat) -> None:
    sound = element if element.tag == "sound" else element.find("sound")
    text = None if sound is None else sound.get("tempo")
    if text and 0 < float(text) < 1000:
        sheet.tempos.append(TempoMark(onset=at, quarters=float(text)))


def _note(
    sheet: _Sheet, element: Any, onset: Beat, length: Beat, numbers: dict[int, int]
) -> None:
    pitch = element.find("pitch")
    if pitch is None:
        return
    alter = round(float(_text(pitch, "alter") or 0))
    midi = pitch_class(_text(pitch, "step")) + alter + 12 * (_number(pitch, "octave") + 1)
    midi += sheet.transposed
    voice = _text(element, "voice")
    place = numbers[id(element)]
    ties = {tie.get("type") for tie in element.findall("tie")}
    tied = sheet.tied.pop((midi, voice), None) if "stop" in ties else None
    if tied is not None and tied.onset + tied.length == onset:
        tied.length += length
        tied.elements.append(place)
        said = tied
    else:
        said = _Said(onset, length, midi, len(sheet.bars), voice, _text(element, "stem"))
        said.elements.append(place)
        known = sheet.notes.setdefault((onset, midi), said)
        if known is not said:
            known.length = max(known.length, length)
            known.elements.append(place)
            said = known
        said.grace |= element.find("grace") is not None
    _pins(said, element)
    _slurs(sheet, said, element, voice)
    if "start" in ties:
        sheet.tied[midi, voice] = said


def _pins(said: _Said, element: Any) -> None:
    """String and left finger where the score states them."""
    for technical in element.findall("notations/technical"):
        string, finger = _text(technical, "string"), _text(technical, "fingering")
        if string in set("123456"):
            said.string = int(string)
        if finger in set("01234"):
            said.finger = int(finger)


def _slurs(sheet: _Sheet, said: _Said, element: Any, voice: str) -> None:
    """Follows the slurs that end, go on and begin at a note; ``slurs`` holds the open ones.

    A slur is known by its number and voice. Only one that joins single notes, few enough for
    the left hand, says how they are sounded.
    """
    for tag in ("slide", "glissando", "technical/hammer-on", "technical/pull-off"):
        for mark in element.findall(f"notations/{tag}"):
            if mark.get("type") == "stop":
                said.slur = "slide" if tag in ("slide", "glissando") else "slur"
    marks = element.findall("notations/slur")
    ends = {(mark.get("number", "1"), voice) for mark in marks if mark.get("type") == "stop"}
    for key, notes in list(sheet.slurs.items()):
        if key[1] == voice and notes[-1] is not said:
            notes.append(said)
        if key in ends:
            _joined(sheet.slurs.pop(key))
    for mark in marks:
        if mark.get("type") == "start":
            sheet.slurs[mark.get("number", "1"), voice] = [said]


def _joined(notes: list[_Said]) -> None:
    """Marks the notes after the first of a slur; its chords' other notes are not its own."""
    first, last = notes[0], notes[-1]
    between = [n for n in notes[1:-1] if n.onset not in (first.onset, last.onset)]
    single = len({note.onset for note in between}) == len(between)
    if single and len(between) + 2 <= reading_table().page.slurred:
        for note in (*between, last):
            note.slur = note.slur or "slur"


def _page(sheet: _Sheet, path: Path, sha256: str, keep: bool) -> Page:
    end = sheet.bars[-1].end
    order = sorted(
        (said for said in sheet.notes.values() if said.onset < end),
        key=lambda said: (said.onset, -said.midi),
    )
    voices = _voices(order)
    notes = tuple(
        WrittenNote(
            onset=said.onset,
            length=min(said.length, end - said.onset),
            midi=said.midi,
            voice=voices[said.bar, said.voice],
            string=said.string if keep else None,
            finger=said.finger if keep else None,
            slur=said.slur,
            source=(index,),
        )
        for index, said in enumerate(order)
    )
    tempo = sheet.tempos[0].quarters if sheet.tempos else reading_table().tempo.default
    score = Score(
        title=clean_text(sheet.title) or title_from_name(path),
        composer=clean_text(sheet.composer),
        file=path.name,
        sha256=sha256,
        notes=tuple(_score_notes(notes, order)),
        bars=tuple(sheet.bars),
        tempos=tuple(sheet.tempos) or (TempoMark(onset=Fraction(0), quarters=tempo),),
        tempo=tempo,
        tempo_stated=bool(sheet.tempos),
        keys=tuple(sheet.keys),
        warnings=tuple(sheet.warnings),
    )
    return Page(
        score=score, notes=notes, elements=tuple(tuple(said.elements) for said in order)
    )


def _score_notes(notes: tuple[WrittenNote, ...], order: list[_Said]) -> Iterator[Note]:
    for index, (note, said) in enumerate(zip(notes, order, strict=True)):
        yield Note(
            index=index,
            onset=note.onset,
            length=note.length,
            midi=note.midi,
            hand="left" if note.voice == 2 else "right",
            ornament="grace" if said.grace else None,
        )


def _voices(order: list[_Said]) -> dict[tuple[int, str], int]:
    """By bar and voice: 1 the highest, 2 the thumb's (stems down), 3 between; 0 when alone."""
    bars: dict[int, dict[str, list[_Said]]] = defaultdict(lambda: defaultdict(list))
    for said in order:
        bars[said.bar][said.voice].append(said)
    found: dict[tuple[int, str], int] = {}
    for bar, voices in bars.items():
        ranked = sorted(voices, key=lambda voice: _depth(voices[voice]))
        for place, voice in enumerate(ranked):
            last = place == len(ranked) - 1
            found[bar, voice] = 0 if len(ranked) == 1 else 1 if not place else 2 if last else 3
    return found


def _depth(notes: list[_Said]) -> tuple[float, float]:
    """How much a voice is the lower one: stems down first, then pitch."""
    down = sum(said.stem == "down" for said in notes) / len(notes)
    return down, -sum(said.midi for said in notes) / len(notes)
