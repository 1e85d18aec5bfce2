"""What a folder holds to be arranged, and where each piece's results belong."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from arranger.music.errors import UnreadableInput
from arranger.run.store import made_in, piece_name, plain_name
from arranger.tables import LEVEL_NAMES

KINDS = frozenset({".mid", ".midi", ".musicxml", ".mxl", ".xml", ".krn", ".abc"})
"""Endings of the files that are taken for pieces."""


class Piece(NamedTuple):
    """A file of a collection. A plain tuple, for there may be a hundred thousand of them.

    ``path`` leads to it from the collection's folder and ``home`` to its results from the
    results' folder, both with ``/``.
    """

    path: str
    home: str


def collected(folder: Path) -> list[Piece]:
    """Every piece in ``folder`` and the folders in it, in the order of their paths.

    Hidden files and folders, and what this program wrote itself, are no pieces. Links to
    folders are not followed.

    Raises
    ------
    UnreadableInput : there is no such folder, it cannot be read, or it holds no piece.
    """
    if not folder.is_dir():
        raise UnreadableInput(
            "there is no such folder",
            where=str(folder),
            next_step="Name a folder of pieces; a single piece is for: arranger arrange.",
        )
    paths = sorted(_paths(folder))
    if not paths:
        raise UnreadableInput(
            "the folder holds no piece",
            where=str(folder),
            next_step=f"Pieces are files that end in {', '.join(sorted(KINDS))}.",
        )
    return list(_housed(paths))


def _paths(folder: Path) -> Iterator[str]:
    def refuse(error: OSError) -> None:
        raise UnreadableInput(
            f"the folder cannot be read ({error.strerror or error})".lower(),
            where=str(error.filename),
            next_step="Allow it to be read, or move it away.",
        ) from error

    for place, inner, names in os.walk(folder, onerror=refuse):
        inner[:] = [name for name in inner if not name.startswith(".")]
        here = Path(place)
        ours = made_in(here).get("files", {})
        inside = here.relative_to(folder).as_posix()
        for name in names:
            if name.startswith(".") or name in ours or not _is_piece(here / name):
                continue
            yield name if inside == "." else f"{inside}/{name}"


def _is_piece(file: Path) -> bool:
    return file.suffix.lower() in KINDS and file.is_file()


def _housed(paths: list[str]) -> Iterator[Piece]:
    """Each path with its own home: two files whose names come out alike are told apart."""
    taken: set[str] = set()
    for path in paths:
        *folders, name = path.split("/")
        parts = [*(_part(plain_name(part)) for part in folders), _part(piece_name(Path(name)))]
        home = "/".join(parts)
        # Some file systems take Anna and ANNA for the same.
        if home.casefold() in taken:
            name_as_bytes = path.encode("utf-8", "surrogatepass")  # names that are no text
            home = f"{home}-{hashlib.sha256(name_as_bytes).hexdigest()[:8]}"
        taken.add(home.casefold())
        yield Piece(path, home)


def _part(name: str) -> str:
    """``name`` unless it is a level's: results of one piece never lie within another's."""
    return f"{name}_" if name.casefold() in LEVEL_NAMES else name
