"""Export the piano pieces that music21 carries to MIDI: ``python corpus/from_music21.py DIR``.

Words after DIR choose pieces by name: ``python corpus/from_music21.py more joplin``. The
files stay with you: each piece has its own terms (see music21's corpus/license.txt).
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

from music21 import corpus, stream, tempo
from piano_midi import Piece, write


@dataclass(frozen=True)
class Work:
    """``quarters``: quarter notes a minute where the score states none (common practice)."""

    name: str
    title: str
    composer: str
    quarters: float


WORKS = (
    Work("joplin/maple_leaf_rag", "Maple Leaf Rag", "Scott Joplin", 100),
    Work("mozart/k545/movement1_exposition", "Sonata K. 545, opening", "W. A. Mozart", 132),
    Work("cpebach/h186", "Piano piece H. 186", "C. P. E. Bach", 100),
    Work("schumann_clara/polonaise_op1n1", "Polonaise op. 1 no. 1", "C. Schumann", 92),
    Work("schumann_clara/polonaise_op1n2", "Polonaise op. 1 no. 2", "C. Schumann", 92),
    Work("schumann_clara/polonaise_op1n3", "Polonaise op. 1 no. 3", "C. Schumann", 92),
    Work("schumann_clara/polonaise_op1n4", "Polonaise op. 1 no. 4", "C. Schumann", 92),
)


def export(work: Work, folder: Path) -> Path:
    """Write one piece, repeats played out and its tempo stated, and return the path."""
    score = corpus.parse(work.name)
    upper, lower = list(score.parts)[:2]
    target = folder / f"{work.name.replace('/', '_')}.mid"
    rights = score.metadata.copyright or "see the licence notes of music21's corpus"
    piece = Piece(work.title, work.composer, str(rights), _quarters(score, work))
    write(target, piece, [upper], [lower])
    return target


def _quarters(score: stream.Score, work: Work) -> float:
    for mark in score.recurse().getElementsByClass(tempo.MetronomeMark):
        quarters = mark.getQuarterBPM()
        if quarters and not mark.numberImplicit:
            return quarters
    return work.quarters


def main(arguments: list[str]) -> int:
    if not arguments:
        print("usage: python corpus/from_music21.py DIR [NAME ...]", file=sys.stderr)
        return 2
    folder, names = Path(arguments[0]), arguments[1:]
    folder.mkdir(parents=True, exist_ok=True)
    for work in WORKS:
        if not names or any(name in work.name for name in names):
            print(export(work, folder))
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
