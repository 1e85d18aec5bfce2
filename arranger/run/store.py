"""Where results land: a folder of files, written whole or not at all."""

from __future__ import annotations

import re
import shutil
import tempfile
import unicodedata
from collections.abc import Mapping
from pathlib import Path

from platformdirs import user_state_path

from arranger.music.errors import UsageError

LONGEST_NAME = 80  # characters, well below what file systems allow


def piece_name(path: Path) -> str:
    """A folder name for a piece: letters, digits, ``_`` and ``-`` of the file's own name."""
    stem = unicodedata.normalize("NFC", path.stem)
    return re.sub(r"[^\w-]+", "_", stem).strip("_-")[:LONGEST_NAME] or "piece"


def keep(files: Mapping[str, bytes], folder: Path) -> None:
    """Write ``files`` as the whole content of ``folder``, replacing what was there.

    They are written to a folder beside it first and renamed, so that a reader sees the
    old files or the new ones, never a mixture.

    Raises
    ------
    UsageError : the place cannot be written to.
    """
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=folder.parent, prefix=".new-") as room:
            new = Path(room) / folder.name
            new.mkdir()
            for name, content in files.items():
                (new / name).write_bytes(content)
            if folder.exists():
                folder.rename(Path(room) / "old")
            new.rename(folder)
    except OSError as error:
        raise _unwritable(folder, error) from error


def keep_file(content: bytes, file: Path) -> None:
    """Write one file whole or not at all, and leave what lies beside it.

    Raises
    ------
    UsageError : the place cannot be written to.
    """
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=file.parent, prefix=".new-") as room:
            new = Path(room) / file.name
            new.write_bytes(content)
            new.replace(file)
    except OSError as error:
        raise _unwritable(file, error) from error


def _unwritable(place: Path, error: OSError) -> UsageError:
    return UsageError(
        f"the results cannot be written ({error.strerror or error})".lower(),
        where=str(place),
        next_step="Choose another place with --out.",
    )


def keep_fault(source: Path, report: str) -> Path:
    """Keep the input of a fault of ours with a report, and return the folder."""
    faults = user_state_path("arranger", appauthor=False) / "faults"
    faults.mkdir(parents=True, exist_ok=True)
    folder = Path(tempfile.mkdtemp(dir=faults, prefix=f"{piece_name(source)}-"))
    (folder / "report.txt").write_text(report, "utf-8")
    if source.is_file():
        shutil.copyfile(source, folder / f"input{source.suffix}")
    return folder
