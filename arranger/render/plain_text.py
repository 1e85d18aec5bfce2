"""Text from outside (titles, names of tracks and files) made safe to print on one line."""

from __future__ import annotations


def one_line(text: str) -> str:
    """Printable characters only, single spaces, no line breaks."""
    printable = "".join(char if char.isprintable() else " " for char in text)
    return " ".join(printable.split())
