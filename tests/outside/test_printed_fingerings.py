"""The judge accepts chords as editors of guitar music have fingered them.

Source: published guitar scores in standard tuning with printed left-hand fingers
(``guitar/labelled`` of the open data, each with its origin in SOURCES.csv there). Where
no string is printed any string will do. Some labels are misprints or were assigned to the
wrong note of a chord, hence a share and not all. Skipped when the data is not at hand.
"""

from __future__ import annotations

import csv
import os
from itertools import product
from pathlib import Path

import pytest

from arranger.judge import any_hand, hand_faults
from arranger.tables import load
from arranger.tables.player import Reaches

DATA = Path(
    os.environ.get("ARRANGER_DATA", Path(__file__).parents[2].parent / "shared" / "data")
)
LABELLED = DATA / "guitar" / "labelled"
TUNING = (64, 59, 55, 50, 45, 40)


def chords():
    """Notes that start together, all with a printed finger: (midi, finger, string or "")."""
    with (DATA / "SOURCES.csv").open(encoding="utf-8", newline="") as sources:
        standard = {
            Path(row["file"]).name
            for row in csv.DictReader(sources)
            if row["tuning"] == "standard"
        }
    for path in sorted(LABELLED.glob("*.csv")):
        if path.name not in standard:
            continue
        onsets: dict[str, list[dict[str, str]]] = {}
        with path.open(encoding="utf-8", newline="") as score:
            for row in csv.DictReader(score):
                if row["harmonic"] != "1" and row["grace"] != "1":
                    onsets.setdefault(row["onset_quarters"], []).append(row)
        for rows in onsets.values():
            if len(rows) > 1 and all(row["left_finger"] for row in rows):
                yield [
                    (int(row["midi_pitch"]), row["left_finger"], row["string"]) for row in rows
                ]


def playable(chord, limits) -> bool:
    """Whether the judge accepts the chord on some strings."""
    places = [
        [
            (string, midi - TUNING[string - 1], finger)
            for string in range(1, 7)
            if printed in ("", str(string))
            and 0 <= midi - TUNING[string - 1] <= 19
            and (midi == TUNING[string - 1]) == (finger == "0")
        ]
        for midi, finger, printed in chord
    ]
    for choice in product(*places):
        grip = {string: (fret, finger) for string, fret, finger in choice}
        if len(grip) < len(choice):
            continue
        spots = [grip.get(string, (None, None)) for string in range(6, 0, -1)]
        if not hand_faults([s[0] for s in spots], [s[1] for s in spots], limits=limits):
            return True
    return False


@pytest.mark.skipif(not LABELLED.is_dir(), reason="the open data is not at hand")
def test_printed_fingerings_are_grips():
    """Computed: 902 of 921 by a large hand; what is left is mostly two notes on one string."""
    limits = any_hand(load("reach", Reaches).large)
    printed = list(chords())
    assert len(printed) > 900
    assert sum(playable(chord, limits) for chord in printed) / len(printed) >= 0.975
