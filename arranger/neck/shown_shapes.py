"""Which shapes a student is shown: those that the tab lets the hand hold.

The model names a shape wherever it prices the hand by one, be it a bass note under a tune that
goes elsewhere. A diagram of that would have a student press what is never played.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Collection, Sequence

from arranger.music.arrangement import ChordMark, Placement, Shape
from arranger.tables.shapes import Shown, shown_table


def shown_shapes(
    shapes: Sequence[Shape],
    marks: Sequence[ChordMark],
    notes: Sequence[Placement],
    book: Collection[tuple[int | None, ...]] = (),
) -> tuple[tuple[Shape, ...], tuple[ChordMark, ...]]:
    """The shapes that are shown in the order in which they are met, and the marks anew.

    ``marks`` stand in order of time; one whose shape is not held keeps its name alone, and is
    left out where that name already stands. Shapes with the frets of the teacher's ``book``
    (string 6 first) are shown wherever the hand takes them: the teacher has the last word.
    """
    table = shown_table()
    order = sorted(notes, key=lambda note: note.onset)
    onsets = [note.onset for note in order]
    begins = [*(bisect_left(onsets, mark.onset) for mark in marks), len(order)]
    held: dict[int, int] = {}
    kept: list[tuple[ChordMark, int | None]] = []
    for number, mark in enumerate(marks):
        under = order[begins[number] : begins[number + 1]]
        place = mark.shape
        if place is not None and shapes[place].frets not in book:
            place = place if is_held(shapes[place], under, table) else None
        if place is not None:
            place = held.setdefault(place, len(held))
        if not kept or (kept[-1][0].name, kept[-1][1]) != (mark.name, place):
            kept.append((mark, place))
    return (
        tuple(shapes[index] for index in held),
        tuple(ChordMark(onset=m.onset, name=m.name, shape=place) for m, place in kept),
    )


def is_held(shape: Shape, notes: Sequence[Placement], table: Shown) -> bool:
    """Whether ``notes`` are played while the hand holds ``shape``.

    It is a chord to press, a finger of it plays, and most of the notes lie in it; or all its
    fingers play, whatever the tune does besides.
    """
    strings = zip(range(6, 0, -1), shape.frets, shape.fingers, strict=True)
    grip = {
        string: (fret, finger or "0") for string, fret, finger in strings if fret is not None
    }
    inside = [note for note in notes if grip.get(note.string) == (note.fret, note.left)]
    pressing = {note.string for note in inside if note.fret}
    most = len(inside) > table.share * len(notes)
    whole = len(pressing) == sum(1 for fret, _ in grip.values() if fret)
    return len(grip) >= table.strings and bool(pressing) and (most or whole)
