"""The judge accepts chords as editors of guitar music have fingered them.

Source: published guitar scores in standard tuning with printed left-hand fingers
(``guitar/labelled`` of the open data, each with its origin in SOURCES.csv there). Where
no string is printed any string will do. Some labels are misprints or were assigned to the
wrong note of a chord, hence a share and not all. Skipped when the data is not at hand.
"""

from __future__ import annotations

import csv
import os
from itertools import pairwise, product
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
DEEP = 50
"""MIDI number: D3, the fifth fret of string 5."""


def scores():
    """The notes of every score in standard tuning, as the file has them."""
    with (DATA / "SOURCES.csv").open(encoding="utf-8", newline="") as sources:
        standard = {
            Path(row["file"]).name
            for row in csv.DictReader(sources)
            if row["tuning"] == "standard"
        }
    for path in sorted(LABELLED.glob("*.csv")):
        if path.name in standard:
            with path.open(encoding="utf-8", newline="") as score:
                yield [
                    row
                    for row in csv.DictReader(score)
                    if row["harmonic"] != "1" and row["grace"] != "1"
                ]


def chords():
    """Notes that start together, all with a printed finger: (midi, finger, string or "")."""
    for score in scores():
        onsets: dict[str, list[dict[str, str]]] = {}
        for row in score:
            onsets.setdefault(row["onset_quarters"], []).append(row)
        for rows in onsets.values():
            if len(rows) > 1 and all(row["left_finger"] for row in rows):
                yield [
                    (int(row["midi_pitch"]), row["left_finger"], row["string"]) for row in rows
                ]


def bass_fourths():
    """Fingers of the lower and the higher of two bass notes in a row, a fourth apart: on
    neighbouring bass strings they lie in one fret.
    """
    for score in scores():
        for number in {row["voice"] for row in score}:
            voice = [row for row in score if row["voice"] == number]
            for pair in pairwise(voice):
                low, high = sorted(pair, key=lambda row: int(row["midi_pitch"]))
                pitches = int(low["midi_pitch"]), int(high["midi_pitch"])
                fingers = low["left_finger"], high["left_finger"]
                fourth = pitches[1] - pitches[0] == 5 and pitches[1] <= DEEP
                if fourth and all(finger in {"1", "2", "3", "4"} for finger in fingers):
                    yield int(fingers[0]), int(fingers[1])


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


@pytest.mark.skipif(not LABELLED.is_dir(), reason="the open data is not at hand")
def test_fingers_do_not_cross_under_their_neighbours_in_the_bass() -> None:
    """What ``crossed`` of the fingering table is for."""
    pairs = list(bass_fourths())
    crossed = [pair for pair in pairs if pair[0] == pair[1] + 1]
    assert len(pairs) >= 20
    assert len(crossed) / len(pairs) <= 0.15
