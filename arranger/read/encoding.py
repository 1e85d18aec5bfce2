"""Texts in a MIDI file, whose encoding the file does not state.

UTF-8 proves itself. Of the rest nearly all is Japanese (code page 932) or Western European
(code page 1252, a superset of Latin-1 in print). Both decode most bytes to something, so
the choice goes by what a reader would believe: letters with accents stand between plain
letters, Japanese stands in runs.
"""

from __future__ import annotations

import re

# Western European letters with accents (À to ÿ without × and ÷), at most two in a row, a
# typographic apostrophe between letters, and the signs ¡ © ª « ® ° · º » ¿ and the fixed space.
_WESTERN = re.compile(
    rb"(?:[\x00-\x7f]"
    rb"|(?<=[A-Za-z\xc0-\xff])\x92(?=[A-Za-z\xc0-\xff])"
    rb"|(?<![\xc0-\xff])[\xc0-\xd6\xd8-\xf6\xf8-\xff]{1,2}(?![\xc0-\xff])"
    rb"|[\xa0\xa1\xa9-\xab\xae\xb0\xb7\xba\xbb\xbf])*"
)
# A letter or sign in or beside a word, or alone: a single half-width kana is no word.
_IN_A_WORD = re.compile(
    rb"[A-Za-z][\xa9-\xff]|[\xc0-\xff][A-Za-z]|(?<![\x80-\xff])[\xc0-\xff](?![\x80-\xff])"
)


def decoded(text: bytes) -> str:
    """Text of unknown encoding: UTF-8, else what is more plausible of two code pages."""
    for encoding in _encodings(text):
        try:
            return text.decode(encoding)
        except UnicodeDecodeError:
            continue
    return text.decode("latin-1")


def _encodings(text: bytes) -> tuple[str, ...]:
    """Encodings from the most to the least plausible."""
    if _WESTERN.fullmatch(text) and _IN_A_WORD.search(text):
        return ("utf-8", "cp1252", "cp932")
    return ("utf-8", "cp932", "cp1252")
