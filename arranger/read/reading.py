"""From a file to a ``Score``: an ordered list of passes."""

from __future__ import annotations

import hashlib
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from arranger.music.errors import UnreadableInput
from arranger.music.score import Bar, Hand, KeyMark, Note, Score, SourceWarning
from arranger.read.grid import Gridded, GridNote, on_grid
from arranger.read.hands import find_hands, one_sided, voices_at_once
from arranger.read.lengths import written_lengths
from arranger.read.meter import PlayedBar, played_bars
from arranger.read.midi import piece_from_midi
from arranger.read.piece import Piece, Remark, Signature
from arranger.read.repair import repair
from arranger.read.table import ReadingTable, reading_table
from arranger.read.tempo import read_tempos, seconds
from arranger.read.title import composer_of, title_of


def read(path: Path, *, meter: str | None = None, straight: bool | None = None) -> Score:
    """The music in a file.

    ``path`` is a Standard MIDI File (``.mid``, ``.midi``), or MusicXML, Humdrum, ABC.
    ``meter``, a time signature such as ``3/4``, overrules the file's. ``straight`` True
    writes eighths as they stand, False takes long-short pairs for swing even where a dotted
    rhythm is as likely, None decides by what is heard.

    Raises
    ------
    UnreadableInput : the file cannot be read or holds no music to arrange.
    UsageError : ``meter`` is not a time signature.
    """
    table = reading_table()
    data = _bytes_of(path, table)
    repaired = repair(data, table.limits, where=path.name)
    piece = piece_from_midi(repaired.data)
    piece = replace(piece, remarks=repaired.remarks + piece.remarks)
    _refuse_what_is_no_piece(piece, path, table)
    return _score(piece, path, hashlib.sha256(data).hexdigest(), table)


def _bytes_of(path: Path, table: ReadingTable) -> bytes:
    """The bytes of the file, or a clear refusal."""
    try:
        size = path.stat().st_size
        if size > table.limits.megabytes * 1e6:
            raise UnreadableInput(
                f"the file is larger than {table.limits.megabytes:g} MB",
                where=path.name,
                next_step="Give one piece, not a collection.",
            )
        return path.read_bytes()
    except OSError as error:
        raise UnreadableInput(
            f"the file cannot be opened ({error.strerror or 'unknown reason'})".lower(),
            where=path.name,
            next_step="Check the name and that it may be read.",
        ) from error


def _refuse_what_is_no_piece(piece: Piece, path: Path, table: ReadingTable) -> None:
    if not piece.notes:
        drums = any(remark.code == "drums" for remark in piece.remarks)
        raise UnreadableInput(
            "the file holds drums only" if drums else "the file holds no notes",
            where=path.name,
            next_step="Give a piano piece.",
        )
    end = max(note.end for note in piece.notes)
    minutes = seconds(piece.tempos, end, table.tempo) / 60.0
    if minutes > table.limits.minutes:
        raise UnreadableInput(
            f"the piece lasts {minutes:.0f} minutes, more than {table.limits.minutes:g}",
            where=path.name,
            next_step="Give one piece or one movement.",
        )


def _score(piece: Piece, path: Path, sha256: str, table: ReadingTable) -> Score:
    end = max(note.end for note in piece.notes)
    last_onset = max(note.start for note in piece.notes)
    signatures, meter_remarks = _signatures(piece)
    played = played_bars(signatures, max(last_onset + Fraction(1, 32), end - Fraction(1, 4)))
    hands = find_hands(piece, table.hands)
    gridded = on_grid(piece.notes, played, table.grid)
    hand_of = {id(note): hand for note, hand in zip(piece.notes, hands.hands, strict=True)}
    notes = _notes(gridded, hand_of, table)
    tempos = read_tempos(
        piece.tempos,
        end=end,
        first_bars=Fraction(table.tempo.first_bars) * played[-1].meter_length,
        clean=lambda at: _clean(at, played, gridded.starts),
        table=table.tempo,
    )
    bars = _bars(played, gridded.starts)
    remarks = [
        *piece.remarks,
        *meter_remarks,
        *hands.remarks,
        *tempos.remarks,
        *_remarks_on_texture(notes),
    ]
    score = Score(
        title=title_of(piece, path),
        composer=composer_of(piece),
        file=path.name,
        sha256=sha256,
        notes=notes,
        bars=bars,
        tempos=tempos.marks,
        tempo=tempos.prevailing,
        tempo_stated=tempos.stated,
        keys=_keys(piece, played, gridded.starts),
    )
    return replace(score, warnings=tuple(_warning(remark, played, bars) for remark in remarks))


