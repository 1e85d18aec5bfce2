"""Which program this is: two that are told apart here may arrange a piece differently."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib import resources
from importlib.metadata import version
from pathlib import Path

APART = "levels.toml"
"""The one table that is told level by level, so that a change of one leaves the others."""


@cache
def program_digest() -> str:
    """The digest of the version, the program's own files, and its tables but for ``APART``.

    In a release the version says the same; between releases it does not.
    """
    home = Path(str(resources.files("arranger")))
    files = sorted(
        file
        for file in home.rglob("*")
        if file.is_file() and file.suffix != ".pyc" and file.name != APART
    )
    told = hashlib.sha256(version("arranger").encode("ascii", "replace"))
    for file in files:
        told.update(file.relative_to(home).as_posix().encode("utf-8", "replace"))
        told.update(hashlib.sha256(file.read_bytes()).digest())
    return told.hexdigest()
