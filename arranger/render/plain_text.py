"""Text from outside (titles, names of tracks and files) made safe to print on one line."""

from __future__ import annotations

import re


def one_line(text: str) -> str:
    """Printable characters only, single spaces, no line breaks."""
    printable = "".join(char if char.isprintable() else " " for char in text)
    return " ".join(printable.split())


_TIED = re.compile(
    r"(\b(?:bars?|strings?|fingers?|frets?)|(?<=[:,] )\d[&\w-]*(?= [pima][+,.])"
    r"|\b\d+(?= %)|\b\d+(?= –)|\S(?= →)|→) "
)


def kept_together(text: str) -> str:
    """No line ends before what belongs to the word before it.

    So a number stays with its bar, a plucking finger with its beat, a percent sign or the dash
    of a list with its number, an arrow with the two shapes it leads between.
    """
    return _TIED.sub("\\1\N{NO-BREAK SPACE}", text)
