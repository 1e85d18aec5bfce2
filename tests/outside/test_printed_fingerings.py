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


def neighbours(semitones: int):
    """Pitch and finger of the lower and of the higher of two fretted notes in a row in one
    voice, so far apart, within a quarter, both with a printed finger.
    """
    for score in scores():
        for number in sorted({row["voice"] for row in score}):
            voice = [row for row in score if row["voice"] == number]
            for before, after in pairwise(voice):
                apart = float(after["onset_quarters"]) - float(before["onset_quarters"])
                low, high = sorted(
                    [(int(row["midi_pitch"]), row["left_finger"]) for row in (before, after)]
                )
                pressed = {low[1], high[1]} <= {"1", "2", "3", "4"}
                if pressed and 0 <= apart <= 1 and high[0] - low[0] == semitones:
                    yield low[0], int(low[1]), int(high[1])


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
def test_fingers_do_not_cross_under_their_neighbours() -> None:
    """What ``crossed`` of the fingering table is for: a fourth lies on neighbouring strings in
    one fret, and of two neighbouring fingers the lower string has the lower one.
    """
    steps = [upper - lower for _, lower, upper in neighbours(5)]
    crossed, straight = steps.count(-1), steps.count(1)
    assert straight >= 100
    assert crossed / (crossed + straight) <= 0.15


@pytest.mark.skipif(not LABELLED.is_dir(), reason="the open data is not at hand")
def test_fingers_go_with_the_frets() -> None:
    """What ``against`` of the fingering table is for: a semitone lies on one string, or on two
    with four frets between them, where the fingers do go the other way.
    """
    fingers = [(lower, upper) for _, lower, upper in neighbours(1)]
    against = [pair for pair in fingers if pair[1] < pair[0]]
    near = [pair for pair in against if pair[0] - pair[1] == 1]
    assert len(fingers) >= 300
    assert len(against) / len(fingers) <= 0.1
    assert len(near) / len(fingers) <= 0.02
