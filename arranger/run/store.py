"""Where results land: written whole or not at all, and never over what is not ours.

Beside what it wrote the program leaves a list with the digest of each file. What is not in
that list, or has been changed since, was made by somebody else and is not touched.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import tempfile
import unicodedata
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from platformdirs import user_state_path

from arranger.music.errors import UsageError

LONGEST_NAME = 80
"""Characters of a folder's name; its bytes in UTF-8 are at most twice as many. File systems
allow 255 bytes, encrypted ones less."""

_DEVICE = re.compile(r"(?i)(con|prn|aux|nul|conin\$|conout\$|(com|lpt)[0-9¹²³])")
"""Names that are no files on some systems, whatever follows a full stop (Win32 file names)."""

MADE = ".made.json"
"""The list of what the program made in a folder: ``files`` maps a name to the digests that
the file may have (two while it is being replaced), ``note`` is the writer's own."""

NEW = ".new-"
NAMED = 5
"""How many strange files a message names before it says how many more there are."""


class NotOurs(UsageError):
    """Files that the program did not make lie where results belong."""


class Unwritable(UsageError):
    """The place for results takes none: full, read-only, or not a folder."""


def piece_name(path: Path) -> str:
    """A folder name for a piece: letters, digits, ``_`` and ``-`` of the file's own name."""
    return plain_name(path.stem)


def plain_name(text: str) -> str:
    """``text`` as a name that every file system takes and that leads nowhere else."""
    letters = unicodedata.normalize("NFC", text)
    name = re.sub(r"[^\w-]+", "_", letters).strip("_-")[:LONGEST_NAME]
    name = name.encode("utf-8")[: 2 * LONGEST_NAME].decode("utf-8", "ignore")
    return f"{name}_" if _DEVICE.fullmatch(name) else name or "piece"


def keep(
    files: Mapping[str, bytes],
    folder: Path,
    *,
    force: bool = False,
    note: Mapping[str, Any] | None = None,
    room: Path | None = None,
) -> None:
    """Write ``files`` as the whole content of ``folder``, replacing what was there.

    They are written to a folder in ``room`` first (beside it where none is named) and
    renamed, so that a reader sees the old files or the new ones, never a mixture.

    Parameters
    ----------
    force : replace even what the program did not make.
    note : kept in the folder's list of what was made; see ``made_in``.

    Raises
    ------
    NotOurs : the folder holds files that the program did not make, and no ``force``.
    Unwritable : the place cannot be written to; what was there is still there.
    """
    if not force:
        refuse_strangers(folder)
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=room or folder.parent, prefix=NEW) as own:
            new = Path(own) / folder.name
            new.mkdir()
            for name, content in files.items():
                _write(new / name, content)
            _write(new / MADE, made_list(files, note))
            _settle(new)
            _swap(new, folder, Path(own) / "old")
        _settle(folder.parent)
    except OSError as error:
        raise _unwritable(folder, error) from error


def keep_file(content: bytes, file: Path, *, force: bool = False) -> None:
    """Write one file whole or not at all, and leave what lies beside it.

    Raises
    ------
    NotOurs : there is a file of that name that the program did not make, and no ``force``.
    Unwritable : the place cannot be written to; what was there is still there.
    """
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=file.parent, prefix=NEW) as own:
            new = Path(own) / file.name
            _write(new, content)
            keep_made(new, file, force=force)
    except OSError as error:
        raise _unwritable(file, error) from error


def keep_made(new: Path, file: Path, *, force: bool = False) -> None:
    """Put ``new``, already written on the same file system, in the place of ``file``.

    The list names the old and the new digest until the new file is in its place: whenever
    it stops, what lies there is known as ours.

    Raises
    ------
    NotOurs : there is a file of that name that the program did not make, and no ``force``.
    """
    digest = _digest(new)
    made = made_in(file.parent)
    known = made.get("files", {})
    before = [_digest(file)] if file.is_file() else []
    if before and not force and before[0] not in known.get(file.name, ()):
        raise _not_ours(file.parent, [file.name])
    for digests in ([*before, digest], [digest]):
        listed = {**made, "files": {**known, file.name: digests}}
        list_file = new.with_name(MADE)
        _write(list_file, _as_json(listed))
        list_file.replace(file.parent / MADE)
        if new.exists():
            new.replace(file)
    _settle(file.parent)


def made_list(files: Mapping[str, bytes], note: Mapping[str, Any] | None = None) -> bytes:
    """The list that goes with ``files``; the same files and note give the same bytes."""
    digests = {name: [hashlib.sha256(content).hexdigest()] for name, content in files.items()}
    return _as_json({"files": digests, **({"note": dict(note)} if note else {})})


def made_in(folder: Path) -> dict[str, Any]:
    """The list of what the program made in ``folder``; empty where there is none."""
    try:
        return made_of((folder / MADE).read_bytes())
    except OSError:
        return {}


def made_of(content: bytes) -> dict[str, Any]:
    """The list of which ``content`` is the text; empty where it is none."""
    try:
        made = json.loads(content)
    except ValueError:
        return {}
    return made if isinstance(made, dict) and isinstance(made.get("files"), dict) else {}


def refuse_strangers(folder: Path) -> None:
    """Raise where ``folder`` holds what the program did not make.

    Raises
    ------
    NotOurs : names the files.
    """
    made = made_in(folder).get("files", {})
    try:
        strange = [
            entry.name
            for entry in sorted(folder.iterdir())
            if entry.name != MADE
            and not (entry.is_file() and _digest(entry) in made.get(entry.name, ()))
        ]
    except FileNotFoundError:
        return
    except OSError as error:
        raise _unwritable(folder, error) from error
    if strange:
        raise _not_ours(folder, strange)


def intact(folder: Path, sizes: Mapping[str, int]) -> bool:
    """Whether every file of ``sizes`` still lies in ``folder`` with as many bytes."""
    try:
        return all((folder / name).stat().st_size == size for name, size in sizes.items())
    except OSError:
        return False


def _write(file: Path, content: bytes) -> None:
    """Write a file through to the disk."""
    with file.open("xb" if file.name != MADE else "wb") as sink:
        sink.write(content)
        sink.flush()
        os.fsync(sink.fileno())


def _swap(new: Path, folder: Path, aside: Path) -> None:
    """Put ``new`` in the place of ``folder``; whatever interrupts, the old one is put back."""
    try:
        if folder.exists():
            folder.rename(aside)
        new.rename(folder)
    except BaseException:
        if aside.exists() and not folder.exists():
            aside.rename(folder)
        raise


def _settle(folder: Path) -> None:
    """Write a folder's own list of names through to the disk, where systems have that."""
    try:
        number = os.open(folder, os.O_RDONLY)
    except OSError:  # a folder cannot be opened on every system
        return
    try:
        os.fsync(number)
    finally:
        os.close(number)


def _digest(file: Path) -> str:
    with file.open("rb") as source:
        return hashlib.file_digest(source, "sha256").hexdigest()


def _as_json(value: Mapping[str, Any]) -> bytes:
    return (json.dumps(value, sort_keys=True, indent=1) + "\n").encode("ascii")


def _not_ours(folder: Path, strange: list[str]) -> NotOurs:
    named = ", ".join(repr(name) for name in strange[:NAMED])
    more = f" and {len(strange) - NAMED} more" if len(strange) > NAMED else ""
    return NotOurs(
        f"{named}{more} there was not made by this program, or was changed since",
        where=str(folder),
        next_step="Choose another place with --out, or replace what is there with --force.",
    )


def _unwritable(place: Path, error: OSError) -> Unwritable:
    return Unwritable(
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
