"""What comes again is played by the same hands.

Two hearings of a piece (``split.py``) part the same bar now so, now otherwise, because its
surroundings differ. Here each note has a vote for the hand that plays it, and the votes of
equal places are added. Places are equal in two ways: the same chords of the same lengths with
their neighbours, or the same motion at any height over a longer stretch.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterator, Sequence
from itertools import pairwise

from arranger.read.hand_features import AROUND, MOVING, Group

Votes = list[list[float]]
"""For each note of each group, from high to low: 1 for the right hand, -1 for the left."""
Places = list[list[int]]
"""Groups that are equal, each list in rising order and of two at least."""


def votes_of(groups: Sequence[Group], counts: Sequence[int]) -> Votes:
    """The votes of a hearing that gave the top ``counts`` notes to the right hand."""
    return [
        [1.0] * count + [-1.0] * (len(group.pitches) - count)
        for group, count in zip(groups, counts, strict=True)
    ]


def recurring(groups: Sequence[Group]) -> list[Places]:
    """Where the music comes again, for either way of being equal.

    Chords and waits are rounded (.1 quarter a length, .01 quarter a wait).
    """
    waits = [round(after.onset - before.onset, 2) for before, after in pairwise(groups)]
    chords = [(group.pitches, *[round(gate, 1) for gate in group.gates]) for group in groups]
    shapes = [tuple([midi - group.pitches[0] for midi in group.pitches]) for group in groups]
    moves = [
        (after.pitches[0] - before.pitches[0], wait)
        for (before, after), wait in zip(pairwise(groups), waits, strict=True)
    ]
    return [_equal(chords, waits, AROUND), _equal(shapes, moves, MOVING)]


def _equal(what: Sequence[Hashable], ways: Sequence[Hashable], reach: int) -> Places:
    """Places with equal ``what``, and ``ways`` between them, ``reach`` to either side."""
    numbers: dict[Hashable, int] = {}
    stands = [numbers.setdefault(thing, len(numbers)) for thing in what]
    goes = [numbers.setdefault(way, len(numbers)) for way in ways]
    found: dict[Hashable, list[int]] = defaultdict(list)
    for place in range(reach, len(stands) - reach):
        first, last = place - reach, place + reach
        found[*stands[first : last + 1], *goes[first:last]].append(place)
    return [places for places in found.values() if len(places) > 1]


def pooled(votes: Votes, found: Sequence[Places], share: float) -> Votes:
    """Each note's vote and ``share`` of the votes it has in places equal to its own."""
    result = [list(own) for own in votes]
    for places in (places for ways in found for places in ways):
        sums = [sum(column) for column in zip(*[votes[place] for place in places], strict=True)]
        for place in places:
            own, new = votes[place], result[place]
            for note, total in enumerate(sums):
                new[note] += share * (total - own[note])
    return result


def voted(votes: Votes) -> Iterator[int]:
    """For each group the count of notes, from the top, that the votes give the right hand."""
    for own in votes:
        best, most, merit = 0, 0.0, 0.0
        for count, vote in enumerate(own, 1):
            merit += vote
            if merit > most:
                best, most = count, merit
        yield best
