"""From a file to a ``Score``: an ordered list of passes."""

from __future__ import annotations

import hashlib
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from arranger.music.errors import UnreadableInput, UsageError
from arranger.music.score import Bar, Hand, KeyMark, Note, Score, SourceWarning
from arranger.music.time import Beat
from arranger.read.extent import refuse_uncountable
from arranger.read.file import bytes_of
from arranger.read.grid import Gridded, GridNote, on_grid
from arranger.read.hands import Hands, find_hands, one_line, one_sided
from arranger.read.hands_told import HandsTold, Places, corrected, hands_told
from arranger.read.lengths import written_lengths
from arranger.read.meter import PlayedBar, played_bars
from arranger.read.midi import piece_from_midi
from arranger.read.notation import notation_format, piece_from_notation
from arranger.read.parts import Parts, parts_of
from arranger.read.performance import NO_HELP, Help, followed, keeps_no_time
from arranger.read.piece import Piece, Remark, Signature
from arranger.read.repair import repair
from arranger.read.signatures import (
    in_dotted_beats,
    read_signatures,
    with_meter,
    with_meter_heard,
    without_silence,
)
from arranger.read.swing import find_swing, straightened
from arranger.read.table import ReadingTable, reading_table
from arranger.read.taps import tapped_beats
from arranger.read.tempo import read_tempos, seconds
from arranger.read.title import clean_text, composer_of, title_of

SLOWEST, FASTEST = 20, 300
"""Beats a minute that a teacher can mean; common practice."""


