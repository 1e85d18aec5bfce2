"""How long each document takes and how large it is.

python tests/bench/documents.py PIECE [LEVEL]
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from time import process_time

from arranger import arrange
from arranger.render.document_json import arrangement_json
from arranger.render.engrave import engraved
from arranger.render.fold import folded
from arranger.render.midi import practice_midi
from arranger.render.musicxml import musicxml_score
from arranger.render.paper import Paper
from arranger.render.ringing import ringing
from arranger.render.sheet_html import playing_sheet
from arranger.render.sheet_pdf import printed_sheet
from arranger.render.tab import tab_text
from arranger.render.written import in_notatable_time, in_written_time


def main(path: Path, level: str) -> None:
    result = arrange(path, level=level, anyway=True)
    piece, verdict, lesson = result.arrangement, result.verdict, result.lesson
    folds = folded(ringing(in_notatable_time(in_written_time(piece))))
    systems = engraved(folds, width=Paper().system_width)
    print(f"{len(piece.bars)} bars, {len(folds.drawn.bars)} drawn, {len(piece.notes)} notes")
    steps: dict[str, Callable[[], object]] = {
        "engraving": lambda: engraved(folds, width=Paper().system_width),
        "sheet.pdf": lambda: printed_sheet(
            piece, verdict, lesson, systems, folds=folds, paper=Paper()
        ),
        "sheet.html": lambda: playing_sheet(piece, verdict, lesson, systems, folds),
        "tab.txt": lambda: tab_text(piece, verdict, lesson),
        "arrangement.json": lambda: arrangement_json(piece, verdict, lesson),
        "score.musicxml": lambda: musicxml_score(piece),
        "practice.mid": lambda: practice_midi(piece),
    }
    for name, step in steps.items():
        begun = process_time()
        made = step()
        seconds = process_time() - begun
        size = f"{len(made):>9} bytes" if isinstance(made, str | bytes) else ""
        print(f"{name:<18}{seconds:6.2f} s of processor time {size}")


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2] if len(sys.argv) > 2 else "beginner")
