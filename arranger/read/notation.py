"""MusicXML, Humdrum and ABC as a ``Piece``, through music21.

music21 is imported only when such a file is read, because it takes a second to load.
Repeats are played out and ties joined, so that the piece is what its MIDI file would be.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise, zip_longest
from pathlib import Path
from typing import TYPE_CHECKING, Any

from arranger.music.errors import UnreadableInput
from arranger.music.key import Key
from arranger.read.chord_names import accompaniment, named_chords
from arranger.read.file import ZIP, refuse_endless, refuse_too_much, unreadable
from arranger.read.piece import (
    WHOLE_PARTS,
    Piece,
    PlayedKey,
    PlayedNote,
    PlayedTempo,
    Remark,
    Signature,
)
from arranger.read.repeats import beginnings
from arranger.read.table import Limits, reading_table

if TYPE_CHECKING:
    from music21.stream import Score as Music21Score

FORMATS = {
    ".musicxml": "musicxml",
    ".xml": "musicxml",
    ".mxl": "musicxml",
    ".krn": "humdrum",
    ".abc": "abc",
}
UNIT = WHOLE_PARTS
CHORD_NAMES = Remark(
    code="chord-names",
    text="A single line with chord names: bass and chord in turn were made of them",
)
OPEN_REPEAT = Remark(
    code="repeat-open",
    text="A repeat is begun and not ended; the music after its sign is read once",
)
AS_PRINTED = Remark(
    code="repeats-as-printed",
    text="The repeats could not be followed; the piece is read once through",
)
SEVERAL = "The file holds {count} tunes; the first was read: put each in a file of its own"
STOLEN = Fraction(1, 18)  # quarters, as long as a quick grace note is played in MIDI files


def notation_format(data: bytes, path: Path) -> str | None:
    """The music21 name of the notation format of a file, None for anything else.

    What the file holds counts more than its name.
    """
    head = data[:2048].lstrip(b"\xef\xbb\xbf \t\r\n")
    if data[:4] == ZIP or head[:5] == b"<?xml" or head[:6] == b"<score":
        return "musicxml"
    if b"MThd" in data[:128]:
        return None
    if head.startswith((b"!!", b"**")):
        return "humdrum"
    return FORMATS.get(path.suffix.lower())


def piece_from_notation(data: bytes, kind: str, path: Path, limits: Limits) -> Piece:
    """The ``Piece`` in a notation file of format ``kind``.

    Raises
    ------
    UnreadableInput : music21 cannot make a score of it, or it unpacks to too much.
    """
    if kind == "musicxml":
        refuse_too_much(data, path.name)
    else:
        refuse_endless(data, kind, path.name)
    most = {"humdrum": limits.humdrum_kilobytes, "abc": limits.abc_kilobytes}.get(kind)
    if most is not None and len(data) > most * 1000:
        raise UnreadableInput(
            f"the file is larger than {most:g} kB",
            where=path.name,
            next_step="Give one piece or one movement.",
        )
    found = _parsed(kind, path)
    score, remarks = _played_out(_first(found, path), kind)
    if len(found) > 1:
        remarks.append(Remark(code="first-of-several", text=SEVERAL.format(count=len(found))))
    sounding = score.toSoundingPitch()
    parts = list(sounding.parts) or [sounding]
    notes = [note for track, part in enumerate(parts) for note in _notes(part, track)]
    names = [(track, part.partName or "") for track, part in enumerate(parts)]
    added = list(_from_chord_names(parts, notes))
    if added:
        names = [(notes[0].track, "right hand"), (added[0].track, "left hand")]
        notes += added
        remarks.append(CHORD_NAMES)
    notes.sort(key=lambda note: (note.start, -note.midi, note.track))
    metadata = score.metadata
    return Piece(
        unit=UNIT,
        notes=tuple(notes),
        signatures=tuple(_signatures(parts[0])),
        tempos=tuple(_tempos(score)),
        keys=tuple(_keys(parts[0])),
        names=tuple(names),
        title=(metadata and (metadata.title or metadata.movementName)) or "",
        composer=(metadata and metadata.composer) or "",
        bars_stated=True,
        remarks=tuple(remarks),
    )


def _parsed(kind: str, path: Path) -> list[Any]:
    """The scores that music21 reads; whatever it trips over is a clear refusal."""
    from music21 import converter, stream  # noqa: PLC0415 (slow to load, seldom needed)

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            found = converter.parseFile(path, format=kind, forceSource=True, storePickle=False)
    except Exception as error:  # the library raises a dozen kinds, its parsers any
        raise unreadable(path.name, "the notation file cannot be read") from error
    return list(found.scores) if isinstance(found, stream.Opus) else [found]


def _first(found: list[Any], path: Path) -> Music21Score:
    """The first of what a file holds, as a score."""
    from music21 import stream  # noqa: PLC0415

    first = found[0] if found else None
    if isinstance(first, stream.Score):
        return first
    if not isinstance(first, stream.Stream):
        raise unreadable(path.name, "the file holds no score")
    whole = stream.Score()
    whole.insert(0, first)
    return whole


def _played_out(score: Music21Score, kind: str) -> tuple[Music21Score, list[Remark]]:
    """The score as played: repeats played out, ties joined."""
    _begin_repeats(score)
    played = _expanded(score)
    if played is not None:
        return played.stripTies(), []
    _forget_open_repeats(score)
    played = _expanded(score)
    if played is not None:
        misread = kind == "humdrum"  # by music21, most likely: the file may be as it should be
        return played.stripTies(), [] if misread else [OPEN_REPEAT]
    return score.stripTies(), [AS_PRINTED]


def _expanded(score: Music21Score) -> Music21Score | None:
    """The score with its repeats played out, None where they contradict each other."""
    from music21 import exceptions21  # noqa: PLC0415

    try:
        return score.expandRepeats()
    except (exceptions21.Music21Exception, AttributeError, IndexError, TypeError):
        return None


def _begin_repeats(score: Music21Score) -> None:
    """Write the sign where a repeat begins of which the file has the end alone; music21 would
    go back to the beginning of the piece.
    """
    from music21 import bar, stream  # noqa: PLC0415

    for part in score.parts:
        measures = list(part.getElementsByClass(stream.Measure))
        signed = [_repeats(measure.leftBarline, "start") for measure in measures]
        ends = [_repeats(measure.rightBarline, "end") for measure in measures]
        begins = beginnings(signed, ends, _in_endings(part, measures))
        start = 0
        for place, ended in enumerate(ends):
            start = place if begins[place] else start
            if ended and start and not signed[start]:
                measures[start].leftBarline = bar.Repeat(direction="start")


def _in_endings(part: Any, measures: list[Any]) -> list[bool]:
    """Whether each measure lies in an ending; of a bracket music21 may know the first and the
    last measure alone.
    """
    inside = [False] * len(measures)
    place = {id(measure): index for index, measure in enumerate(measures)}
    for bracket in part.recurse().getElementsByClass("RepeatBracket"):
        known = [place[id(one)] for one in bracket.getSpannedElements() if id(one) in place]
        for index in range(min(known, default=0), max(known, default=-1) + 1):
            inside[index] = True
    return inside


def _repeats(barline: Any, direction: str) -> bool:
    """Whether a bar line of music21 begins ("start") or ends a repeat."""
    return getattr(barline, "direction", None) == direction


def _forget_open_repeats(score: Music21Score) -> None:
    """Take away signs that begin a repeat which is not ended before the next one begins.

    A tune that goes back to its beginning at the end often has one. The plain Humdrum sign
    for the end of a repeat, ``=:|!``, is read by music21 as one that begins a repeat too.
    """
    from music21 import stream  # noqa: PLC0415

    for part in score.parts:
        begun = None
        for measure in part.getElementsByClass(stream.Measure):
            if _repeats(measure.leftBarline, "start"):
                if begun is not None:
                    begun.leftBarline = None
                begun = measure
            if _repeats(measure.rightBarline, "end"):
                begun = None
        if begun is not None:
            begun.leftBarline = None


def _units(quarters: Any) -> int:
    """An offset or length of music21 (float or Fraction, quarters) in units."""
    return round(Fraction(quarters) * UNIT)


def _notes(part: Any, track: int) -> Iterator[PlayedNote]:
    """All pitched notes of a part; grace notes are stolen from the time before."""
    from music21 import harmony  # noqa: PLC0415

    graces: list[tuple[int, int]] = []
    for element in part.flatten().notes:
        if isinstance(element, harmony.Harmony):
            continue
        at = _units(element.offset)
        pitches = [int(pitch.midi) for pitch in getattr(element, "pitches", ())]
        if element.duration.isGrace:
            graces += [(at, midi) for midi in pitches if 0 <= midi <= 127]
            continue
        velocity = element.volume.velocity or 80
        for midi in pitches:
            if 0 <= midi <= 127:
                end = at + max(1, _units(element.duration.quarterLength))
                yield _note(at, end, midi, int(velocity), track)
    yield from _stolen(graces, track)


def _from_chord_names(parts: list[Any], notes: list[PlayedNote]) -> Iterator[PlayedNote]:
    """A plain accompaniment of the chord names over a single line; none over anything else."""
    played = {note.track for note in notes}
    line = sorted((note.start, note.end) for note in notes)
    overlaps = any(later < end for (_, end), (later, _) in pairwise(line))
    if len(played) != 1 or overlaps:
        return
    chords = [chord for part in parts for chord in named_chords(part)]
    chords.sort(key=lambda chord: chord.start)
    table = reading_table()
    beats = table.limits.beats  # a page that has more is refused later
    track = played.pop()
    for struck in accompaniment(parts[track], chords, most_beats=beats):
        start = _units(struck.start)
        end = start + max(1, _units(struck.length))
        for midi in struck.midis:
            yield _note(start, end, midi, table.chord_names.velocity, track + 1)


def _stolen(graces: list[tuple[int, int]], track: int) -> Iterator[PlayedNote]:
    """Grace notes one after another before the time they are written at."""
    step = _units(STOLEN)
    for place, (at, midi) in enumerate(graces):
        left = sum(1 for later, _ in graces[place:] if later == at)
        start = max(0, at - left * step)
        yield _note(start, min(start + step, max(at, start + 1)), midi, 80, track)


def _note(start: int, end: int, midi: int, velocity: int, track: int) -> PlayedNote:
    return PlayedNote(
        start=start, end=end, midi=midi, velocity=velocity, track=track, channel=0
    )


def _signatures(part: Any) -> Iterator[Signature]:
    """A signature for every stretch of bars of one length; short bars state their own."""
    from music21 import stream  # noqa: PLC0415

    measures = list(part.getElementsByClass(stream.Measure))
    stated = None
    for measure, following in zip_longest(measures, measures[1:]):
        stated = measure.timeSignature or stated
        if stated is None:
            continue
        full = Fraction(stated.barDuration.quarterLength)
        length = full
        if following is not None:
            length = Fraction(following.offset) - Fraction(measure.offset)
        yield _signature(_units(measure.offset), length, full, stated)


def _signature(at: int, length: Fraction, full: Fraction, stated: Any) -> Signature:
    whole = length / 4
    power_of_two = whole.denominator & (whole.denominator - 1) == 0
    if length == full or length <= 0 or not power_of_two or whole.denominator > 64:
        return Signature(at=at, numerator=stated.numerator, denominator=stated.denominator)
    scale = max(1, int(stated.denominator) // whole.denominator)
    return Signature(
        at=at, numerator=whole.numerator * scale, denominator=whole.denominator * scale
    )


def _tempos(score: Music21Score) -> Iterator[PlayedTempo]:
    """Metronome marks that state a number."""
    from music21 import tempo  # noqa: PLC0415

    for mark in score.flatten().getElementsByClass(tempo.MetronomeMark):
        quarters = None if mark.numberImplicit else mark.getQuarterBPM()
        if quarters:
            yield PlayedTempo(at=_units(mark.offset), quarters=float(quarters), track=0)


def _keys(part: Any) -> Iterator[PlayedKey]:
    """Key signatures; without a mode they count as major, as in a MIDI file."""
    from music21 import key  # noqa: PLC0415

    for signature in part.flatten().getElementsByClass(key.KeySignature):
        major = Key(7 * signature.sharps % 12, "major")
        if getattr(signature, "mode", None) == "minor":
            major = Key((major.tonic - 3) % 12, "minor")
        yield PlayedKey(at=_units(signature.offset), key=major)
