"""The judge accepts chord shapes as published.

Source: an open chord collection (2,069 shapes with fingers; ``chords/`` of the open data,
its origin in SOURCES.csv there). Shapes that contradict themselves are listed beside it
and left out. Skipped when the open data is not at hand.
"""

from __future__ import annotations

import json
import os
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from arranger.judge import any_hand, hand_faults
from arranger.judge.grip import Press, apart, holds
from arranger.tables import load
from arranger.tables.player import Reaches

DATA = Path(
    os.environ.get("ARRANGER_DATA", Path(__file__).parents[2].parent / "shared" / "data")
)
CHORDS = DATA / "chords"

# Largest stretches among the shapes, 99.5th percentile, mm: computed on the same data.
LARGEST = {"12": 72.0, "13": 93.0, "14": 103.0, "23": 60.0, "24": 74.0, "34": 65.0}


def published():
    """Every shape as (name, frets, fingers), self-contradictory ones left out."""
    shapes = json.loads((CHORDS / "chords-db_guitar.json").read_text("utf-8"))
    inconsistent = {
        (key, suffix, tuple(frets), tuple(fingers), base)
        for key, suffix, frets, fingers, base, *_ in json.loads(
            (CHORDS / "chords-db_inconsistent.json").read_text("utf-8")
        )
    }
    for key, chords in shapes["chords"].items():
        for chord in chords:
            for position in chord["positions"]:
                frets, fingers = tuple(position["frets"]), tuple(position["fingers"])
                base = position["baseFret"]
                if (key, chord["suffix"], frets, fingers, base) in inconsistent:
                    continue
                yield (
                    f"{key} {chord['suffix']}",
                    tuple(None if fret < 0 else fret and fret + base - 1 for fret in frets),
                    tuple(str(finger) if finger else None for finger in fingers),
                )


at_hand = pytest.mark.skipif(not CHORDS.is_dir(), reason="the open data is not at hand")


@at_hand
def test_published_shapes_are_accepted():
    """At least 98.5 % by a large hand; none of them fails on reach."""
    limits = any_hand(load("reach", Reaches).large)
    shapes = list(published())
    refused = [
        (name, faults)
        for name, frets, fingers in shapes
        if (faults := hand_faults(frets, fingers, limits=limits))
    ]
    assert len(shapes) > 2000
    assert 1 - len(refused) / len(shapes) >= 0.985, refused
    assert not [name for name, faults in refused if faults[0].rule == "within reach"]


@at_hand
def test_stretches_are_measured_as_published():
    """Our mm agree with the published percentiles, to 4 mm.

    They were measured to another string of a barre than the nearest, hence the margin.
    """
    limits = any_hand(load("reach", Reaches).large)
    stretches: dict[str, list[float]] = {pair: [] for pair in LARGEST}
    for _, frets, fingers in published():
        strings = zip(range(6, 0, -1), frets, fingers, strict=True)
        grip = [Press(s, fret, finger or "0") for s, fret, finger in strings if fret]
        for one, other in combinations(holds(grip), 2):
            if one.finger != other.finger:
                pair = one.finger + other.finger
                stretches[pair].append(apart(one, other, limits))
    for pair, most in LARGEST.items():
        assert np.percentile(stretches[pair], 99.5) == pytest.approx(most, abs=4.0)
