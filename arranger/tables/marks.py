"""The marks file: a teacher's wishes as TOML, checked before any work is done."""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Literal

from pydantic import Field

from arranger.music.chord import QUALITIES
from arranger.music.errors import UsageError
from arranger.music.marks import BarMark, Marks, NoteMark, Voicing
from arranger.music.pitch import pitch_class
from arranger.music.time import beats_of
from arranger.tables.loader import Table, toml_from_file, validate

BarTechnique = Literal["half barre", "full barre", "thumb over"]
FINGERS = {"0": 0, "1": 1, "2": 2, "3": 3, "4": 4, "T": 5}


class VoicingLine(Table):
    """A voicing with its fingers, low to high string."""

    frets: str = Field(pattern=r"^([x0-9]{6}|[x0-9]+(-[x0-9]+){5})$")
    fingers: str | None = Field(default=None, pattern=r"^[x0-4T]{6}$")


_NOTE = re.compile(
    r"\s*(?P<beat>[\d./]+)\s+(?:(?P<none>no)\s+inner|(?P<voice>melody|bass|inner)"
    r"(?:,?\s+string\s+(?P<string>[1-6]))?(?:,?\s+fret\s+(?P<fret>\d{1,2}))?"
    r"(?:,?\s+finger\s+(?P<finger>[0-4T]))?)\s*"
)


class BarLine(Table):
    """A bar's techniques, and its notes one a line: ``5/2 melody, string 1, finger 4``,
    ``2 inner, string 3, fret 2, finger 1``, ``3 no inner``.
    """

    bar: int = Field(ge=0)
    avoid: tuple[BarTechnique, ...] = ()
    use: tuple[BarTechnique, ...] = ()
    notes: tuple[str, ...] = ()


class NoteLine(Table):
    bar: int = Field(ge=0)
    beat: float | int | str
    voice: Literal["melody", "bass", "inner"] = "melody"
    string: int | None = Field(default=None, ge=1, le=6)
    fret: int | None = Field(default=None, ge=0, le=24)
    finger: Literal["0", "1", "2", "3", "4", "T"] | None = None


class MarksFile(Table):
    """A marks file as a teacher writes it; everything may be left out."""

    key: str | None = None
    capo: int | None = Field(default=None, ge=0, le=9)
    bars: str | None = Field(default=None, pattern=r"^\d+-\d+$")
    leave_out: tuple[int, ...] = ()
    ritardando: tuple[int, ...] = ()
    voicings: dict[str, str | VoicingLine] = Field(default_factory=dict)
    bar: tuple[BarLine, ...] = ()
    note: tuple[NoteLine, ...] = ()


def marks_from_file(path: Path) -> Marks:
    """The marks of a TOML file.

    Raises
    ------
    UsageError : the file is missing, is not TOML, or holds an unknown or wrong value.
    """
    data = toml_from_file(path, "marks")
    return marks_of(validate(MarksFile, data, where=path.name), where=path.name)


def marks_of(file: MarksFile, *, where: str) -> Marks:
    """The file's lines as frozen marks.

    Raises
    ------
    UsageError : a chord name, a voicing or a beat cannot be meant.
    """
    return Marks(
        key=file.key,
        capo=file.capo,
        bars=bar_range(file.bars, where=where) if file.bars else None,
        leave_out=tuple(sorted(set(file.leave_out))),
        ritardando=tuple(sorted(set(file.ritardando))),
        voicings=tuple(
            _voicing(name, line if isinstance(line, VoicingLine) else _line(line, where), where)
            for name, line in file.voicings.items()
        ),
        bar_marks=tuple(
            BarMark(bar=line.bar, avoid=frozenset(line.avoid), use=frozenset(line.use))
            for line in file.bar
            if line.avoid or line.use
        ),
        note_marks=tuple(
            _note(line.bar, text, where) for line in file.bar for text in line.notes
        )
        + tuple(
            _with_string(
                NoteMark(
                    bar=line.bar,
                    beat=_beat(line.beat, where),
                    voice=line.voice,
                    string=line.string,
                    fret=line.fret,
                    finger=None if line.finger is None else FINGERS[line.finger],
                ),
                where,
            )
            for line in file.note
        ),
    )


