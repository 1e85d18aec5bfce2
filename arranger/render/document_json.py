"""``arrangement.json``: the arrangement for other programs, and the way back.

The shape is that of ``arrangement.schema.json``, against which every output is validated.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from fractions import Fraction
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any

from arranger.music.arrangement import (
    ArrangedBar,
    Arrangement,
    ChordMark,
    Dropped,
    Placement,
    Proof,
    Shape,
)
from arranger.music.errors import InternalFault, UnreadableInput
from arranger.music.key import parse_key
from arranger.music.lesson import Lesson
from arranger.music.score import SourceWarning
from arranger.music.verdict import Verdict

# What checks a document is imported where it does: it is slow to import, and a command that
# writes documents has a second process for this one.
# ruff: noqa: PLC0415
if TYPE_CHECKING:
    from jsonschema import Draft202012Validator
    from jsonschema.exceptions import ValidationError

SCHEMA_VERSION = 1

_METERS = {
    (Fraction(2), Fraction(1, 2)): (2, 4),
    (Fraction(3, 2), Fraction(3, 2)): (3, 8),
    (Fraction(3), Fraction(3, 2)): (6, 8),
    (Fraction(9, 2), Fraction(3, 2)): (9, 8),
    (Fraction(6), Fraction(3, 2)): (12, 8),
}
"""Meters that the length of a bar and the thumb's beat tell apart from n/4."""


def arrangement_json(arrangement: Arrangement, verdict: Verdict, lesson: Lesson) -> str:
    """The document as text.

    Raises
    ------
    InternalFault : it does not fit our own schema; a bug of ours.
    """
    document = as_document(arrangement, verdict, lesson)
    fault = _first_fault(document)
    if fault is not None:
        raise InternalFault(
            f"the arrangement does not fit its own schema: {fault.message}",
            where=f"arrangement.json, {fault.json_path}",
            next_step="Please report it together with the input file.",
        )
    return _laid_out(document)


def as_document(arrangement: Arrangement, verdict: Verdict, lesson: Lesson) -> dict[str, Any]:
    """The document as plain dictionaries and lists, keys in the order of the contract."""
    return {
        "schema": SCHEMA_VERSION,
        "title": arrangement.title,
        "level": arrangement.level,
        "source": {
            "file": arrangement.file,
            "sha256": arrangement.sha256,
            "warnings": [
                {"code": warning.code, "text": warning.text, "bar": warning.bar}
                for warning in arrangement.warnings
            ],
        },
        "key": arrangement.key.name,
        "transposed_by": arrangement.transposed_by,
        "capo": arrangement.capo,
        "tuning": list(arrangement.tuning),
        "tempo": {"target": arrangement.target_tempo, "student": arrangement.student_tempo},
        "swing": arrangement.swing,
        "written_scale": arrangement.written_scale,
        "bars": [_bar(bar) for bar in arrangement.bars],
        "shapes": [_shape(shape) for shape in arrangement.shapes],
        "notes": [_note(note) for note in arrangement.notes],
        **_judged(verdict),
        "proof": {
            "objective": arrangement.proof.objective,
            "bound": arrangement.proof.bound,
            "gap": arrangement.proof.gap,
            "seconds": arrangement.proof.seconds,
        },
        "lesson": _lesson(lesson),
        "dropped": [
            {"onset": str(lost.onset), "midi": lost.midi, "why": lost.why}
            for lost in arrangement.dropped
        ],
    }


def _bar(bar: ArrangedBar) -> dict[str, Any]:
    return {
        "bar": bar.bar,
        "start": str(bar.start),
        "length": str(bar.length),
        "beat": str(bar.beat),
        "written_bar": bar.written_bar,
        "chord": bar.chord,
        "same_as": bar.same_as,
        **({"ritardando": True} if bar.slows else {}),
    }


def _shape(shape: Shape) -> dict[str, Any]:
    return {
        "name": shape.name,
        "frets": list(shape.frets),
        "fingers": list(shape.fingers),
        "barre": shape.barre,
    }


def _note(note: Placement) -> dict[str, Any]:
    return {
        "onset": str(note.onset),
        "length": str(note.length),
        "midi": note.midi,
        "string": note.string,
        "fret": note.fret,
        "left": note.left,
        "right": note.right,
        "voice": note.voice,
        "bar": note.bar,
        "slur": note.slur,
        "from": list(note.source),
    }


