"""Documents from an arrangement: text, JSON, MusicXML, MIDI, sheets to print and to play."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

from arranger.music.arrangement import Arrangement
from arranger.music.each import Each, both, in_turn
from arranger.music.lesson import Lesson
from arranger.music.repeats import repeats
from arranger.music.verdict import Verdict
from arranger.render.compare_page import compare_page
from arranger.render.comparison import comparison_json, comparison_rows, curve_lines
from arranger.render.document_json import arrangement_from_json, arrangement_json
from arranger.render.engrave import System, engraved
from arranger.render.extras import NO_EXTRAS, Extras
from arranger.render.fold import Folded, folded
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
    each: Each = in_turn,
) -> dict[str, bytes]:
    """What a teacher is given: file name → contents, the same bytes for the same values.

    ``paper`` is for the printed sheet alone; ``each`` does tasks of which none needs another.

    Raises
    ------
    InternalFault : a document does not fit its own schema.
    """
    drawing, written = both(
        each,
        partial(_drawn, arrangement, paper, extras),
        partial(_written, arrangement, verdict, lesson, extras),
    )
    sheets = each(
        [
            partial(_sheet_to_print, arrangement, verdict, lesson, drawing, paper),
            partial(_sheet_to_play, arrangement, verdict, lesson, drawing),
        ]
    )
    found = {**written, **sheets[0], **sheets[1]}
    return {name: found[name] for name in sorted(found)}


@dataclass(frozen=True, slots=True)
class _Drawing:
    """What the sheets show: ``systems`` to play from and those to print."""

    folds: Folded
    systems: tuple[System, ...]
    printed: tuple[System, ...]


def _drawn(arrangement: Arrangement, paper: Paper, extras: Extras) -> _Drawing:
    """The systems of both sheets, of one engraving where they are as wide."""
    written = in_notatable_time(in_written_time(arrangement))
    folds = folded(ringing(written), repeats(arrangement), held=written)
    systems = engraved(folds, width=ORDINARY.system_width, tab_only=extras.tab_only)
    printed = systems
    if paper.system_width != ORDINARY.system_width:
        printed = engraved(folds, width=paper.system_width, tab_only=extras.tab_only)
    return _Drawing(folds, systems, printed)


def _sheet_to_play(
    arrangement: Arrangement, verdict: Verdict, lesson: Lesson, drawing: _Drawing
) -> dict[str, bytes]:
    page = playing_sheet(arrangement, verdict, lesson, drawing.systems, drawing.folds)
    return {"sheet.html": _encoded(page)}


def _sheet_to_print(
    arrangement: Arrangement, verdict: Verdict, lesson: Lesson, drawing: _Drawing, paper: Paper
) -> dict[str, bytes]:
    pages = printed_sheet(
        arrangement, verdict, lesson, drawing.printed, folds=drawing.folds, paper=paper
    )
    return {"sheet.pdf": pages}


def _written(
    arrangement: Arrangement, verdict: Verdict, lesson: Lesson, extras: Extras
) -> dict[str, bytes]:
    """All that needs no engraving."""
    spoken = {"spoken.txt": _encoded(spoken_text(arrangement))} if extras.spoken else {}
    return {
        "tab.txt": _encoded(tab_text(arrangement, verdict, lesson)),
        "arrangement.json": _encoded(arrangement_json(arrangement, verdict, lesson)),
        **spoken,
        "score.musicxml": musicxml_score(arrangement),
        **_to_listen(arrangement, extras),
    }


def _encoded(text: str) -> bytes:
    """A file name may hold bytes that are no text at all; they become question marks."""
    return text.encode("utf-8", "replace")


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
