"""Musical time: exact fractions of a quarter note, never floats."""

from __future__ import annotations

from fractions import Fraction

Beat = Fraction
"""A point or a length in musical time, in quarter notes of the source as played."""

_LONGEST = 24
"""Characters of a number of beats; ``1e9`` is none, or a few letters would fill the memory."""


def beats_of(text: str) -> Beat:
    """The number of beats that ``text`` says: ``2``, ``2.5`` or ``5/2``.

    Raises
    ------
    ValueError : it says none, or one that no music needs.
    ZeroDivisionError : it divides by zero.
    """
    if len(text) > _LONGEST or "e" in text.lower():
        raise ValueError(f"'{text[:_LONGEST]}' is not a number of beats")
    return Fraction(text)
