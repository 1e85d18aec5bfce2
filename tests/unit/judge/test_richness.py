"""How rich an arrangement is, counted by hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from faithful import ALL_HEARD
from test_fidelity import analysis_of

from arranger.judge import richness
from arranger.music.arrangement import Arrangement
from arranger.tables.richness import richness_weights

# A tune in beats 1 to 3, a bass and two inner notes under it, on beats 1 and 3.
HEARD = analysis_of("0 1 72, 1 1 71, 2 2 74", "0 2 48, 0 2 52, 2 2 55, 2 2 59")
SOURCE = replace(
    HEARD, bass=tuple(note.index for note in HEARD.score.notes if note.midi in {48, 55})
)
BOTH = """
0 2 bass 5 3 3 p
0 2 inner 4 2 2 i
0 1 melody 2 1 1 m
1 1 melody 2 0 0 i
2 2 bass 6 3 3 p
2 2 inner 3 0 0 i
2 2 melody 2 3 4 m
"""


def without_inner(text: str, count: int) -> str:
    lines = [line for line in text.splitlines() if line]
    for line in [line for line in lines if "inner" in line][:count]:
        lines.remove(line)
    return "\n".join(lines)


def test_all_that_is_kept_is_all(piece: Callable[..., Arrangement]) -> None:
    assert richness(piece(BOTH), SOURCE, ALL_HEARD) == pytest.approx(1.0)


@pytest.mark.parametrize("gone", [1, 2])
def test_inner_notes_count_by_the_moments_that_have_one(
    gone: int, piece: Callable[..., Arrangement]
) -> None:
    thin = piece(without_inner(BOTH, gone))
    lost = richness_weights().inner * gone / 2
    assert richness(thin, SOURCE, ALL_HEARD) == pytest.approx(1.0 - lost)


def test_a_source_without_inner_notes_misses_none(piece: Callable[..., Arrangement]) -> None:
    bass = tuple(note.index for note in HEARD.score.notes if note.hand == "left")
    thin = piece(without_inner(BOTH, 2))
    assert richness(thin, replace(HEARD, bass=bass), ALL_HEARD) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("share", "weight"),
    [
        ("melody_kept", "melody_kept"),
        ("contour_breaks", "direction"),  # what is turned is lost
        ("bass_roots", "bass_roots"),
        ("thirds", "thirds"),
        ("thumb_beats", "thumb_beats"),
    ],
)
def test_each_share_counts_its_weight(
    share: str, weight: str, piece: Callable[..., Arrangement]
) -> None:
    half = replace(ALL_HEARD, **{share: 0.5})
    lost = getattr(richness_weights(), weight) / 2
    assert richness(piece(BOTH), SOURCE, half) == pytest.approx(1.0 - lost)


def test_the_tune_counts_most() -> None:
    weights = richness_weights().model_dump()
    assert max(weights, key=lambda name: weights[name]) == "melody_kept"
    assert sum(weights.values()) == pytest.approx(1.0)
