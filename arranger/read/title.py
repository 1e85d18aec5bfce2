"""Title and composer from what the file says, cleaned of what a page cannot print."""

from __future__ import annotations

import re
import unicodedata
from pathlib import Path

from arranger.read.piece import Piece
from arranger.read.table import reading_table

# Track names that name an instrument, a hand or a program, never a piece. From memory.
_NO_TITLE = re.compile(
    r"(?i)^(untitled|track|piano|acoustic grand|grand piano|pianoforte|klavier|staff|part|"
    r"instrument|midi|right|left|upper|lower|treble|bass|rh|lh|control|tempo|conductor|"
    r"main|melody|new|seq|sequence|channel|default|meta|up|down|voice|vocals?|solo|lead|"
    r"soprano|alto|tenor|baritone|choir|chorus|guitar|violin|viola|cello|flute|clarinet|organ|"
    r"harpsichord|harp|strings|music21|musicxml)\b[\s\d:#.,-]*"
    r"(hand|track|part|staff|right|left|piano|\d|[\s:#.,-])*$"
)
_FILE_NAME = re.compile(r"(?i)\.(musicxml|xml|mxl|krn|abc|midi?)$")
_NO_COMPOSER = {"music21", "unknown", "composer"}  # what exporters write for none
# Words that a title sets small, in the languages of most titles; common practice, no source.
_SMALL_WORD = re.compile(
    r"an?|and|as|at|by|for|from|in|of|on|or|the|to|with|del?|der|des|die|du|e[ln]|et|l[ae]|les|"
    r"os?|und|von|y"
)
_ROMAN = re.compile(r"i{2,3}|iv|vi{0,3}|ix|xi{0,3}")
_BY = re.compile(
    r"(?i)(?:composed by|composer\s*[:=]|music by|by)\s+(?P<name>[^\d\W][^\n(]{2,60})"
)


def clean_text(text: str) -> str:
    """One line of printable text: control and format characters removed, spaces joined."""
    text = unicodedata.normalize("NFC", text)
    kept = [" " if ch.isspace() else ch for ch in text if ch.isspace() or _printable(ch)]
    longest = reading_table().limits.title_letters
    return re.sub(r" +", " ", "".join(kept)).strip()[:longest].strip()


def _printable(character: str) -> bool:
    return not unicodedata.category(character).startswith("C") and character != "\ufffd"


def title_of(piece: Piece, path: Path) -> str:
    """The title stated, else the first track name that may be one, else the file's stem."""
    candidates = ["" if _FILE_NAME.search(piece.title) else piece.title]
    noted = {note.track for note in piece.notes}
    candidates += [name for track, name in piece.names if track not in noted or track == 0]
    for candidate in candidates:
        text = clean_text(candidate)
        if text and any(ch.isalpha() for ch in text) and not _NO_TITLE.match(text):
            return text
    return title_from_name(path)


def title_from_name(path: Path) -> str:
    """The file's name as a title: ``tin_kettle_rag.mid`` is *Tin Kettle Rag*.

    A name with a capital in it was written by somebody and keeps its letters.
    """
    apart = "_" if "_" in path.stem or " " in path.stem else "-"
    text = clean_text(re.sub(rf"{apart}+", " ", path.stem))
    if text == text.lower():
        words = text.split(" ")
        last = len(words) - 1
        text = " ".join(_in_title(word, 0 < at < last) for at, word in enumerate(words))
    return text or "Untitled"


def _in_title(word: str, inside: bool) -> str:
    if _ROMAN.fullmatch(word):
        return word.upper()
    return word if inside and _SMALL_WORD.fullmatch(word) else word[:1].upper() + word[1:]


def composer_of(piece: Piece) -> str:
    """The composer if the file names one, else ""."""
    stated = clean_text(piece.composer)
    if stated and stated.lower() not in _NO_COMPOSER:
        return stated
    for _, text in piece.texts:
        found = _BY.search(clean_text(text))
        if found:
            return found["name"].strip(" .,;")
    return ""
