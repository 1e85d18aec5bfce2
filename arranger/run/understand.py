"""The first half of the way, which needs no solver: read a file and listen to it."""

from __future__ import annotations

from pathlib import Path

from arranger.analyse import analyse
from arranger.music.analysis import Analysis
from arranger.music.key import Key
from arranger.read import read


def understand(
    path: Path,
    *,
    meter: str | None = None,
    straight: bool | None = None,
    source_key: Key | None = None,
) -> Analysis:
    """What is heard in a file.

    Parameters
    ----------
    meter : a time signature such as ``3/4`` that overrules the file's.
    straight : True takes eighths as they stand, False for swing, None listens.
    source_key : the key of the whole piece, where a teacher knows better.

    Raises
    ------
    UnreadableInput : the file cannot be read or holds no music to arrange.
    UsageError : an option says something that cannot be meant.
    """
    return analyse(read(path, meter=meter, straight=straight), key=source_key)
