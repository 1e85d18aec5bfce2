"""Musical time: exact fractions of a quarter note, never floats."""

from __future__ import annotations

from fractions import Fraction

Beat = Fraction
"""A point or a length in musical time, in quarter notes of the source as played."""
