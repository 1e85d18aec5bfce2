"""Documents from an arrangement: text, JSON, MusicXML, MIDI, sheets to print and to play."""

from __future__ import annotations

from arranger.music.arrangement import Arrangement
from arranger.music.lesson import Lesson
from arranger.music.verdict import Verdict
from arranger.render.compare_page import compare_page
from arranger.render.comparison import comparison_rows
from arranger.render.document_json import arrangement_from_json, arrangement_json
from arranger.render.engrave import engraved
from arranger.render.fold import folded
from arranger.render.midi import practice_midi
from arranger.render.musicxml import musicxml_score
from arranger.render.paper import Paper
from arranger.render.ringing import ringing
from arranger.render.sheet_html import playing_sheet
from arranger.render.sheet_pdf import printed_sheet
from arranger.render.spoken import spoken_text
from arranger.render.tab import tab_text
from arranger.render.written import in_notatable_time, in_written_time

__all__ = [
    "Paper",
    "arrangement_from_json",
    "compare_page",
    "comparison_rows",
    "documents",
    "spoken_text",
]

_A4 = Paper()


def documents(
    arrangement: Arrangement, verdict: Verdict, lesson: Lesson, *, paper: Paper = _A4
) -> dict[str, bytes]:
    """What a teacher is given: file name → contents, the same bytes for the same values.

    ``paper`` is for the printed sheet alone.

    Raises
    ------
    InternalFault : a document does not fit its own schema.
    """
    folds = folded(ringing(in_notatable_time(in_written_time(arrangement))))
    systems = engraved(folds, width=_A4.system_width)
    width = paper.system_width
    printed = systems if width == _A4.system_width else engraved(folds, width=width)
    texts = {
        "tab.txt": tab_text(arrangement, verdict, lesson),
        "arrangement.json": arrangement_json(arrangement, verdict, lesson),
        "sheet.html": playing_sheet(arrangement, verdict, lesson, systems, folds),
    }
    return {
        # A file name may hold bytes that are no text at all; they become question marks.
        **{name: text.encode("utf-8", "replace") for name, text in texts.items()},
        "score.musicxml": musicxml_score(arrangement),
        "practice.mid": practice_midi(arrangement),
        "sheet.pdf": printed_sheet(
            arrangement, verdict, lesson, printed, folds=folds, paper=paper
        ),
    }