def _signatures(piece: Piece) -> tuple[list[Signature], list[Remark]]:
    """Signatures from 0 on, one at a time; 4/4 where the file has none."""
    latest: dict[Fraction, Signature] = {}
    for signature in piece.signatures:
        latest[signature.at] = signature
    result: list[Signature] = []
    for _, signature in sorted(latest.items()):
        if (
            not result
            or signature.bar_length != result[-1].bar_length
            or (signature.denominator != result[-1].denominator)
        ):
            result.append(signature)
    remarks = []
    if not result or result[0].at > 0:
        if not result:
            remarks.append(
                Remark(
                    code="no-meter",
                    text="The file states no meter; 4/4 was assumed (--meter says otherwise)",
                )
            )
        result.insert(0, Signature(at=Fraction(0), numerator=4, denominator=4))
    return result, remarks


def _notes(gridded: Gridded, hand_of: dict[int, Hand], table: ReadingTable) -> tuple[Note, ...]:
    """The notes of the score: unisons within a hand joined, lengths written."""
    kept: dict[tuple[Fraction, int, Hand], GridNote] = {}
    for note in gridded.notes:
        key = (note.onset, note.played.midi, hand_of[id(note.played)])
        if key not in kept or kept[key].gate < note.gate:
            kept[key] = note
    order = sorted(kept, key=lambda key: (key[0], -key[1], key[2] == "left"))
    chosen = [kept[key] for key in order]
    hands = [key[2] for key in order]
    lengths = written_lengths(chosen, hands, table.lengths)
    tracks = {track: i for i, track in enumerate(sorted({n.played.track for n in chosen}))}
    return tuple(
        Note(
            index=index,
            onset=note.onset,
            length=length,
            midi=note.played.midi,
            hand=hand,
            velocity=max(1, min(127, note.played.velocity)),
            track=tracks[note.played.track],
            ornament=note.ornament,
        )
        for index, (note, hand, length) in enumerate(zip(chosen, hands, lengths, strict=True))
    )


def _clean(at: Fraction, played: Sequence[PlayedBar], starts: Sequence[Fraction]) -> Fraction:
    """A time of the file on the clean time line, to the sixteenth."""
    place = max(0, bisect_right([bar.at for bar in played], at) - 1)
    offset = min(round((at - played[place].at) * 4) / Fraction(4), played[place].written)
    return starts[place] + Fraction(offset)


def _bars(played: Sequence[PlayedBar], starts: Sequence[Fraction]) -> tuple[Bar, ...]:
    """Bars as printed: a first bar shorter than its meter is bar 0, a pick-up."""
    first = 0 if len(played) > 1 and played[0].written < played[0].meter_length else 1
    return tuple(
        Bar(
            number=first + place,
            start=start,
            length=bar.written,
            numerator=bar.numerator,
            denominator=bar.denominator,
        )
        for place, (bar, start) in enumerate(zip(played, starts, strict=True))
    )


def _keys(
    piece: Piece, played: Sequence[PlayedBar], starts: Sequence[Fraction]
) -> tuple[KeyMark, ...]:
    """Key signatures, each where it changes something."""
    marks: list[KeyMark] = []
    for key in piece.keys:
        onset = _clean(key.at, played, starts)
        if marks and marks[-1].onset == onset:
            marks.pop()
        if not marks or marks[-1].key != key.key:
            marks.append(KeyMark(onset=onset, key=key.key))
    return tuple(marks)


def _remarks_on_texture(notes: Sequence[Note]) -> list[Remark]:
    """What a teacher should know before arranging: one voice, or one hand."""
    if voices_at_once([note.onset for note in notes], [note.end for note in notes]) < 2:
        return [
            Remark(
                code="single-voice",
                text="The piece is a single line; a bass must be found for it",
            )
        ]
    if one_sided([note.hand for note in notes]):
        return [Remark(code="single-hand", text="All notes lie in one hand's register")]
    return []


def _warning(remark: Remark, played: Sequence[PlayedBar], bars: Sequence[Bar]) -> SourceWarning:
    number = None
    if remark.at is not None:
        place = max(0, bisect_right([bar.at for bar in played], remark.at) - 1)
        number = bars[place].number
    return SourceWarning(code=remark.code, text=remark.text, bar=number)
