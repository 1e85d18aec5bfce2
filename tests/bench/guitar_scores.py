"""Guitar scores of the open data, with what their editors printed."""

from __future__ import annotations

import csv
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from arranger.music.written_note import WrittenNote
from arranger.read.table import reading_table

STANDARD = (64, 59, 55, 50, 45, 40)
DROP_D = (64, 59, 55, 50, 45, 38)
GRACE = Fraction(reading_table().page.grace)
ROMAN = {"I": 1, "V": 5, "X": 10}


@dataclass(frozen=True)
class Label:
    string: int | None
    explicit: bool
    open_string: bool
    left: int | None
    right: str | None
    position: int | None
    barre: bool


@dataclass(frozen=True)
class GuitarScore:
    name: str
    tuning: tuple[int, ...]
    solo: bool
    notes: tuple[WrittenNote, ...]
    labels: tuple[Label, ...]


def roman(text: str) -> int | None:
    numeral = "".join(c for c in text if c in ROMAN)
    values = [ROMAN[c] for c in numeral]
    pairs = zip(values, [*values[1:], 0], strict=True)
    return sum(-one if one < other else one for one, other in pairs) or None


def _label(row: dict[str, str]) -> Label:
    source = row["string_source"]
    said = source in ("explicit", "open0")
    left = int(row["left_finger"]) if row["left_finger"] in set("01234") else None
    right = row["right_finger"] if row["right_finger"] in ("p", "i", "m", "a") else None
    position = row["position"] or row["barre"]
    return Label(
        string=int(row["string"]) if said and row["string"] else None,
        explicit=source == "explicit",
        open_string=source == "open0",
        left=left,
        right=right,
        position=roman(position) if position else None,
        barre=bool(row["barre"]) or row["position"][:1] in ("b", "B"),
    )


def guitar_score(path: Path, tuning: str, instrument: str) -> GuitarScore:
    with path.open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["harmonic"] == "0"]
    found: dict[tuple[Fraction, int], tuple[WrittenNote, Label]] = {}
    graces: dict[Fraction, int] = {}
    for row in reversed(rows):
        onset = Fraction(row["onset_quarters"]).limit_denominator(960)
        length = Fraction(row["duration_quarters"]).limit_denominator(960)
        if length == 0 or row["grace"] != "0":
            graces[onset] = graces.get(onset, 0) + 1
            onset, length = onset - GRACE * graces[onset], GRACE
        note = WrittenNote(
            onset=onset, length=length, midi=int(row["midi_pitch"]), voice=int(row["voice"])
        )
        label = _label(row)
        known = found.get((onset, note.midi))
        if known is not None:
            longer = max(note.length, known[0].length)
            note = replace(note, length=longer, voice=max(note.voice, known[0].voice))
            if label.left is None and label.string is None:
                label = known[1]
        found[onset, note.midi] = note, label
    order = sorted(found, key=lambda key: (key[0], -key[1]))
    return GuitarScore(
        name=path.stem,
        tuning=DROP_D if tuning == "dropD" else STANDARD,
        solo=instrument.lower() in ("guitar", "classical guitar"),
        notes=tuple(found[key][0] for key in order),
        labels=tuple(found[key][1] for key in order),
    )


def guitar_scores(data: Path, folder: str) -> list[GuitarScore]:
    """Every score of ``folder`` (labelled or plain), by name."""
    with (data / "SOURCES.csv").open(encoding="utf-8") as file:
        sources = {row["file"]: row for row in csv.DictReader(file)}
    found = []
    for path in sorted((data / "guitar" / folder).glob("*.csv")):
        row = sources.get(f"guitar/{folder}/{path.name}")
        if row and row["tuning"] in ("standard", "dropD"):
            found.append(guitar_score(path, row["tuning"], row["instrument"]))
    return found
