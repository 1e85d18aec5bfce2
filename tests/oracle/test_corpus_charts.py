"""The chord chart heard in our own pieces against the chord names in their sources.

The sources in corpus/sources carry the names that the setting was made from; the MIDI files
made from them do not.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest
from music21 import converter, harmony

from arranger.analyse import analyse
from arranger.read import read

_CORPUS = Path(__file__).parents[2] / "corpus"
_NAMED = [
    "augustin_waltz",
    "auld_lang_syne",
    "greensleeves",
    "little_minuet",
    "tin_kettle_rag",
    "yankee_doodle_march",
]


def _named(piece: str, end: Fraction) -> list[tuple[Fraction, Fraction, int]]:
    """``(start, end, root)`` of the chord names of a source, repeats played out."""
    part = converter.parse(_CORPUS / "sources" / f"{piece}.abc").parts[0].expandRepeats()
    names = [
        (Fraction(symbol.getOffsetInHierarchy(part)), symbol.root().pitchClass)
        for symbol in part.recurse().getElementsByClass(harmony.ChordSymbol)
    ]
    ends = [*(start for start, _ in names[1:]), end]
    return [(start, until, root) for (start, root), until in zip(names, ends, strict=True)]


@pytest.mark.parametrize("piece", _NAMED)
def test_the_roots_are_those_of_the_source(piece: str) -> None:
    score = read(_CORPUS / f"{piece}.mid")
    chords = analyse(score).chords
    total = right = Fraction(0)
    for start, end, root in _named(piece, score.end):
        for span in chords:
            overlap = min(end, span.end) - max(start, span.start)
            if overlap > 0:
                total += overlap
                right += overlap * (span.chord is not None and span.chord.root == root)
    assert right / total >= Fraction(85, 100)