def _with_string(mark: NoteMark, where: str) -> NoteMark:
    """The mark, if an inner note among the marks names its string."""
    if mark.voice == "inner" and mark.string is None:
        raise UsageError(
            f"the inner note on beat {mark.beat} of bar {mark.bar} has no string",
            where=where,
            next_step="Write '2 inner, string 3', or '2 no inner' for none at all.",
        )
    return mark


def marks_lines(notes: Sequence[NoteMark], bars: Sequence[BarMark] = ()) -> str:
    """Marks as the lines of a marks file, bar by bar; ``marks_from_file`` reads them back."""
    blocks = []
    numbers = {mark.bar for mark in notes} | {mark.bar for mark in bars}
    for number in sorted(numbers):
        here = [mark for mark in bars if mark.bar == number]
        lines = ["[[bar]]", f"bar = {number}"]
        for word, techniques in (
            ("avoid", {name for mark in here for name in mark.avoid}),
            ("use", {name for mark in here for name in mark.use}),
        ):
            if techniques:
                named = ", ".join(f'"{name}"' for name in sorted(techniques))
                lines.append(f"{word} = [{named}]")
        said = [f'  "{_note_words(note)}",' for note in notes if note.bar == number]
        if said:
            lines += ["notes = [", *said, "]"]
        blocks.append("\n".join(lines))
    return "\n\n".join(blocks) + "\n"


def _note_words(note: NoteMark) -> str:
    """``5/2 melody, string 1, finger 4``."""
    if note.voice == "inner" and note.string is None:
        return f"{note.beat} no inner"
    words = f"{note.beat} {note.voice}"
    if note.string is not None:
        words += f", string {note.string}"
    if note.fret is not None:
        words += f", fret {note.fret}"
    if note.finger is not None:
        words += f", finger {'T' if note.finger == FINGERS['T'] else note.finger}"
    return words


def _note(bar: int, text: str, where: str) -> NoteMark:
    found = _NOTE.fullmatch(text)
    if not found:
        raise UsageError(
            f"'{text}' in bar {bar} does not name a note",
            where=where,
            next_step="Write it as '5/2 melody, string 1, finger 4', '1 bass, string 6' or"
            " '2 no inner'.",
        )
    mark = NoteMark(
        bar=bar,
        beat=_beat(found["beat"], where),
        voice=found["voice"] or "inner",
        string=int(found["string"]) if found["string"] else None,
        fret=int(found["fret"]) if found["fret"] else None,
        finger=FINGERS[found["finger"]] if found["finger"] else None,
    )
    return mark if found["none"] else _with_string(mark, where)


def bar_range(text: str, *, where: str) -> tuple[int, int]:
    """``5-20`` as two bar numbers.

    Raises
    ------
    UsageError : the text is not a range, or runs backwards.
    """
    found = re.fullmatch(r"\s*(\d+)\s*-\s*(\d+)\s*", text)
    if not found or int(found[1]) > int(found[2]):
        raise UsageError(
            f"'{text}' is not a range of bars", where=where, next_step="Write it as 5-20."
        )
    return int(found[1]), int(found[2])


def _line(frets: str, where: str) -> VoicingLine:
    return validate(VoicingLine, {"frets": frets}, where=where)


def _voicing(name: str, line: VoicingLine, where: str) -> Voicing:
    found = re.fullmatch(r"([A-G][#b]?)(.*)", name)
    if not found or found[2] not in QUALITIES:
        raise UsageError(
            f"'{name}' in the voicing book is not a chord name",
            where=where,
            next_step="Write it as C, Am, G7 or Bdim7.",
        )
    marks = line.frets.split("-") if "-" in line.frets else list(line.frets)
    return Voicing(
        root=pitch_class(found[1]),
        quality=found[2],
        name=name,
        frets=tuple(None if mark == "x" else int(mark) for mark in marks),
        fingers=None
        if line.fingers is None
        else tuple(None if mark in "x0" else mark for mark in line.fingers),
    )


def _beat(beat: float | int | str, where: str) -> Fraction:
    try:
        exact = beats_of(str(beat))
    except (ValueError, ZeroDivisionError):
        exact = Fraction(0)
    if exact < 1:
        raise UsageError(
            f"'{beat}' is not a beat",
            where=where,
            next_step="Beats count from 1 as under the tab; 2.5 lies halfway to 3.",
        )
    return exact
