"""Guitar studies that their composers put in order, fingered; for the benches of difficulty.

Open data: ``guitar/`` under ``$ARRANGER_DATA`` or ``../shared/data``, with onset, length and
pitch of every note. It says neither meter nor tempo: bars are taken as 4/4, and all pieces at
one rate of strokes. A collection is progressive where its title page says so or the trade
takes it so. Standing, 1 to 3, is what the trade says of a collection as a whole (common
practice, no source): 1 first pieces, 2 studies of the middle grades, 3 advanced studies and
concert pieces. Collections of doubtful standing are left out, such as Giuliani op. 100: its
title says easy (from memory), and it is played among the middle grades.
"""

from __future__ import annotations

import os
import re
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil
from pathlib import Path
from typing import cast

from guitar_scores import GuitarScore, guitar_scores

from arranger.judge import usual_tempo
from arranger.music.arrangement import (
    ArrangedBar,
    Arrangement,
    LeftFinger,
    Placement,
    Proof,
    RightFinger,
)
from arranger.music.key import Key
from arranger.run.fingering import finger_notes

DATA = Path(os.environ.get("ARRANGER_DATA", Path(__file__).parents[3] / "shared" / "data"))
BAR = 4  # quarters
THUMB = 5  # the fretting thumb among the fingers 1 to 4

COLLECTIONS = {
    "Carcassi op. 60": r"carcassi-op60-(\d+)",
    "Giuliani op. 50": r"giuliani-op50n(\d+)",
    "Sor op. 35": r"sorf-op35-no(\d+)",
    "Carcassi op. 59, preludes": r"carcassimethodpreludes_s(\d+)",
    "Sor op. 6": r"sorf-op6n(\d+)",
    "Giuliani op. 15": r"giuliani-op15_s(\d+)",
}
PROGRESSIVE = (
    "Carcassi op. 60",
    "Giuliani op. 50",
    "Sor op. 35",
    "Carcassi op. 59, preludes",
)
STANDING = {
    "Giuliani op. 50": 1,
    "Sor op. 35": 1,
    "Carcassi op. 59, preludes": 1,
    "Carcassi op. 60": 2,
    "Sor op. 6": 3,
    "Giuliani op. 15": 3,
}


@dataclass(frozen=True, slots=True)
class Study:
    """A fingered piece and its place in its collection."""

    collection: str
    number: int
    arrangement: Arrangement


def studies() -> list[Study]:
    """Every study of the collections, in their order. Takes some minutes."""
    scores = [*guitar_scores(DATA, "labelled"), *guitar_scores(DATA, "plain")]
    return [
        Study(collection, int(number[1]), fingered(score))
        for collection, pattern in COLLECTIONS.items()
        for score in scores
        if (number := re.search(pattern, score.name))
    ]


def fingered(score: GuitarScore) -> Arrangement:
    """The score with both hands' fingers, at the usual rate of strokes.

    Grace notes before the first beat move everything, so that the piece begins at 0.
    """
    hands = finger_notes(score.notes, tuning=score.tuning)
    first = min(note.onset for note in hands.notes)
    notes = []
    for placed in hands.left.notes:
        written = hands.notes[placed.note]
        right = "pima"[hands.right[placed.note]]
        notes.append(
            Placement(
                onset=written.onset - first,
                length=placed.length,
                midi=written.midi,
                string=placed.string,
                fret=placed.fret,
                left="T" if placed.finger == THUMB else cast(LeftFinger, str(placed.finger)),
                right=cast(RightFinger, right),
                voice="bass" if right == "p" else "melody",
                bar=int((written.onset - first) // BAR) + 1,
            )
        )
    bars = ceil(max(note.end for note in notes) / BAR)
    whole = Arrangement(
        title=score.name,
        composer="",
        level="as written",
        file=score.name,
        sha256="",
        warnings=(),
        key=Key(0, "major"),
        transposed_by=0,
        capo=0,
        tuning=score.tuning,
        target_tempo=100.0,
        student_tempo=100.0,
        swing=1.0,
        written_scale=1,
        bars=tuple(_bar(number) for number in range(1, bars + 1)),
        chords=(),
        shapes=(),
        notes=tuple(sorted(notes, key=lambda note: (note.onset, -note.string))),
        dropped=(),
        decisions=(),
        proof=Proof(objective=0.0, bound=0.0, seconds=0.0),
    )
    tempo = usual_tempo(whole)
    return replace(whole, target_tempo=tempo, student_tempo=tempo)


def _bar(number: int) -> ArrangedBar:
    return ArrangedBar(
        bar=number,
        start=Fraction(BAR * (number - 1)),
        length=Fraction(BAR),
        beat=Fraction(1),
        written_bar=number,
        numerator=4,
        denominator=4,
        chord=None,
        same_as=None,
    )
