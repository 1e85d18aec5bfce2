"""Rags in the scholarly encodings of the open piano data: keys and tune.

Key signatures as encoded; the tune is the top of the right hand. Goals of the project: every
section's key, tune precision .995. The data is found by $ARRANGER_DATA, else beside the repo.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from arranger.analyse import analyse
from arranger.music.analysis import Analysis
from arranger.read import read

_ROOT = Path(__file__).parents[2]
_DATA = Path(os.environ.get("ARRANGER_DATA", _ROOT.parent / "shared" / "data")) / "piano"
RAGS = sorted(_DATA.glob("joplins_*.mid"))


@pytest.fixture(scope="module")
def heard() -> list[Analysis]:
    if not RAGS:
        pytest.skip("the open piano data is not here")
    return [analyse(read(path)) for path in RAGS]


def test_every_section_has_its_key(heard: list[Analysis]) -> None:
    for analysis in heard:
        for mark in analysis.score.keys:
            found = next(x for x in analysis.keys if x.start <= mark.onset < x.end)
            assert found.key.sharps == mark.key.sharps, analysis.score.title


def test_the_tune_is_the_top_of_the_right_hand(heard: list[Analysis]) -> None:
    right = total = 0
    for analysis in heard:
        tops: dict[object, int] = {}
        for note in analysis.score.notes:
            if note.hand == "right" and note.ornament != "grace":
                tops.setdefault(note.onset, note.index)
        right += len(set(tops.values()) & set(analysis.melody))
        total += len(analysis.melody)
    assert right / total >= 0.995


def test_most_bars_of_a_rag_are_stride(heard: list[Analysis]) -> None:
    """Common practice; and the thumb of a rag in 2/4 plays eighths."""
    for analysis in heard:
        stride = sum(x.end - x.start for x in analysis.textures if x.texture == "stride")
        assert stride / analysis.score.end > 0.5, analysis.score.title
        assert {str(x.thumb_beat) for x in analysis.textures} == {"1/2"}, analysis.score.title


def test_the_form_of_the_maple_leaf_rag(heard: list[Analysis]) -> None:
    """AA BB A CC DD, sixteen bars each after a pick-up (from memory)."""
    analysis = next(x for x in heard if x.score.file == "joplins_maple.mid")
    assert "".join(section.letter for section in analysis.sections) == "AABBACCDD"
    assert {x.last - x.first + 1 for x in analysis.sections[1:]} == {16}


def test_the_form_of_the_entertainer(heard: list[Analysis]) -> None:
    """Introduction, AA BB A CC, a four-bar interlude, DD (from memory)."""
    analysis = next(x for x in heard if x.score.file == "joplins_entertainer.mid")
    form = [(section.letter, section.last - section.first + 1) for section in analysis.sections]
    strains = [("A", 16)] * 2 + [("B", 16)] * 2 + [("A", 16)] + [("C", 16)] * 2
    assert form == [("Intro", 4), *strains, ("D", 4), ("E", 16), ("E", 16)]
