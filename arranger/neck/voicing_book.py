"""The teacher's voicing book: shapes that have the last word wherever their chord occurs."""

from __future__ import annotations

from itertools import product

from arranger.music.chord import Chord
from arranger.music.errors import UsageError
from arranger.music.marks import Voicing
from arranger.neck.reach import THUMB, HandRules, Press
from arranger.tables.shapes import ChordShape

NAMES = ("1", "2", "3", "4", "T")


def book_shapes(
    voicings: tuple[Voicing, ...], rules: HandRules
) -> dict[tuple[int, str], ChordShape]:
    """The book's shapes by (root, quality), each with fingers.

    Raises
    ------
    UsageError : this student's hand cannot hold a voicing; says which rule is against it.
    """
    return {(voicing.root, voicing.quality): _shape(voicing, rules) for voicing in voicings}


def from_book(
    book: dict[tuple[int, str], ChordShape], chord: Chord | None
) -> ChordShape | None:
    """The book's shape for ``chord``, whatever its bass."""
    return None if chord is None else book.get((chord.root, chord.quality))


def _shape(voicing: Voicing, rules: HandRules) -> ChordShape:
    fingers = voicing.fingers or _fingered(voicing.frets, rules)
    shape = None
    if fingers is not None:
        shape = ChordShape(voicing.root, voicing.quality, voicing.frets, fingers, grade=1)
    if shape is None or not rules.allows_shape(shape):
        shorthand = "".join("x" if fret is None else str(fret) for fret in voicing.frets)
        raise UsageError(
            f"the voicing {voicing.name} = {shorthand} of the marks file cannot be held by"
            " this student: no fingers are within the level's frets, barres and reach",
            where="voicings",
            next_step="Give another voicing or level, or a player file with the technique.",
        )
    return shape


def _fingered(frets: tuple[int | None, ...], rules: HandRules) -> tuple[str | None, ...] | None:
    """The cheapest fingers for a voicing that comes without any, or None."""
    pressed = [(6 - place, fret) for place, fret in enumerate(frets) if fret]
    opened: list[Press] = [(6 - place, 0, 0) for place, fret in enumerate(frets) if fret == 0]
    best: tuple[float, tuple[int, ...]] | None = None
    for fingers in product((1, 2, 3, 4, THUMB), repeat=len(pressed)):
        presses = [(*spot, finger) for spot, finger in zip(pressed, fingers, strict=True)]
        cost = rules.hold([*opened, *presses])
        if cost is not None and (best is None or (cost, fingers) < best):
            best = cost, fingers
    if best is None:
        return None
    by_string = {string: finger for (string, _), finger in zip(pressed, best[1], strict=True)}
    return tuple(
        NAMES[by_string[6 - place] - 1] if 6 - place in by_string else None
        for place in range(6)
    )
