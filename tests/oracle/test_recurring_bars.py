"""The pair of bars to learn first is truly the one that fills most of the piece.

Brute force: every way of laying copies of every pair into the piece without overlap.
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import cache

from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.music.verdict import BarDifficulty, Difficulty, Fidelity, Verdict
from arranger.render.fold import folded
from arranger.tables.teaching import teaching
from arranger.teach import teach
from arranger.teach.bars import tab_bars, times
from arranger.teach.recurring import pair_step, recurring_pair
from arranger.teach.right_hand import right_hand_step


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


@given(word=st.text("abcdef", min_size=2, max_size=24))
@settings(max_examples=150, deadline=None)
def test_what_the_pair_is_said_to_be_of_the_piece_it_is(piece, word):
    """How often it comes, and its share, counted again; it leads from a quarter on."""
    lines = [
        f"{4 * k} 4 melody 1 {ord(letter) - 96} 1 a\n{4 * k} 4 bass 6 {ord(letter) - 96} 1 p"
        for k, letter in enumerate(word)
    ]
    steps = pair_step(tab_bars(piece("\n".join(lines))), teaching())
    pairs = {word[k : k + 2] for k in range(len(word) - 1)}
    most = max(most_copies(word, pair) for pair in pairs)
    if most < 2 or 2 * most < 0.25 * len(word):
        assert not steps
        return
    assert f"They come {times(most)} (" in steps[0].text
    assert f": {2 * most / len(word):.0%} of the piece" in steps[0].text
    for low, high in re.findall(r"(\d+)–(\d+)", steps[0].title + steps[0].text):
        for first in range(int(low), int(high), 2):
            assert word[first - 1 : first + 1] == word[steps[0].bars[0] - 1 :][:2]


HANDS = {"a": "m", "b": "i", "c": "a", "d": "mi", "e": "ma", "f": "mia", "g": ""}


@given(word=st.text("abcdefg", min_size=1, max_size=20))
@settings(max_examples=150, deadline=None)
def test_so_many_bars_are_plucked_as_the_lesson_says(piece, word):
    """The thumb on one and three, the fingers of a letter on two; ``g`` has no fingers."""
    lines = []
    for k, letter in enumerate(word):
        lines += [f"{4 * k + beat} 1 bass 6 {k % 9} 1 p" for beat in (0, 2)]
        hand = enumerate(HANDS[letter], start=1)
        lines += [f"{4 * k + 1} 1 melody {n} {k % 9} 1 {finger}" for n, finger in hand]
    (step,) = right_hand_step(tab_bars(piece("\n".join(lines))), teaching(), leads=False)
    model = word[step.bars[0] - 1]
    count = max(map(word.count, word))
    alike = max(word.count("g"), len(word) - word.count("g"))
    if len(word) == 1:
        assert "bars" not in step.text
    elif count > 1 and count >= len(word) / 4:
        assert f"{count} of {len(word)} bars are plucked like this" in step.text
        assert word.count(model) == count
    elif alike > 1:
        assert f"{alike} of {len(word)} bars have this rhythm" in step.text
        assert alike == (word.count("g") if model == "g" else len(word) - word.count("g"))
    else:
        assert f"In {len(word)} of {len(word)} bars the thumb plucks on 1 and 3." in step.text


def _verdict(arrangement):
    bars = tuple(
        BarDifficulty(bar=bar.bar, points=1.0 + bar.bar % 5, features=(("moves", 1.0),))
        for bar in arrangement.bars
    )
    difficulty = Difficulty(score=20.0, band="beginner", bars=bars, reasons=())
    kept = dict.fromkeys(Fidelity.__dataclass_fields__, 1.0)
    return Verdict(violations=(), fidelity=Fidelity(**kept), difficulty=difficulty)


@given(
    strain=st.text("abc", min_size=4, max_size=10),
    ending=st.sampled_from("abcd"),
    letter=st.sampled_from("AB"),
)
@settings(max_examples=60, deadline=None)
def test_the_lesson_names_the_bars_that_the_sheet_prints(piece, strain, ending, letter):
    word = strain + strain[:-1] + ending
    lines = [
        f"{4 * k} 1 bass 6 {ord(c) - 96} 1 p\n{4 * k + 1} 1 melody 1 {ord(c) - 96} 2 a"
        for k, c in enumerate(word)
    ]
    arrangement = piece("\n".join(lines), sections={1: "A", len(strain) + 1: letter})
    printed = {bar.bar for bar in folded(arrangement).drawn.bars}
    for step in teach(arrangement, _verdict(arrangement)).steps:
        assert set(step.bars) <= printed
        for low, high in re.findall(r"bars? (\d+)(?:–(\d+))?", step.title + step.text):
            assert set(range(int(low), int(high or low) + 1)) <= printed
