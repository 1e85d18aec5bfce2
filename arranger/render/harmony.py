"""Chord symbols of the score, with the shape as a fretboard frame."""

from __future__ import annotations

from collections.abc import Sequence

from lxml import etree

from arranger.music.arrangement import ChordMark, Shape
from arranger.render.barre import barre_columns, barre_span
from arranger.render.spelling import ChordName, parse_chord_name, step_and_alter
from arranger.render.xml_text import clean, sub

_KINDS = {
    "": "major",
    "m": "minor",
    "7": "dominant",
    "m7": "minor-seventh",
    "maj7": "major-seventh",
    "6": "major-sixth",
    "m6": "minor-sixth",
    "dim": "diminished",
    "dim7": "diminished-seventh",
    "m7b5": "half-diminished",
    "aug": "augmented",
    "sus4": "suspended-fourth",
    "sus2": "suspended-second",
    "7sus4": "suspended-fourth",
    "9": "dominant-ninth",
    "5": "power",
}
"""Names of chord qualities in MusicXML (kind-value of the 4.0 schema)."""

_FRAME_FRETS = 4


def harmony(
    mark: ChordMark, shapes: Sequence[Shape], *, offset: int, staff: int
) -> etree._Element:
    """The ``harmony`` element of a chord mark; ``offset`` in divisions."""
    element = etree.Element("harmony")
    name = parse_chord_name(mark.name)
    _root(element, name)
    _kind(element, name, mark.name)
    if name and name.bass is not None:
        _note(sub(element, "bass"), "bass", name.bass)
    if name and name.quality == "7sus4":
        degree = sub(element, "degree")
        degree.set("print-object", "no")
        sub(degree, "degree-value", "7")
        sub(degree, "degree-alter", "-1")
        sub(degree, "degree-type", "add")
    if mark.shape is not None:
        _frame(element, shapes[mark.shape])
    if offset:
        sub(element, "offset", str(offset))
    sub(element, "staff", str(staff))
    return element


def _root(element: etree._Element, name: ChordName | None) -> None:
    root = sub(element, "root")
    if name is None:
        sub(root, "root-step", "C").set("text", "")
    else:
        _note(root, "root", name.root)


def _note(parent: etree._Element, what: str, place: int) -> None:
    step, alter = step_and_alter(place)
    sub(parent, f"{what}-step", step)
    if alter:
        sub(parent, f"{what}-alter", str(alter))


def _kind(element: etree._Element, name: ChordName | None, text: str) -> None:
    if name is None:
        sub(element, "kind", "none").set("text", clean(text))
    elif name.quality is None:
        sub(element, "kind", "other").set("text", clean(text))
    else:
        sub(element, "kind", _KINDS[name.quality]).set("text", name.quality)


def _frame(element: etree._Element, shape: Shape) -> None:
    """Six strings and at least four frets; a muted string has no note."""
    pressed = [fret for fret in shape.frets if fret]
    top = 1 if max(pressed, default=0) <= _FRAME_FRETS else min(pressed)
    frame = sub(element, "frame")
    sub(frame, "frame-strings", "6")
    sub(frame, "frame-frets", str(max(_FRAME_FRETS, max(pressed, default=0) - top + 1)))
    if top > 1:
        sub(frame, "first-fret", str(top))
    lying = barre_columns(shape) if barre_span(shape) > 1 else ()
    for index, (fret, finger) in enumerate(zip(shape.frets, shape.fingers, strict=True)):
        if fret is None:
            continue
        note = sub(frame, "frame-note")
        sub(note, "string", str(6 - index))
        sub(note, "fret", str(fret))
        if finger:
            sub(note, "fingering", finger)
        if lying and index in (lying[0], lying[-1]):
            sub(note, "barre", type="start" if index == lying[0] else "stop")
