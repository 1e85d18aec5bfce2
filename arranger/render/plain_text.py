"""Text from outside (titles, names of tracks and files) made safe to print on one line."""

from __future__ import annotations

import re


def one_line(text: str) -> str:
    """Printable characters only, single spaces, no line breaks."""
    printable = "".join(char if char.isprintable() else " " for char in text)
    return " ".join(printable.split())


_TIED = re.compile(
    r"(\b(?:bars?|strings?|fingers?|frets?)|(?<=[:,] )\d[&\w-]*(?= [pima][+,.])) "
)


def kept_together(text: str) -> str:
    """No line ends before a number, or before the plucking finger, that belongs to its word."""
    return _TIED.sub("\\1\N{NO-BREAK SPACE}", text)
