"""Make the MIDI files of this folder from the readable sources in ``sources/``.

Run ``python corpus/make.py`` after changing a source; ``python corpus/make.py DIR`` writes
into another folder, which is how a test compares the files with their sources.
"""

from __future__ import annotations

import sys
from pathlib import Path

from music21 import converter, stream, tempo
from piano_midi import Piece, write

HERE = Path(__file__).parent


def make(source: Path, target: Path) -> None:
    """The upper half of the voices goes to the right hand, the lower half to the left."""
    score = converter.parse(source.read_text("utf-8"), format="abc")
    voices = list(score.getElementsByClass(stream.Part))
    half = len(voices) // 2
    (mark,) = voices[0].recurse().getElementsByClass(tempo.MetronomeMark)
    quarters = mark.getQuarterBPM()
    if quarters is None:
        raise ValueError(f"{source.name} states no tempo")
    piece = Piece(
        title=score.metadata.title,
        composer=score.metadata.composer,
        rights="CC0 1.0",
        tempo=quarters,
    )
    write(target, piece, voices[:half], voices[half:])


def main(folder: Path) -> None:
    for source in sorted((HERE / "sources").glob("*.abc")):
        make(source, folder / f"{source.stem}.mid")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
