"""Equal places of a piece vote together for the hand that plays them."""

from __future__ import annotations

import random

from arranger.read.recurring import pooled, recurring, voted, votes_of
from arranger.read.split import Struck, grouped

BAR = [(76, 48), (72, 64, 55), (74, 60, 43), (71, 67, 50), (79, 52)]


def sounding(bars, *, up=(), gate=0.5):
    """The groups of ``BAR`` again and again, a beat a chord; a bar lies ``up`` higher."""
    higher = [*up, *[0] * bars][:bars]
    chords = [[midi + more for midi in chord] for more in higher for chord in BAR]
    return grouped([Struck(at, gate, midi) for at, c in enumerate(chords) for midi in c])


def test_chords_come_again_with_their_neighbours():
    chords, _ = recurring(sounding(3))
    # The first and the last group of the piece have one neighbour only.
    assert sorted(chords) == [[1, 6, 11], [2, 7, 12], [3, 8, 13], [4, 9], [5, 10]]


def test_a_motion_comes_again_at_another_height():
    chords, motions = recurring(sounding(3, up=(0, 0, 5)))
    assert [3, 8, 13] not in chords
    assert [6, 11] not in motions  # of three bars none has four equal groups to either side
    _, motions = recurring(sounding(6, up=(0, 0, 0, 5, 5, 5)))
    assert [6, 21] in motions
    assert [7, 22] in motions


def test_other_lengths_are_another_place():
    short, long = sounding(2), sounding(2, gate=1.0)
    whole = [*short, *[group._replace(onset=group.onset + 20) for group in long]]
    chords, _ = recurring(whole)
    assert all((places[0] < 10) == (places[-1] < 10) for places in chords)


def test_the_odd_one_out_follows_the_others():
    groups = sounding(4)
    told = [1, 1, 2, 1, 1] * 4
    odd = [*told[:7], 1, *told[8:]]
    found = recurring(groups)
    assert list(voted(pooled(votes_of(groups, odd), found, 1.0))) == told
    assert list(voted(pooled(votes_of(groups, odd), found, 0.0))) == odd


def test_what_does_not_come_again_stays_as_it_was():
    dice = random.Random(3)
    chords = [(dice.randint(60, 90), 40 + at % 7) for at in range(40)]
    groups = grouped([Struck(at, 0.5, midi) for at, c in enumerate(chords) for midi in c])
    counts = [dice.randint(0, len(group.pitches)) for group in groups]
    assert list(voted(pooled(votes_of(groups, counts), recurring(groups), 1.0))) == counts


def test_two_groups_and_none():
    assert recurring([]) == [[], []]
    assert recurring(sounding(1)[:2]) == [[], []]
