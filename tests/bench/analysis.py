"""Measure the analysis against open data and print a table.

``python tests/bench/analysis.py [FOLDER]``: FOLDER holds piano MIDI files with two named
tracks and scholarly key signatures, default ``$ARRANGER_DATA/piano``. The chorales come
from music21; those with an odd place in the list trained the weights.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from statistics import median

from chorales import agreement, analysed_chorales

from arranger.analyse import analyse
from arranger.music.analysis import Analysis
from arranger.music.score import Score
from arranger.read import read


def harmony() -> None:
    """Root, triad and exact chord of the chorales, as a share of the time."""
    pairs = []
    for chorale in analysed_chorales():
        spans = [(span.start, span.end, span.chord) for span in analyse(chorale.score).chords]
        pairs.append((chorale.labels, spans))
    for name, chosen in (("trained on", pairs[0::2]), ("held out", pairs[1::2])):
        found = agreement(chosen)
        print(
            f"chorales {name:10}: {len(chosen)} pieces, root {found.root:.3f}, "
            f"triad {found.triad:.3f}, exact {found.exact:.3f}"
        )


def key_sections(heard: Sequence[Analysis]) -> tuple[int, int]:
    """Sections of the file's signatures whose middle is heard in that signature; sections."""
    right = total = 0
    for analysis in heard:
        marks = analysis.score.keys
        ends = [*(mark.onset for mark in marks[1:]), analysis.score.end][: len(marks)]
        for mark, end in zip(marks, ends, strict=True):
            middle = (mark.onset + end) / 2
            found = next(x.key for x in analysis.keys if x.start <= middle < x.end)
            total += 1
            right += found.sharps == mark.key.sharps
    return right, total


def tune(heard: Sequence[Analysis]) -> tuple[float, float]:
    """Precision and recall of the tune against the top note of the right hand."""
    both = found = wanted = 0
    for analysis in heard:
        tops: dict[object, int] = {}
        for note in analysis.score.notes:
            if note.hand == "right" and note.ornament != "grace":
                tops.setdefault(note.onset, note.index)
        both += len(set(tops.values()) & set(analysis.melody))
        found += len(analysis.melody)
        wanted += len(tops)
    return both / found, both / wanted


def bars_without_signature(scores: Sequence[Score]) -> float:
    """Share of bars heard in the file's signature when the signature is kept back."""
    right = total = 0
    for score in scores:
        blind = analyse(replace(score, keys=())).keys
        for bar in score.bars:
            marks = [mark for mark in score.keys if mark.onset <= bar.start]
            if marks:
                found = next(x.key for x in blind if x.start <= bar.start < x.end)
                total += 1
                right += found.sharps == marks[-1].key.sharps
    return right / total


def main() -> None:
    data = Path(os.environ.get("ARRANGER_DATA", "../shared/data")) / "piano"
    show(Path(sys.argv[1]) if len(sys.argv) > 1 else data)


def show(folder: Path) -> None:
    """Print the table for the files in ``folder``."""
    harmony()
    scores = [read(path) for path in sorted(folder.glob("*.mid"))]
    rags = [score for score in scores if score.file.startswith("joplins")]
    seconds = []
    heard = []
    for score in scores:
        begin = time.process_time()
        heard.append(analyse(score))
        seconds.append(time.process_time() - begin)
    for name, chosen in (("rags", rags), ("all", scores)):
        files = {score.file for score in chosen}
        analyses = [analysis for analysis in heard if analysis.score.file in files]
        blind = bars_without_signature(chosen)
        right, total = key_sections(analyses)
        precision, recall = tune(analyses)
        print(f"{name}: key of the section right {right} of {total} ({right / total:.3f})")
        print(f"{name}: bars in the right signature, none given: {blind:.3f}")
        print(f"{name}: tune against the right hand's top: {precision:.4f} / {recall:.4f}")
    print(f"seconds a piece: median {median(seconds):.3f}, most {max(seconds):.3f}")
    for analysis in heard:
        if analysis.score.file.startswith("joplins"):
            form = " ".join(f"{s.letter}{s.last - s.first + 1}" for s in analysis.sections)
            print(f"{analysis.score.title}: {form}")


if __name__ == "__main__":
    main()
