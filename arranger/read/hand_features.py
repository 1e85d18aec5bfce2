"""What the hands would do, as features: by these a split of the notes is weighed.

Each feature is a place in one flat list of weights. What a group of notes says by itself, what
one hand would do coming from its past, and what the two hands would do to each other are looked
at apart, because many ways to have played so far share the most of it. Where bins part stands
in ``tables/hand_features.toml``.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from arranger.tables import Table, load


class Edges(Table):
    """Where bins part, from low to high: see ``tables/hand_features.toml``."""

    paces: tuple[float, ...]
    leaps: tuple[float, ...]
    spans: tuple[float, ...]
    registers: tuple[float, ...]
    borders: tuple[float, ...]
    near: tuple[float, ...]
    down: tuple[float, ...]
    gaps: tuple[float, ...]
    nearer: tuple[float, ...]
    joins: tuple[float, ...]


class FeatureTable(Table):
    """``tables/hand_features.toml``: see the comments there."""

    window: float
    slow: float
    memory: int
    long: int
    very_long: int
    twice: int
    widest: int
    most_struck: int
    most: int
    now: float
    periods: int
    around: int
    moving: int
    edges: Edges


_TABLE = load("hand_features", FeatureTable)
WINDOW, SLOW, MEMORY, LONG = _TABLE.window, _TABLE.slow, _TABLE.memory, _TABLE.long
VERY_LONG, TWICE = _TABLE.very_long, _TABLE.twice
WIDEST, MOST_STRUCK, MOST = _TABLE.widest, _TABLE.most_struck, _TABLE.most
NOW, PERIODS = _TABLE.now, _TABLE.periods
AROUND, MOVING = _TABLE.around, _TABLE.moving
PACES, LEAPS, SPANS = _TABLE.edges.paces, _TABLE.edges.leaps, _TABLE.edges.spans
REGISTERS, BORDERS = _TABLE.edges.registers, _TABLE.edges.borders
NEAR, GAPS = _TABLE.edges.near, _TABLE.edges.gaps
NEARER, JOINS = _TABLE.edges.nearer, _TABLE.edges.joins
STEPS = (*_TABLE.edges.down, *[-edge for edge in reversed(_TABLE.edges.down)])

OF_HAND = {
    "idle": 4 * (len(PACES) + 1),  # the hand strikes nothing: pace, holding, a note ends now
    "enters": 4 * (len(PACES) + 1),  # it strikes: the same
    "size": MOST,  # notes struck
    "grow": 5,  # against the last time
    "leap": (len(LEAPS) + 1) * (len(PACES) + 1),  # of its middle, by pace
    "even": 4,  # the same length as before; the line goes on
    "span": len(SPANS) + 1,  # of the notes struck
    "reach": len(SPANS) + 1,  # with those still held
    "register": len(REGISTERS) + 1,  # of the note nearest to the other hand
    "centre": len(LEAPS) + 1,  # way from where the hand has been lately
    "border": len(BORDERS) + 1,  # of that note and the border of registers around
    "known": 4,  # the hand, the other hand, struck just this lately
    "seen": 4,  # the hand, the other hand, struck that note lately
    "shape": 4,  # the hand, the other hand, struck a chord of these intervals last
    "nearer": len(LEAPS) + 1,  # that note: way from the other hand less way from this hand
    "moves": (len(NEAR) + 1) * (len(PACES) + 1),  # least way from a note to a note, by pace
    "again": 4,  # it struck whole quarters ago: nothing, other notes, the same shape, the same
    "rests": 8,  # it strikes nothing: the time since the last, against its last step
    "keeps": 8,  # it strikes: the same
    "follows": (len(JOINS) + 1) ** 2,  # way to that note from one that ends now: own, other's
    "alone": len(NEARER) + 1,  # it strikes all: least way to the farther edge less the other's
    "ahead": (len(STEPS) + 1) * (len(PACES) + 1),  # way from that note to the nearest next
}
BETWEEN = {
    "gap": len(GAPS) + 1,  # between the hands, held notes too
    "parted": 4 * (len(GAPS) + 1),  # between the notes struck; equal lengths there, all
    "sizes": MOST * MOST,  # notes struck by the right and by the left
    "together": 6 * (len(SPANS) + 1),  # span of notes all given to one hand; how many, equal
}
SIZES = (
    {f"right-{name}": size for name, size in OF_HAND.items()}
    | {f"left-{name}": size for name, size in OF_HAND.items()}
    | BETWEEN
)


def _bases() -> dict[str, int]:
    bases, total = {}, 0
    for name, size in SIZES.items():
        bases[name] = total
        total += size
    return bases


BASES = _bases()
RIGHT = {name: BASES[f"right-{name}"] for name in OF_HAND}
LEFT = {name: BASES[f"left-{name}"] for name in OF_HAND}
FAR = 999  # semitones; a way that is none
TOTAL = sum(SIZES.values())


class Group(NamedTuple):
    """Notes struck together, from high to low, and where their registers part."""

    onset: float
    pitches: tuple[int, ...]
    gates: tuple[float, ...]
    border: float
    ahead: tuple[int, ...]
    """For each note a bin: the way to the nearest note of the next group, and its pace."""


class HandState(NamedTuple):
    """What a hand did last: its notes, what it holds (pitch, end), where it is."""

    right: bool
    pitches: tuple[int, ...]
    onset: float
    gate: float
    held: tuple[tuple[int, float], ...]
    centre: float
    recent: tuple[tuple[int, ...], ...]
    times: tuple[float, ...]
    """Onsets of ``recent``."""
    lately: frozenset[int]
    """All notes of ``recent``."""


@dataclass(frozen=True, slots=True)
class History:
    """One way to have played so far; ``before`` leads back to the start."""

    score: float
    right: HandState
    left: HandState
    count: int
    before: History | None


START = History(
    0.0,
    HandState(True, (), -9.0, 0.0, (), 72.0, (), (), frozenset()),
    HandState(False, (), -9.0, 0.0, (), 48.0, (), (), frozenset()),
    0,
    None,
)


class Wait(NamedTuple):
    """How a hand comes to a moment, whatever it strikes there.

    ``pace`` a bin of the time since it struck; ``kept`` the notes it holds on; ``ends`` whether
    a note ends now; ``beating`` see ``_beating``; ``rounds`` what it struck whole quarters ago.
    For each note of the group ``ways`` has the least way (semitones) from the notes the hand
    struck last, ``joins`` a bin of the least way from those that end now.
    """

    pace: int
    kept: list[int]
    ends: bool
    ways: list[int]
    joins: list[int]
    beating: tuple[int, ...]
    rounds: list[tuple[int, ...]]


def wait_of(hand: HandState, group: Group) -> Wait:
    """How ``hand`` comes to ``group``."""
    at = group.onset
    still, now = at + NOW, at - NOW
    over = [pitch for pitch, end in hand.held if now <= end <= still]
    return Wait(
        bisect_right(PACES, at - hand.onset),
        [pitch for pitch, end in hand.held if end > still],
        bool(over),
        _ways(group.pitches, hand.pitches),
        [bisect_right(JOINS, way) for way in _ways(group.pitches, over)],
        _beating(hand.times, at),
        _rounds(hand, at),
    )


def _ways(pitches: Sequence[int], origins: Sequence[int]) -> list[int]:
    """The least way to each pitch (semitones); very far where it has no origin."""
    if not origins:
        return [FAR] * len(pitches)
    if len(origins) == 1:
        origin = origins[0]
        return [abs(pitch - origin) for pitch in pitches]
    if len(origins) > MOST_STRUCK:  # no hand's, but many tracks may strike all keys at once
        origins = sorted(origins)
        return [_least_way(pitch, origins) for pitch in pitches]
    return [min([abs(pitch - origin) for origin in origins]) for pitch in pitches]


def _least_way(pitch: int, origins: Sequence[int]) -> int:
    """The least way from any of ``origins``, which go upwards."""
    above = bisect_left(origins, pitch)
    return min(abs(pitch - origin) for origin in origins[max(0, above - 1) : above + 1])


def group_features(group: Group, count: int) -> list[int]:
    """Places in the flat weights of what parting the group at ``count`` means by itself."""
    pitches, gates, size = group.pitches, group.gates, len(group.pitches)
    most = MOST - 1
    result = [BASES["sizes"] + MOST * min(count, most) + min(size - count, most)]
    for base, start, stop, edge in ((RIGHT, 0, count, count - 1), (LEFT, count, size, count)):
        if start == stop:
            continue
        result += [
            base["size"] + min(stop - start, MOST) - 1,
            base["span"] + bisect_right(SPANS, pitches[start] - pitches[stop - 1]),
            base["register"] + bisect_right(REGISTERS, pitches[edge]),
            base["border"] + bisect_right(BORDERS, pitches[edge] - group.border),
        ]
        if group.ahead:
            result.append(base["ahead"] + group.ahead[edge])
    longest = max(gates)
    alike = longest - min(gates) <= 0.1 * longest
    if 0 < count < size:
        one, two = gates[count - 1], gates[count]
        equal = 2 * (abs(one - two) <= 0.1 * two) + alike
        apart = bisect_right(GAPS, pitches[count - 1] - pitches[count])
        result.append(BASES["parted"] + 4 * apart + equal)
    elif size > 1:
        span = bisect_right(SPANS, pitches[0] - pitches[-1])
        many = 2 * (min(size, 4) - 2) + alike
        result.append(BASES["together"] + 6 * span + many)
    return result


def hand_features(
    group: Group, start: int, stop: int, hand: HandState, wait: Wait
) -> list[int]:
    """Places in the flat weights of what one hand would do, coming from its past."""
    base = RIGHT if hand.right else LEFT
    situation = 4 * wait.pace + 2 * bool(wait.kept) + wait.ends
    if start == stop:
        return [base["idle"] + situation, *[base["rests"] + how for how in wait.beating]]
    pitches = group.pitches[start:stop]
    high, low = pitches[0], pitches[-1]
    result = [
        base["enters"] + situation,
        base["centre"] + bisect_right(LEAPS, (high + low) / 2 - hand.centre),
        *[base["keeps"] + how for how in wait.beating],
    ]
    if wait.kept:
        reach = max(high, *wait.kept) - min(low, *wait.kept)
        result.append(base["reach"] + bisect_right(SPANS, reach))
    if hand.pitches:
        even = abs(max(group.gates[start:stop]) - hand.gate) <= 0.1 * hand.gate
        more = max(-2, min(2, len(pitches) - len(hand.pitches)))
        leap = (high + low - hand.pitches[0] - hand.pitches[-1]) / 2
        least = min(wait.ways[start:stop])
        result += [
            base["grow"] + 2 + more,
            base["leap"] + (len(PACES) + 1) * bisect_right(LEAPS, leap) + wait.pace,
            base["moves"] + (len(NEAR) + 1) * wait.pace + bisect_right(NEAR, least),
            base["even"] + 2 * even + wait.ends,
        ]
    if len(hand.recent) > 1:
        result.append(base["again"] + _again(wait.rounds, pitches))
    return result


def _beating(times: tuple[float, ...], now: float) -> tuple[int, ...]:
    """A bin of how the time since a hand struck stands to its last step; none, none.

    The same time, less, twice as much, other; each apart for a hand that has been steady.
    """
    if len(times) < 2:
        return ()
    step, wait = times[-1] - times[-2], now - times[-1]
    slack = 0.1 * step
    steady = len(times) > 2 and abs(times[-2] - times[-3] - step) < slack
    if abs(step - wait) < slack:
        how = 0
    elif wait < step:
        how = 1
    else:
        how = 2 if abs(wait - 2 * step) < slack else 3
    return (4 * steady + how,)


def _rounds(hand: HandState, now: float) -> list[tuple[int, ...]]:
    """What the hand struck one to ``PERIODS`` whole quarters ago, the last first."""
    rounds = []
    for notes, time in zip(reversed(hand.recent), reversed(hand.times), strict=True):
        wait = now - time
        if wait >= PERIODS + NOW:
            break
        quarters = int(wait + 0.5)
        if quarters and abs(wait - quarters) < NOW:
            rounds.append(notes)
    return rounds


def _again(rounds: Sequence[tuple[int, ...]], pitches: tuple[int, ...]) -> int:
    """What the hand struck whole quarters ago: 0 nothing … 3 these notes."""
    if not rounds:
        return 0
    if pitches in rounds:
        return 3
    return 2 if any(_same_shape(notes, pitches) for notes in rounds) else 1


def pair_features(
    group: Group, count: int, history: History, right: Wait, left: Wait
) -> list[int]:
    """Places in the flat weights of what the two hands would do to each other."""
    upper, lower = group.pitches[:count], group.pitches[count:]
    result = []
    if upper:
        result += _claims(RIGHT, upper, upper[-1], history.right, history.left)
        join = (len(JOINS) + 1) * right.joins[count - 1] + left.joins[count - 1]
        result.append(RIGHT["follows"] + join)
    if lower:
        result += _claims(LEFT, lower, lower[0], history.left, history.right)
        join = (len(JOINS) + 1) * left.joins[count] + right.joins[count]
        result.append(LEFT["follows"] + join)
    if history.right.pitches and history.left.pitches:
        if not lower:
            more = right.ways[-1] - left.ways[-1]
            result.append(RIGHT["alone"] + bisect_right(NEARER, more))
        elif not upper:
            more = left.ways[0] - right.ways[0]
            result.append(LEFT["alone"] + bisect_right(NEARER, more))
    above, below = (*right.kept, *upper), (*left.kept, *lower)
    if above and below:
        result.append(BASES["gap"] + bisect_right(GAPS, min(above) - max(below)))
    return result


def _claims(
    base: dict[str, int], pitches: tuple[int, ...], edge: int, own: HandState, other: HandState
) -> list[int]:
    """How much one hand rather than the other has been playing these notes."""
    known = 2 * (pitches in own.recent) + (pitches in other.recent)
    seen = 2 * (edge in own.lately) + (edge in other.lately)
    shape = 0
    if len(pitches) > 1:
        shape = 2 * _same_shape(pitches, own.pitches) + _same_shape(pitches, other.pitches)
    nearer = abs(edge - other.centre) - abs(edge - own.centre)
    return [
        base["known"] + known,
        base["seen"] + seen,
        base["shape"] + shape,
        base["nearer"] + bisect_right(LEAPS, nearer),
    ]


def _same_shape(one: tuple[int, ...], two: tuple[int, ...]) -> bool:
    """Whether two chords have the same intervals."""
    if len(one) != len(two):
        return False
    if len(one) == 1:
        return True
    shift = one[0] - two[0]
    return all(a - b == shift for a, b in zip(one, two, strict=True))
