"""The bytes of a file, and the root of a MusicXML file, packed or plain; or a clear refusal."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from typing import Any

from lxml import etree

from arranger.music.errors import UnreadableInput
from arranger.read.table import reading_table

ZIP = b"PK\x03\x04"
UNPACKED_MOST = 10
"""How many times the limit of a plain file a packed one may unpack to."""


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
    except (zipfile.BadZipFile, ValueError, OSError) as error:
        raise unreadable(where, "the packed score is damaged") from error
    if size > UNPACKED_MOST * reading_table().limits.megabytes * 1e6:
        raise unreadable(where, "the packed score unpacks to far too much")


def musicxml_root(data: bytes, where: str) -> Any:
    """The root element of a MusicXML file, packed or plain.

    Raises
    ------
    UnreadableInput : it is damaged, or is no partwise score.
    """
    refuse_bomb(data, where)
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, remove_blank_text=False
    )
    try:
        root = etree.fromstring(_unpacked(data), parser)
    except (etree.XMLSyntaxError, zipfile.BadZipFile, KeyError, ValueError, OSError) as error:
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
