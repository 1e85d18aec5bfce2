"""Tables of presses say of every two notes what the judge says of the same hand.

The judge is written without a look at the solver (``judge/grip.py``), so that this is one
view of the hand against another.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, permutations, product

import numpy as np
import pytest

from arranger.judge.grip import (
    Press,
    apart,
    grip_faults,
    holds,
    limits_of,
    nothing_lower_under_a_barre,
)
from arranger.neck import presses
from arranger.neck.fretboard import neck_of
from arranger.neck.presses import (
    FINGER,
    FRET,
    RELEASED,
    STRING,
    THUMB,
    HandTables,
    hand_tables,
    press,
    under_a_barre,
)
from arranger.tables import Level, Player, PlayerFile, level_named, player_of

HANDS = {
    "beginner": {},
    "elementary": {"reach": "small"},
    "intermediate": {"techniques": ("thumb over", "half barre")},
    "advanced": {"scale_length": 630.0},
}


@pytest.fixture(autouse=True)
def _tables_made_anew() -> Iterator[None]:
    """What an earlier test left in the caches is not asked."""
    hand_tables.cache_clear()
    presses._choices.cache_clear()
    yield
    hand_tables.cache_clear()
    presses._choices.cache_clear()


def student(level: str) -> tuple[Level, Player]:
    known = level_named(level)
    return known, player_of(PlayerFile.model_validate(HANDS[level]), known)


def tables(level: str, capo: int = 0) -> HandTables:
    known, player = student(level)
    return hand_tables(neck_of(player, capo), known, player)


def as_press(code: int) -> Press:
    finger = int(FINGER[code])
    name = "T" if finger == THUMB else str(finger)
    return Press(int(STRING[code]), int(FRET[code]), name)


def test_numbers_of_presses_are_read_back() -> None:
    for string, fret, finger in product(range(1, 7), range(25), range(6)):
        code = press(string, fret, finger)
        assert (STRING[code], FRET[code], FINGER[code]) == (string, fret, finger)
        assert 0 <= code < RELEASED


@pytest.mark.parametrize(("level", "capo"), [*((name, 0) for name in HANDS), ("advanced", 3)])
def test_two_presses_go_together_where_the_judge_says_so(level: str, capo: int) -> None:
    hand = tables(level, capo)
    limits = limits_of(*student(level), capo)
    codes = [
        press(string, fret, finger)
        for string, fret in product((1, 2, 4, 6), (0, 1, 2, 3, 5, 8))
        for finger in ([1, 2, 3, 4] if fret else [0])
    ]
    if level == "intermediate":
        codes += [press(6, fret, THUMB) for fret in (1, 3, 5)]
    for one, other in combinations(codes, 2):
        both = as_press(one), as_press(other)
        same = both[0].string == both[1].string
        faults = grip_faults(both, limits)
        assert hand.fits[one, other] == hand.fits[other, one] == (not same and not faults), both
        held = holds(both)
        thumbs = any(hold.finger == "T" for hold in held)
        if len(held) == 2 and not thumbs and held[0].finger != held[1].finger:
            reach = limits.reach.between(int(held[0].finger), int(held[1].finger))
            share = apart(held[0], held[1], limits) / reach
            assert hand.stretch[one, other] == pytest.approx(share, rel=1e-5)
        elif held:
            assert hand.stretch[one, other] == 0
    assert hand.fits[codes, RELEASED].all()
    assert hand.fits[RELEASED, codes].all()


def test_choices_are_every_place_of_a_pitch() -> None:
    """E4 is the open first string, fret 5 of the second, fret 9 of the third, and so on."""
    hand = tables("advanced")
    found = {(int(STRING[code]), int(FRET[code])) for code in hand.choices(64)}
    assert found == {(1, 0), (2, 5), (3, 9)}
    fingers = [int(FINGER[code]) for code in hand.choices(64)]
    assert fingers == [0, 1, 2, 3, 4, 1, 2, 3, 4]
    none = hand.choices(20)
    assert (none.dtype, len(none)) == (np.int32, 0)


def test_the_thumb_is_a_choice_on_string_six_alone() -> None:
    hand = tables("intermediate")
    for midi in range(40, 70):
        over = [code for code in hand.choices(midi) if FINGER[code] == THUMB]
        expected = [(6, midi - 40)] if 1 <= midi - 40 <= 5 else []
        assert [(STRING[code], FRET[code]) for code in over] == expected
    plain = tables("advanced")
    assert not any(THUMB in FINGER[plain.choices(midi)] for midi in range(40, 80))


def on_three_strings(grip: tuple[int, ...]) -> bool:
    """Three notes a hand could mean: a string each, and no finger in two frets."""
    frets: dict[int, set[int]] = {}
    for code in grip:
        frets.setdefault(int(FINGER[code]), set()).add(int(FRET[code]))
    strings = {int(STRING[code]) for code in grip}
    return len(strings) == 3 and all(len(found) == 1 for found in frets.values())


def test_lower_under_a_barre_is_what_the_judge_says() -> None:
    limits = limits_of(*student("advanced"))
    codes = [
        press(string, fret, finger)
        for string, fret in product(range(1, 7), (0, 1, 2))
        for finger in ([1, 2] if fret else [0])
    ]
    grips = [grip for grip in combinations(codes, 3) if on_three_strings(grip)]
    wrong = under_a_barre(np.array(grips, dtype=np.int32))
    assert 0 < wrong.sum() < len(grips)
    for order in permutations(range(3)):
        turned = np.array(grips, dtype=np.int32)[:, list(order)]
        assert (under_a_barre(turned) == wrong).all()
    for grip, found in zip(grips, wrong, strict=True):
        held = [as_press(code) for code in grip]
        assert found == bool(list(nothing_lower_under_a_barre(held, limits))), held
