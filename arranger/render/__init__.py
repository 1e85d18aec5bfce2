"""Documents from an arrangement: text, MusicXML, MIDI, JSON."""

from __future__ import annotations

from arranger.music.arrangement import Arrangement
from arranger.music.lesson import Lesson
from arranger.music.verdict import Verdict
from arranger.render.document_json import arrangement_from_json, arrangement_json
from arranger.render.tab import tab_text

__all__ = ["arrangement_from_json", "documents"]


def documents(arrangement: Arrangement, verdict: Verdict, lesson: Lesson) -> dict[str, bytes]:
    """What a teacher is given: file name → contents, the same bytes for the same values.

    Raises
    ------
    InternalFault : a document does not fit its own schema.
    """
    return {
        "tab.txt": tab_text(arrangement, verdict, lesson).encode("utf-8"),
        "arrangement.json": arrangement_json(arrangement, verdict, lesson).encode("utf-8"),
    }