def _judged(verdict: Verdict) -> dict[str, Any]:
    difficulty, fidelity = verdict.difficulty, verdict.fidelity
    return {
        "difficulty": {
            "score": difficulty.score,
            "low": difficulty.low,
            "high": difficulty.high,
            "band": difficulty.band,
            "bars": [
                {"bar": bar.bar, "points": bar.points, "features": dict(bar.features)}
                for bar in difficulty.bars
            ],
            "reasons": [
                {"bar": reason.bar, "what": reason.what, "points": reason.points}
                for reason in difficulty.reasons
            ],
        },
        "fidelity": {
            "melody_kept": fidelity.melody_kept,
            "grid_fidelity": fidelity.grid_fidelity,
            "contour_breaks": fidelity.contour_breaks,
            "bass_roots": fidelity.bass_roots,
            "thirds": fidelity.thirds,
            "thumb_beats": fidelity.thumb_beats,
            "alternation": fidelity.alternation,
        },
    }


def _lesson(lesson: Lesson) -> list[dict[str, Any]]:
    return [
        {
            "kind": step.kind,
            "title": step.title,
            "text": step.text,
            "bars": list(step.bars),
            "shapes": list(step.shapes),
            "tempo": step.tempo,
        }
        for step in lesson.steps
    ]


def _laid_out(document: Mapping[str, Any]) -> str:
    """One line for each bar, shape or note, so that two versions can be compared by eye."""
    lines = []
    for key, value in document.items():
        if isinstance(value, list) and value and isinstance(value[0], dict):
            items = ",\n".join(f"    {_one_line(item)}" for item in value)
            lines.append(f"  {json.dumps(key)}: [\n{items}\n  ]")
        else:
            lines.append(f"  {json.dumps(key)}: {_one_line(value)}")
    return "{\n" + ",\n".join(lines) + "\n}\n"