def read(
    path: Path,
    *,
    meter: str | None = None,
    straight: bool | None = None,
    hands: str | None = None,
    tempo_hint: float | None = None,
    beats: Path | None = None,
) -> Score:
    """The music in a file.

    Parameters
    ----------
    path : a Standard MIDI File (``.mid``, ``.midi``), or MusicXML, Humdrum, ABC.
    meter : a time signature such as ``3/4`` that overrules the file's.
    straight : True writes eighths as they stand, False takes long-short pairs for swing
        even where a dotted rhythm is as likely, None decides by what is heard.
    hands : ``C4`` (from there up the right hand), ``1/2`` (parts of right and left),
        ``heard`` (by ear), or a file of such lines by bars; None believes the parts.
    tempo_hint : beats a minute of a performance, or nearly; its beats are then followed.
    beats : a file of times in seconds at which the beats of a performance fall.

    Raises
    ------
    UnreadableInput : the file cannot be read or holds no music to arrange.
    UsageError : an option says something that cannot be meant.
    """
    table = reading_table()
    told = Told(
        straight=straight,
        hands=None if hands is None else hands_told(hands),
        beats=_help(tempo_hint, beats),
    )
    data = bytes_of(path)
    piece = _piece_of(data, path, table)
    _refuse_what_is_no_piece(piece, path, table)
    compound = meter is not None and in_dotted_beats(meter)
    piece = _in_time(piece, path, told.beats, table, compound=compound)
    piece = with_meter_heard(piece) if meter is None else with_meter(piece, meter)
    piece = without_silence(piece)
    return _score(piece, path, hashlib.sha256(data).hexdigest(), told, table)


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What a teacher says; None and ``NO_HELP`` where the program is to listen."""

    straight: bool | None
    hands: HandsTold | None
    beats: Help


def _help(tempo: float | None, beats: Path | None) -> Help:
    if tempo is not None and not SLOWEST <= tempo <= FASTEST:
        raise UsageError(
            f"{tempo:g} beats a minute cannot be followed",
            where="--tempo-hint",
            next_step=f"Give a number from {SLOWEST} to {FASTEST}.",
        )
    return Help(tempo=tempo, beats=() if beats is None else tapped_beats(beats))


def _piece_of(data: bytes, path: Path, table: ReadingTable) -> Piece:
    """What the file says, whatever its format."""
    kind = notation_format(data, path)
    if kind is not None:
        return piece_from_notation(data, kind, path, table.limits)
    repaired = repair(data, table.limits, where=path.name)
    piece = piece_from_midi(repaired.tracks, repaired.division)
    return replace(
        piece,
        in_seconds=repaired.in_seconds,
        remarks=repaired.remarks + piece.remarks,
    )


def _refuse_what_is_no_piece(piece: Piece, path: Path, table: ReadingTable) -> None:
    if not piece.notes:
        drums = any(remark.code == "drums" for remark in piece.remarks)
        raise UnreadableInput(
            "the file holds drums only" if drums else "the file holds no notes",
            where=path.name,
            next_step="Give a piano piece.",
        )
    minutes = seconds(piece.tempos, piece.end, piece.unit, table.tempo) / 60.0
    if minutes > table.limits.minutes:
        raise UnreadableInput(
            f"the piece lasts {minutes:.0f} minutes, more than {table.limits.minutes:g}",
            where=path.name,
            next_step="Give one piece or one movement.",
        )


def _refuse_too_many_bars(count: int, path: Path, table: ReadingTable) -> None:
    if count > table.limits.bars:
        raise UnreadableInput(
            f"the piece has {count} bars, more than {table.limits.bars}",
            where=path.name,
            next_step="Give one piece or one movement.",
        )


def _score(piece: Piece, path: Path, sha256: str, told: Told, table: ReadingTable) -> Score:
    piece, signatures, meter_remarks = read_signatures(piece)
    line = _time_line(piece, signatures)
    _refuse_too_many_bars(len(line.bars), path, table)
    bars = line.printed()
    refuse_uncountable(bars, path)
    swing = find_swing(piece, line.bars, told.straight, table.swing)
    if swing.ratio > 1.0:
        piece = straightened(piece, line.bars, swing)
    performed = piece.followed is not None
    gridded = on_grid(piece.notes, line.bars, piece.unit, table.grid, performed=performed)
    parts = parts_of(piece)
    hands = find_hands(piece, gridded.notes, table.hands)
    if told.hands is not None:
        hands = _as_told(hands, told.hands, gridded.notes, line, parts)
    notes = _notes(gridded.notes, hands.hands, line, parts, table)
    tempos = read_tempos(
        piece.tempos,
        end=piece.end,
        first_bars=int(table.tempo.first_bars * line.bars[-1].meter_length),
        clean=line.clean,
        table=table.tempo,
    )
    remarks = [
        *piece.remarks,
        *meter_remarks,
        *swing.remarks,
        *hands.remarks,
        *tempos.remarks,
        *_remarks_on_texture(notes),
    ]
    return Score(
        title=title_of(piece, path),
        composer=composer_of(piece),
        file=path.name,
        sha256=sha256,
        notes=notes,
        bars=bars,
        tempos=tempos.marks,
        tempo=tempos.prevailing,
        tempo_stated=tempos.stated,
        keys=_keys(piece, line),
        swing=swing.ratio,
        parts=tuple(clean_text(name) for name in parts.names),
        hands_from=hands.found,
        voice=hands.voice,
        followed=piece.followed,
        warnings=tuple(line.warning(remark) for remark in remarks),
    )


def _as_told(
    found: Hands,
    told: HandsTold,
    notes: Sequence[GridNote],
    line: TimeLine,
    parts: Parts,
) -> Hands:
    """The hands with what the teacher says; remarks on how they were heard fall away."""
    bars = [line.number_at(note.onset) for note in notes]
    places = Places(notes=notes, bars=bars, parts=parts, unit=line.unit)
    hands = corrected(found.hands, told, places)
    kept = () if told.whole is not None else found.remarks
    return replace(found, hands=hands, found="teacher", remarks=kept)


def _time_line(piece: Piece, signatures: Sequence[Signature]) -> TimeLine:
    last = max(piece.last_onset + piece.unit // 8, piece.end - piece.unit // 4)
    return TimeLine(played_bars(signatures, last, piece.unit), piece.unit)


def _in_time(
    piece: Piece, path: Path, told: Help, table: ReadingTable, *, compound: bool = False
) -> Piece:
    """The piece on beats of its own, where it was played without a click."""
    if told == NO_HELP and not keeps_no_time(piece, table.performance):
        return piece
    return followed(
        piece,
        table.performance,
        table.tempo,
        where=path.name,
        told=told,
        compound=compound,
    )


def piece_in_time(path: Path) -> Piece:
    """What a file says, on beats that are followed where it keeps no time: for training and
    measuring.

    Raises
    ------
    UnreadableInput : the file cannot be read, or its beats cannot be told.
    """
    table = reading_table()
    return without_silence(
        _in_time(_piece_of(bytes_of(path), path, table), path, NO_HELP, table)
    )


def gridded_piece(path: Path) -> tuple[Piece, Gridded]:
    """What a file says, and its notes on the grid: for training and measuring."""
    table = reading_table()
    piece, signatures, _ = read_signatures(_piece_of(bytes_of(path), path, table))
    line = _time_line(piece, signatures)
    return piece, on_grid(piece.notes, line.bars, piece.unit, table.grid)


class TimeLine:
    """Leads from the file's time (units) to the clean time line (quarters)."""

    def __init__(self, bars: Sequence[PlayedBar], unit: int) -> None:
        self.bars = tuple(bars)
        self.unit = unit
        self.ats = [bar.at for bar in bars]
        self.starts = [0]
        for bar in bars:
            self.starts.append(self.starts[-1] + bar.written)
        self.known: dict[int, Beat] = {}

    def beat(self, units: int) -> Beat:
        """Units of the clean time line as quarters."""
        if units not in self.known:
            self.known[units] = Fraction(units, self.unit)
        return self.known[units]

    def place(self, at: int) -> int:
        """The index of the bar in which ``at`` (units of the file) lies."""
        return max(0, bisect_right(self.ats, at) - 1)

    def clean(self, at: int) -> Beat:
        """A time of the file on the clean time line, to the sixteenth."""
        place = self.place(at)
        sixteenth = self.unit // 4
        offset = round((at - self.ats[place]) / sixteenth) * sixteenth
        return self.beat(self.starts[place] + max(0, min(offset, self.bars[place].written)))

    def printed(self) -> tuple[Bar, ...]:
        """Bars as printed: a first bar shorter than its meter is bar 0, a pick-up."""
        return tuple(
            Bar(
                number=self._number(place),
                start=self.beat(self.starts[place]),
                length=self.beat(bar.written),
                numerator=bar.numerator,
                denominator=bar.denominator,
            )
            for place, bar in enumerate(self.bars)
        )

    def _number(self, place: int) -> int:
        first = self.bars[0]
        return place + (0 if len(self.bars) > 1 and first.written < first.meter_length else 1)

    def number_at(self, onset: int) -> int:
        """The printed number of the bar at ``onset`` (units of the clean time line)."""
        return self._number(min(len(self.bars), bisect_right(self.starts, onset)) - 1)

    def warning(self, remark: Remark) -> SourceWarning:
        number = None
        if remark.at is not None:
            number = self._number(self.place(int(remark.at * self.unit)))
        return SourceWarning(code=remark.code, text=remark.text, bar=number)


