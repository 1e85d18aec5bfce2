"""Which fingers pluck a score as written: what a hand can do, and how habits choose.

Expected behaviour: common practice, no source. The thumb has the low strings; i, m and a have
strings 3, 2 and 1 where nothing else is asked; a finger does not strike twice in a hurry.
"""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from arranger.judge.rules import hand_violations
from arranger.neck.habits import speed
from arranger.neck.plucked import TOTAL, Stroke, feature, own_features, plucked, ways
from arranger.tables import default_player, level_named

THUMB, INDEX, MIDDLE, RING = range(4)
UPPER, LOWER, BETWEEN = 0, 2, 1


def habits(**liked: float) -> np.ndarray:
    """Weights that are nought but for those named, ``string_0_6=1.0``."""
    weights = np.zeros(TOTAL)
    for name, worth in liked.items():
        family, *index = name.replace("on_beat", "on beat").split("_")
        weights[feature(family.replace(" ", "_"), *(int(one) for one in index))] = worth
    return weights


def stroke(*strings: int, gap: float = 1.0, on_beat: bool = True) -> Stroke:
    return Stroke(strings, (0,) * len(strings), gap, on_beat)


@pytest.mark.parametrize("count", [1, 2, 3, 4])
def test_the_ways_to_pluck_are_those_that_the_judge_lets_pass(piece, count):
    """Open strings from the sixth up, struck together by any fingers."""
    level = level_named("advanced")
    allowed = set()
    for fingers in product(range(4), repeat=count):
        lines = "\n".join(f"0 1 inner {6 - n} 0 0 {'pima'[f]}" for n, f in enumerate(fingers))
        if not hand_violations(piece(lines), level, default_player(level)):
            allowed.add(fingers)
    assert set(ways(count)) == allowed


@pytest.mark.parametrize(
    ("count", "fingers"),
    [(5, (THUMB, THUMB, INDEX, MIDDLE, RING)), (6, (THUMB, THUMB, THUMB, INDEX, MIDDLE, RING))],
)
def test_the_thumb_sweeps_what_the_fingers_cannot(piece, count, fingers):
    assert ways(count) == (fingers,)
    level = level_named("advanced")
    lines = "\n".join(f"0 1 inner {6 - n} 0 0 {'pima'[f]}" for n, f in enumerate(fingers))
    assert not hand_violations(piece(lines), level, default_player(level))


def test_what_is_known_of_a_chord_of_three():
    """Strings 5, 3 and 1, the lowest the thumb's voice, between the beats: by p, i and a."""
    places = own_features(((5, 3, 1), (2, 1, 0), False))[ways(3).index((THUMB, INDEX, RING))]
    known = (
        (THUMB, 5, 2, LOWER),
        (INDEX, 3, 1, BETWEEN),
        (RING, 1, 0, UPPER),
    )
    assert sorted(places) == sorted(
        place
        for finger, string, voice, role in known
        for place in (
            feature("string", finger, string),
            feature("voice", finger, voice, role),
            feature("struck", finger, 3),
            feature("on_beat", finger, 0),
        )
    )


def test_fingers_have_the_strings_they_are_used_to():
    home = habits(string_0_6=3, string_0_5=3, string_1_3=3, string_2_2=3, string_3_1=3)
    arpeggio = [stroke(5), stroke(3), stroke(2), stroke(1)]
    assert plucked(arpeggio, home) == [(THUMB,), (INDEX,), (MIDDLE,), (RING,)]
    assert plucked([stroke(6, 2), stroke(5, 3, 1)], home) == [
        (THUMB, MIDDLE),
        (THUMB, INDEX, RING),
    ]


def test_a_finger_that_should_not_strike_twice_takes_turns_in_a_hurry_alone():
    """Both are used to string 1, i a little more; again at once, each would rather not."""
    quick, slow = 0.25, 2.0
    assert speed(quick) != speed(slow)
    again = {f"next_{speed(quick)}_{finger}_{finger}_0": -9.0 for finger in range(4)}
    turns = habits(string_1_1=4, string_2_1=3.5, **again)
    line = [stroke(1, gap=quick) for _ in range(4)]
    assert plucked(line, turns) in ([(INDEX,), (MIDDLE,)] * 2, [(MIDDLE,), (INDEX,)] * 2)
    assert plucked([stroke(1, gap=slow) for _ in range(4)], turns) == [(INDEX,)] * 4


@pytest.mark.parametrize(("to", "way"), [(1, 1), (3, 2), (2, 0)])
def test_a_habit_is_asked_for_the_way_that_the_line_takes(to, way):
    """From string 2: to a higher one (1), to a lower (2), on the same (0)."""
    for asked in range(3):
        after = {f"next_{speed(1.0)}_2_3_{asked}": 9.0, f"string_1_{to}": 3.0}
        found = plucked([stroke(2), stroke(to)], habits(string_2_2=5, **after))
        assert (found == [(MIDDLE,), (RING,)]) == (asked == way)


def test_after_the_thumb_a_finger_is_chosen_by_where_its_string_lies():
    liked = habits(string_0_5=9, drop_3_1=5)
    assert plucked([stroke(5), stroke(1)], liked) == [(THUMB,), (RING,)]


def test_a_printed_arpeggio_is_plucked_p_i_m_a():
    """With the weights learnt: bass, then strings 3 2 1, in every study for beginners."""
    bar = [Stroke((string,), (0,), 0.5, string in {5, 2}) for string in (5, 3, 2, 1)]
    assert plucked(bar * 2) == [(THUMB,), (INDEX,), (MIDDLE,), (RING,)] * 2
    assert plucked([]) == []
