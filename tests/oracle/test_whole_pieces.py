"""Whole pieces through every room, with the judge as the oracle of the solver.

``arrange`` raises ``InternalFault`` if the judge finds one broken rule of the hand, so each
piece that comes back has none.
"""

from __future__ import annotations

import subprocess
import sys
from itertools import groupby, pairwise
from pathlib import Path

import pytest

from arranger import Result, arrange
from arranger.tables import LEVEL_NAMES, level_named

CORPUS = Path(__file__).parents[2] / "corpus"
SMALL = sorted(CORPUS.glob("*.mid"))


@pytest.fixture(scope="module")
def rag(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Joplin's rag from music21's corpus, made at run time: 156 bars, repeats played out."""
    folder = tmp_path_factory.mktemp("music21")
    subprocess.run(
        [sys.executable, CORPUS / "from_music21.py", folder, "joplin"],
        check=True,
        stdout=subprocess.DEVNULL,
    )
    (path,) = folder.iterdir()
    return path


def assert_tune_on_top(result: Result) -> None:
    """At each onset of the tune nothing sounds as high, in pitch or by string."""
    notes = result.arrangement.notes
    for note in notes:
        if note.voice != "melody":
            continue
        below = [
            other
            for other in notes
            if other.voice != "melody" and other.onset <= note.onset < other.end
        ]
        assert all(other.midi < note.midi for other in below), (note, below)
        assert all(other.string > note.string for other in below), (note, below)


def assert_thumb_has_the_bass(result: Result) -> None:
    for note in result.arrangement.notes:
        assert (note.voice == "bass") == (note.right == "p")
        assert note.voice != "bass" or note.string in (4, 5, 6)


def assert_one_note_a_string(result: Result) -> None:
    by_string = sorted(result.arrangement.notes, key=lambda note: (note.string, note.onset))
    for _, notes in groupby(by_string, key=lambda note: note.string):
        row = list(notes)
        for note, later in pairwise(row):
            assert note.end <= later.onset


@pytest.mark.parametrize("level", LEVEL_NAMES)
def test_whole_rag_can_be_played_at_every_level(rag: Path, level: str) -> None:
    result = arrange(rag, level=level, anyway=True)
    assert_tune_on_top(result)
    assert_thumb_has_the_bass(result)
    assert_one_note_a_string(result)


def test_beginner_has_a_steady_thumb_in_the_rag(rag: Path) -> None:
    result = arrange(rag, anyway=True)
    heard = result.verdict.fidelity
    assert heard.thumb_beats >= 0.98
    assert heard.alternation >= 0.85
    assert len(result.arrangement.shapes) <= level_named("beginner").shapes_most
    assert result.arrangement.key.short in level_named("beginner").keys
    assert result.arrangement.proof.gap <= 0.03


@pytest.mark.parametrize("piece", SMALL, ids=lambda piece: piece.stem)
def test_small_pieces_suit_a_beginner(piece: Path) -> None:
    """Without ``anyway``: what is in the corpus is meant for the first lesson."""
    result = arrange(piece)
    assert_tune_on_top(result)
    assert_thumb_has_the_bass(result)
    assert_one_note_a_string(result)
