"""Which onsets lie in which bar."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from fractions import Fraction

from arranger.music.arrangement import ArrangedBar, in_bars


def bars(*ends: Fraction | int, start: Fraction = Fraction(0)) -> Sequence[ArrangedBar]:
    found = []
    for number, end in enumerate(ends, start=1):
        found.append(
            ArrangedBar(
                bar=number,
                start=start,
                length=Fraction(end) - start,
                beat=Fraction(1),
                written_bar=number,
                numerator=4,
                denominator=4,
                chord=None,
                same_as=None,
            )
        )
        start = Fraction(end)
    return found


def test_a_note_on_a_bar_line_begins_the_bar_after_it() -> None:
    onsets = [Fraction(n, 2) for n in (0, 0, 3, 8, 9)]
    assert list(in_bars(onsets, bars(4, 8))) == [slice(0, 3), slice(3, 5)]


def test_what_lies_before_between_or_after_the_bars_is_in_none() -> None:
    onsets = [Fraction(n) for n in range(12)]
    early, late = bars(4, start=Fraction(1)), bars(10, start=Fraction(6))
    assert list(in_bars(onsets, [*early, *late])) == [slice(1, 4), slice(6, 10)]


def test_bars_without_notes_and_notes_in_thirds() -> None:
    onsets = [Fraction(n, 3) for n in (1, 2, 14, 24, 24, 35)]
    given = bars(1, 4, Fraction(14, 3), 8, 12)
    plain = [
        slice(bisect_left(onsets, bar.start), bisect_left(onsets, bar.end)) for bar in given
    ]
    assert list(in_bars(onsets, given)) == plain