def _one_line(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


@cache
def schema_validator() -> Draft202012Validator:
    """The validator of the shipped schema."""
    from jsonschema import Draft202012Validator

    text = resources.files(__package__).joinpath("arrangement.schema.json").read_text("utf-8")
    schema = json.loads(text)
    return Draft202012Validator(_spelt_out(schema, schema.get("$defs", {})))


def _spelt_out(schema: Any, definitions: Mapping[str, Any]) -> Any:
    """The schema with its own definitions put where they are named: each look-up of a name
    costs as much as the check itself, and a piece has thousands of notes.
    """
    if isinstance(schema, list):
        return [_spelt_out(item, definitions) for item in schema]
    if not isinstance(schema, dict):
        return schema
    name = schema.get("$ref")
    if isinstance(name, str) and len(schema) == 1:
        return _spelt_out(definitions[name.removeprefix("#/$defs/")], definitions)
    return {key: _spelt_out(value, definitions) for key, value in schema.items()}


def _first_fault(document: object) -> ValidationError | None:
    from jsonschema.exceptions import best_match

    fault: ValidationError | None = best_match(schema_validator().iter_errors(document))
    return fault


def arrangement_from_json(text: str) -> tuple[Arrangement, ...]:
    """The arrangements in the text of an ``arrangement.json``: one, or a list of them.

    The document holds what is played, not everything that was known: the composer and the
    decisions come back empty, chord names stand at bar lines, and the meter is the one that
    the bar's length and the thumb's beat suggest.

    Raises
    ------
    UnreadableInput : the text is not JSON, or not this kind of document.
    """
    try:
        data = json.loads(text, parse_constant=_refuse)
    except (ValueError, RecursionError) as error:
        raise UnreadableInput(
            "this is not JSON",
            where=_place(error),
            next_step="Give the arrangement.json that the arrange command wrote.",
        ) from error
    documents = data if isinstance(data, list) else [data]
    if not documents:
        raise UnreadableInput("the file holds no arrangement", where="arrangement.json")
    return tuple(_read(document) for document in documents)


def _refuse(constant: str) -> None:
    raise ValueError(f"{constant} is not a number in JSON")


def _place(error: Exception) -> str:
    if isinstance(error, json.JSONDecodeError):
        return f"line {error.lineno}, column {error.colno}"
    return "the whole file"


def _read(document: Any) -> Arrangement:
    fault = _first_fault(document)
    if fault is not None:
        raise UnreadableInput(
            f"this is not an arrangement of ours: {fault.message[:200]}",
            where=f"arrangement.json, {fault.json_path}",
            next_step="Give the arrangement.json that the arrange command wrote.",
        )
    bars = _read_bars(document["bars"])
    shapes = tuple(_read_shape(shape) for shape in document["shapes"])
    return Arrangement(
        title=document["title"],
        composer="",
        level=document["level"],
        file=document["source"]["file"],
        sha256=document["source"]["sha256"],
        warnings=tuple(SourceWarning(**warning) for warning in document["source"]["warnings"]),
        key=parse_key(document["key"]),
        transposed_by=document["transposed_by"],
        capo=document["capo"],
        tuning=tuple(document["tuning"]),
        target_tempo=document["tempo"]["target"],
        student_tempo=document["tempo"]["student"],
        swing=document["swing"],
        written_scale=document["written_scale"],
        bars=bars,
        chords=_read_chords(bars, shapes),
        shapes=shapes,
        notes=_read_notes(document, bars),
        dropped=tuple(
            Dropped(onset=Fraction(lost["onset"]), midi=lost["midi"], why=lost["why"])
            for lost in document["dropped"]
        ),
        decisions=(),
        proof=Proof(
            objective=document["proof"]["objective"],
            bound=document["proof"]["bound"],
            seconds=document["proof"]["seconds"],
        ),
    )


def _read_bars(documents: Sequence[Mapping[str, Any]]) -> tuple[ArrangedBar, ...]:
    bars: list[ArrangedBar] = []
    longest = max(Fraction(bar["length"]) for bar in documents)
    for bar in documents:
        start, length = Fraction(bar["start"]), Fraction(bar["length"])
        if start != (bars[-1].end if bars else 0):
            raise UnreadableInput(
                f"bar {bar['bar']} does not begin where the bar before it ends",
                where="arrangement.json, bars",
            )
        # A pick-up is short: it has the meter of the bars that follow.
        full = longest if not bars and len(documents) > 1 else length
        numerator, denominator = _meter(full, Fraction(bar["beat"]))
        bars.append(
            ArrangedBar(
                bar=bar["bar"],
                start=start,
                length=length,
                beat=Fraction(bar["beat"]),
                written_bar=bar["written_bar"],
                numerator=numerator,
                denominator=denominator,
                chord=bar["chord"],
                same_as=bar["same_as"],
                slows=bar.get("ritardando", False),
            )
        )
    return tuple(bars)


def _meter(length: Fraction, beat: Fraction) -> tuple[int, int]:
    """``(2, 4)`` for two quarters with a thumb on eighths; ``(6, 8)`` for dotted beats."""
    if (length, beat) in _METERS:
        return _METERS[length, beat]
    return length.numerator, 4 * length.denominator


def _read_shape(shape: Mapping[str, Any]) -> Shape:
    return Shape(
        name=shape["name"],
        frets=tuple(shape["frets"]),
        fingers=tuple(shape["fingers"]),
        barre=shape["barre"],
    )


def _read_chords(bars: Sequence[ArrangedBar], shapes: Sequence[Shape]) -> tuple[ChordMark, ...]:
    """A chord name at each bar that names one, with the first shape of that name."""
    named: dict[str, int] = {}
    for index, shape in enumerate(shapes):
        named.setdefault(shape.name, index)
    return tuple(
        ChordMark(onset=bar.start, name=bar.chord, shape=named.get(bar.chord))
        for bar in bars
        if bar.chord is not None
    )


def _read_notes(
    document: Mapping[str, Any], bars: Sequence[ArrangedBar]
) -> tuple[Placement, ...]:
    notes = [_read_note(note, document) for note in document["notes"]]
    for note in notes:
        if note.onset >= bars[-1].end:
            raise UnreadableInput(
                f"a note begins at {note.onset}, after the last bar has ended",
                where=f"arrangement.json, bar {note.bar}",
                next_step="Correct the note's onset or add the bar.",
            )
    return tuple(sorted(notes, key=lambda note: (note.onset, -note.string)))


def _read_note(note: Mapping[str, Any], document: Mapping[str, Any]) -> Placement:
    """A note; its pitch must be what its string and fret sound."""
    sounds = document["tuning"][note["string"] - 1] + document["capo"] + note["fret"]
    if note["midi"] != sounds:
        raise UnreadableInput(
            f"string {note['string']} at fret {note['fret']} sounds {sounds}, "
            f"but the note says {note['midi']}",
            where=f"arrangement.json, bar {note['bar']}",
            next_step="Correct the note's midi, string or fret.",
        )
    return Placement(
        onset=Fraction(note["onset"]),
        length=Fraction(note["length"]),
        midi=note["midi"],
        string=note["string"],
        fret=note["fret"],
        left=note["left"],
        right=note["right"],
        voice=note["voice"],
        bar=note["bar"],
        slur=note["slur"],
        source=tuple(note["from"]),
    )
