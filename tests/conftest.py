"""A small arrangement from lines that a guitarist can read, for tests of several rooms."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from math import ceil
from typing import cast

import pytest

from arranger.music.arrangement import (
    ArrangedBar,
    Arrangement,
    ChordMark,
    LeftFinger,
    Placement,
    Proof,
    RightFinger,
    Shape,
    Slur,
    Voice,
)
from arranger.music.key import parse_key

STANDARD = (64, 59, 55, 50, 45, 40)


def arrangement_of(
    lines: str,
    *,
    level: str = "beginner",
    key: str = "C",
    capo: int = 0,
    tempo: float = 60.0,
    meter: tuple[int, int] = (4, 4),
    beat: Fraction = Fraction(1),
    shapes: Sequence[Shape] = (),
    chords: Sequence[ChordMark] = (),
    sections: dict[int, str] | None = None,
) -> Arrangement:
    """One note a line: ``onset length voice string fret left right [slur]``.

    Bars of ``meter`` are numbered from 1 and reach as far as the notes do. Lines that
    are empty or begin with # are skipped. ``sections``: letter by the bar it begins in.
    """
    rows = [line.split() for line in lines.splitlines() if line.strip(" |")]
    length = Fraction(4 * meter[0], meter[1])
    notes = []
    for row in (row for row in rows if row[0] != "#"):
        onset, string, fret = Fraction(row[0]), int(row[3]), int(row[4])
        notes.append(
            Placement(
                onset=onset,
                length=Fraction(row[1]),
                midi=STANDARD[string - 1] + capo + fret,
                string=string,
                fret=fret,
                left=cast(LeftFinger, row[5]),
                right=cast(RightFinger, row[6]),
                voice=cast(Voice, row[2]),
                bar=int(onset // length) + 1,
                slur=cast(Slur, row[7]) if len(row) > 7 else None,
            )
        )
    notes.sort(key=lambda note: (note.onset, -note.string))
    count = max(1, ceil(max((note.end for note in notes), default=length) / length))
    bars = tuple(
        ArrangedBar(
            bar=number,
            start=(number - 1) * length,
            length=length,
            beat=beat,
            written_bar=number,
            numerator=meter[0],
            denominator=meter[1],
            chord=None,
            same_as=None,
            section=(sections or {}).get(number),
        )
        for number in range(1, count + 1)
    )
    return Arrangement(
        title="A test",
        composer="",
        level=level,
        file="test.mid",
        sha256="",
        warnings=(),
        key=parse_key(key),
        transposed_by=0,
        capo=capo,
        tuning=STANDARD,
        target_tempo=tempo,
        student_tempo=tempo,
        swing=1.0,
        written_scale=1,
        bars=bars,
        chords=tuple(chords),
        shapes=tuple(shapes),
        notes=tuple(notes),
        dropped=(),
        decisions=(),
        proof=Proof(objective=0.0, bound=0.0, seconds=0.0),
    )


@pytest.fixture(scope="session")
def piece() -> Callable[..., Arrangement]:
    """``arrangement_of``, see there."""
    return arrangement_of


@pytest.fixture(scope="session")
def swap() -> Callable[..., Arrangement]:
    """The arrangement with fields of one note replaced: ``swap(piece, 3, fret=2)``."""

    def change(arrangement: Arrangement, index: int, **fields: object) -> Arrangement:
        notes = list(arrangement.notes)
        notes[index] = replace(notes[index], **fields)  # type: ignore[arg-type]
        return replace(arrangement, notes=tuple(notes))

    return change