def _notes(
    gridded: Sequence[GridNote],
    hands_of: Sequence[Hand],
    line: TimeLine,
    parts: Parts,
    table: ReadingTable,
) -> tuple[Note, ...]:
    """The notes of the score: unisons within a hand joined, lengths written."""
    kept: dict[tuple[int, int, Hand], GridNote] = {}
    for note, hand in zip(gridded, hands_of, strict=True):
        key = (note.onset, note.played.midi, hand)
        if key not in kept or kept[key].gate < note.gate:
            kept[key] = note
    order = sorted(kept, key=lambda key: (key[0], -key[1], key[2] == "left"))
    chosen = [kept[key] for key in order]
    hands = [key[2] for key in order]
    lengths = written_lengths(chosen, hands, line.unit, table.lengths)
    end = line.starts[-1]
    return tuple(
        Note(
            index=index,
            onset=line.beat(note.onset),
            length=line.beat(min(length, end - note.onset)),
            midi=note.played.midi,
            hand=hand,
            velocity=max(1, min(127, note.played.velocity)),
            track=parts.of(note.played),
            ornament=note.ornament,
        )
        for index, (note, hand, length) in enumerate(zip(chosen, hands, lengths, strict=True))
    )


def _keys(piece: Piece, line: TimeLine) -> tuple[KeyMark, ...]:
    """Key signatures, each where it changes something."""
    marks: list[KeyMark] = []
    for key in piece.keys:
        onset = line.clean(key.at)
        if marks and marks[-1].onset == onset:
            marks.pop()
        if not marks or marks[-1].key != key.key:
            marks.append(KeyMark(onset=onset, key=key.key))
    return tuple(marks)


def _remarks_on_texture(notes: Sequence[Note]) -> list[Remark]:
    """What a teacher should know before arranging: one voice, or one hand."""
    if one_line(notes):
        return [
            Remark(
                code="single-voice",
                text="The piece is a single line; a bass must be found for it: chord names"
                " over the tune, in MusicXML or ABC, will do",
            )
        ]
    if one_sided([note.hand for note in notes]):
        return [Remark(code="single-hand", text="All notes lie in one hand's register")]
    return []
