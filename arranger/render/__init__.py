"""Documents from an arrangement: text, JSON, MusicXML, MIDI, sheets to print and to play."""

from __future__ import annotations

from arranger.music.arrangement import Arrangement
from arranger.music.lesson import Lesson
from arranger.music.repeats import repeats
from arranger.music.verdict import Verdict
from arranger.render.compare_page import compare_page
from arranger.render.comparison import comparison_json, comparison_rows, curve_lines
from arranger.render.document_json import arrangement_from_json, arrangement_json
from arranger.render.engrave import engraved
from arranger.render.extras import NO_EXTRAS, Extras
from arranger.render.fold import folded
from arranger.render.midi import practice_midi
from arranger.render.musicxml import musicxml_score
from arranger.render.other_ways import other_lines
from arranger.render.overview_page import Alike, OutcomeRows, overview_page
from arranger.render.own_score import with_fingering
from arranger.render.paper import Paper
from arranger.render.rating_json import rating_json
from arranger.render.ringing import ringing
from arranger.render.sheet_html import playing_sheet
from arranger.render.sheet_pdf import printed_sheet
from arranger.render.spoken import spoken_text
from arranger.render.tab import tab_text
from arranger.render.wave import practice_wave
from arranger.render.written import in_notatable_time, in_written_time
from arranger.tables.teaching import teaching

__all__ = [
    "NO_EXTRAS",
    "ORDINARY",
    "Alike",
    "Extras",
    "OutcomeRows",
    "Paper",
    "arrangement_from_json",
    "compare_page",
    "comparison_json",
    "comparison_rows",
    "curve_lines",
    "documents",
    "other_lines",
    "overview_page",
    "rating_json",
    "spoken_text",
    "with_fingering",
]

ORDINARY = Paper()


def documents(
    arrangement: Arrangement,
    verdict: Verdict,
    lesson: Lesson,
    *,
    paper: Paper = ORDINARY,
    extras: Extras = NO_EXTRAS,
) -> dict[str, bytes]:
    """What a teacher is given: file name → contents, the same bytes for the same values.

    ``paper`` is for the printed sheet alone.

    Raises
    ------
    InternalFault : a document does not fit its own schema.
    """
    written = in_notatable_time(in_written_time(arrangement))
    folds = folded(ringing(written), repeats(arrangement), held=written)
    systems = engraved(folds, width=ORDINARY.system_width, tab_only=extras.tab_only)
    printed = systems
    if paper.system_width != ORDINARY.system_width:
        printed = engraved(folds, width=paper.system_width, tab_only=extras.tab_only)
    texts = {
        "tab.txt": tab_text(arrangement, verdict, lesson),
        "arrangement.json": arrangement_json(arrangement, verdict, lesson),
        "sheet.html": playing_sheet(arrangement, verdict, lesson, systems, folds),
    }
    if extras.spoken:
        texts["spoken.txt"] = spoken_text(arrangement)
    return {
        # A file name may hold bytes that are no text at all; they become question marks.
        **{name: text.encode("utf-8", "replace") for name, text in texts.items()},
        "score.musicxml": musicxml_score(arrangement),
        **_to_listen(arrangement, extras),
        "sheet.pdf": printed_sheet(
            arrangement, verdict, lesson, printed, folds=folds, paper=paper
        ),
    }


def _to_listen(arrangement: Arrangement, extras: Extras) -> dict[str, bytes]:
    """The practice file, and what was asked for beside it."""
    files = {"practice.mid": practice_midi(arrangement)}
    if extras.tempos:
        aim = arrangement.target_tempo / arrangement.student_tempo
        files["practice_slow.mid"] = practice_midi(arrangement, share=teaching().ladder_start)
        files["practice_target.mid"] = practice_midi(arrangement, share=aim)
    if extras.wave:
        files["practice.wav"] = practice_wave(files["practice.mid"])
    return files
