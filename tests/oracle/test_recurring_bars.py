"""The pair of bars to learn first is truly the one that fills most of the piece.

Brute force: every way of laying copies of every pair into the piece without overlap.
"""

from __future__ import annotations

from fractions import Fraction
from functools import cache

from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.teach.bars import tab_bars
from arranger.teach.recurring import recurring_pair


def most_copies(word: str, pair: str) -> int:
    """Most copies of ``pair`` that lie in ``word`` side by side, trying every choice."""

    @cache
    def best(place: int) -> int:
        if place > len(word) - 2:
            return 0
        left_out = best(place + 1)
        if word[place : place + 2] != pair:
            return left_out
        return max(left_out, 1 + best(place + 2))

    return best(0)


@given(word=st.text("abc", min_size=1, max_size=16))
@settings(max_examples=200, deadline=None)
def test_the_pair_is_the_most_frequent(piece, word):
    fret = {"a": 1, "b": 2, "c": 3}
    lines = [f"{4 * k} 4 melody 1 {fret[letter]} 1 a" for k, letter in enumerate(word)]
    found = recurring_pair(tab_bars(piece("\n".join(lines))), 0)
    pairs = [word[k : k + 2] for k in range(len(word) - 1)]
    most = max((most_copies(word, pair) for pair in pairs), default=0)
    if most < 2:
        assert found is None
        return
    pair = word[found.times[0] : found.times[0] + 2]
    assert len(found.times) == most
    assert all(word[place : place + 2] == pair for place in found.times)
    assert all(b - a >= 2 for a, b in zip(found.times, found.times[1:], strict=False))
    # of equals the pair that is heard first
    assert pairs.index(pair) == min(
        pairs.index(other) for other in pairs if most_copies(word, other) == most
    )
    assert Fraction(2 * most, len(word)) <= 1
