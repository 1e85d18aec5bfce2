"""The bytes of a file, and the root of a MusicXML file, packed or plain; or a clear refusal."""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from pathlib import Path
from typing import Any

from lxml import etree

from arranger.music.errors import UnreadableInput
from arranger.read.table import reading_table

ZIP = b"PK\x03\x04"

DAMAGED = (zipfile.BadZipFile, zlib.error, RuntimeError, LookupError, ValueError, OSError)
"""What goes wrong in a packed file that is damaged, locked or packed in an unknown way."""


def bytes_of(path: Path) -> bytes:
    """The bytes of the file.

    Raises
    ------
    UnreadableInput : it cannot be opened, or is larger than reading allows.
    """
    limit = reading_table().limits.megabytes
    try:
        if path.stat().st_size > limit * 1e6:
            raise UnreadableInput(
                f"the file is larger than {limit:g} MB",
                where=path.name,
                next_step="Give one piece, not a collection.",
            )
        return path.read_bytes()
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        raise UnreadableInput(
            f"the file cannot be opened ({reason})",
            where=path.name,
            next_step="Check the name and that it may be read.",
        ) from error


def refuse_bomb(data: bytes, where: str) -> None:
    """A packed file must not unpack to far more than a plain one may hold.

    Raises
    ------
    UnreadableInput : it does, or is damaged.
    """
    if data[:4] != ZIP:
        return
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            size = sum(entry.file_size for entry in packed.infolist())
    except DAMAGED as error:
        raise unreadable(where, "the packed score is damaged") from error
    limits = reading_table().limits
    if size > limits.unpacked * limits.megabytes * 1e6:
        raise unreadable(where, "the packed score unpacks to far too much")


_ENDLESS = {
    "musicxml": re.compile(rb"<beats[^<>]*>[^<]*\d{4}"),
    "abc": re.compile(rb"(?:^|\[)M:[^\[\]\r\n]*\d{4}", re.MULTILINE),
    "humdrum": re.compile(rb"\*M[^*\t\r\n]*\d{4}"),
}
"""Meters of so many beats that the bar would be built beat by beat, for hours."""
_REPEATED = re.compile(rb"\btimes\s*=\s*[\"']\s*(\d+)")


def refuse_endless(text: bytes, kind: str, where: str) -> None:
    """No meter of a notation file has a thousand beats or more.

    Raises
    ------
    UnreadableInput : one has.
    """
    if _ENDLESS[kind].search(text):
        raise unreadable(where, "a bar of the score has a thousand beats or more")


def refuse_too_much(data: bytes, where: str) -> None:
    """A MusicXML file, packed or plain, may print so many notes and bars.

    They are counted before anything is built of them. A repeat that states how often it is
    played is taken to hold for the whole file.

    Raises
    ------
    UnreadableInput : there are more, or the packed file is damaged.
    """
    limits = reading_table().limits
    refuse_bomb(data, where)
    try:
        text = _unpacked(data).replace(b"\0", b"")  # UTF-16 is counted too
    except DAMAGED as error:
        raise unreadable(where, "the packed score is damaged") from error
    refuse_endless(text, "musicxml", where)
    times = max((int(told[:9]) for told in _REPEATED.findall(text)), default=1)
    for things, most in (("note", limits.written_notes), ("measure", limits.written_bars)):
        count = len(re.findall(rf"<{things}[\s>/]".encode(), text)) * max(1, times)
        if count > most:
            named = "bars" if things == "measure" else "notes"
            raise UnreadableInput(
                f"the score has {count} {named}, repeats played out, more than {most}",
                where=where,
                next_step="Give one piece or one movement.",
            )


def musicxml_root(data: bytes, where: str) -> Any:
    """The root element of a MusicXML file, packed or plain.

    Raises
    ------
    UnreadableInput : it is damaged, or is no partwise score.
    """
    refuse_too_much(data, where)
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, remove_blank_text=False
    )
    try:
        root = etree.fromstring(_unpacked(data), parser)
    except (etree.XMLSyntaxError, *DAMAGED) as error:
        raise unreadable(where, "the MusicXML file is damaged") from error
    if root.tag != "score-partwise":
        raise UnreadableInput(
            "the file is no partwise MusicXML score",
            where=where,
            next_step="Export it as MusicXML ordered by parts.",
        )
    return root


def unreadable(where: str, what: str) -> UnreadableInput:
    """The refusal of a score that another export may mend."""
    return UnreadableInput(
        what, where=where, next_step="Export the piece again, as MusicXML or MIDI."
    )


NO_MUSIC = (ValueError, ArithmeticError, TypeError, LookupError)
"""What goes wrong where a score says something that no music can mean."""


def no_music(error: Exception, where: str, bar: int) -> UnreadableInput:
    """The refusal of a MusicXML file for what one of its bars says."""
    return UnreadableInput(
        f"the MusicXML file says something that is no music ({error})",
        where=f"{where}, bar {bar}",
        next_step="Export the piece again, as MusicXML or MIDI.",
    )


def _unpacked(data: bytes) -> bytes:
    """The XML text; a packed file holds one score besides its table of contents."""
    if data[:4] != ZIP:
        return data
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        names = [name for name in packed.namelist() if not name.startswith("META-INF")]
        inside = [name for name in names if name.lower().endswith((".xml", ".musicxml"))]
        if not inside:
            raise ValueError("no score in the packed file")
        return packed.read(inside[0])
