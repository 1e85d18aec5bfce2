"""Documents from an arrangement: text, MusicXML, MIDI, JSON."""

from __future__ import annotations

from arranger.music.arrangement import Arrangement
from arranger.music.lesson import Lesson
from arranger.music.verdict import Verdict
from arranger.render.document_json import arrangement_from_json, arrangement_json
from arranger.render.midi import practice_midi
from arranger.render.musicxml import musicxml
from arranger.render.tab import tab_text

__all__ = ["arrangement_from_json", "documents"]


def documents(arrangement: Arrangement, verdict: Verdict, lesson: Lesson) -> dict[str, bytes]:
    """What a teacher is given: file name → contents, the same bytes for the same values.

    Raises
    ------
    InternalFault : a document does not fit its own schema.
    """
    texts = {
        "tab.txt": tab_text(arrangement, verdict, lesson),
        "arrangement.json": arrangement_json(arrangement, verdict, lesson),
    }
    return {
        # A file name may hold bytes that are no text at all; they become question marks.
        **{name: text.encode("utf-8", "replace") for name, text in texts.items()},
        "score.musicxml": musicxml(arrangement),
        "practice.mid": practice_midi(arrangement),
    }
