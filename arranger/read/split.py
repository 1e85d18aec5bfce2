"""Two hands out of one stream of notes.

At each onset one split point parts the notes: above it the right hand, below it the left
(on open piano files that loses 0.3 % of the notes). A beam keeps the most likely histories
of splits; each step is scored by what either hand would have to do: stretch, leap, hold on,
stop in the middle of a line, play what the other hand played before.

Features: ``tables/hand_features.toml``. Weights: ``tables/hands.toml``, one list of weights a
feature, a weight a bin, learnt from open data by tests/bench/train_hands.py.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain
from typing import NamedTuple

from arranger.music.score import Hand
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


class FeatureTable(Table):
    """``tables/hand_features.toml``: see the comments there."""

    window: float
    slow: float
    memory: int
    long: int
    widest: int
    most_struck: int
    most: int
    now: float
    periods: int
    edges: Edges


_TABLE = load("hand_features", FeatureTable)
WINDOW, SLOW, MEMORY, LONG = _TABLE.window, _TABLE.slow, _TABLE.memory, _TABLE.long
WIDEST, MOST_STRUCK, MOST = _TABLE.widest, _TABLE.most_struck, _TABLE.most
NOW, PERIODS = _TABLE.now, _TABLE.periods
PACES, LEAPS, SPANS = _TABLE.edges.paces, _TABLE.edges.leaps, _TABLE.edges.spans
REGISTERS, BORDERS = _TABLE.edges.registers, _TABLE.edges.borders
NEAR, GAPS = _TABLE.edges.near, _TABLE.edges.gaps
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
TOTAL = sum(SIZES.values())


class SplitTable(Table):
    """Width of the beam, and for each feature of ``SIZES`` a weight for each bin."""

    beam: int
    weights: dict[str, tuple[float, ...]]

    def flat(self) -> list[float]:
        """All weights in the order of ``SIZES``."""
        flat: list[float] = []
        for name, size in SIZES.items():
            own = self.weights.get(name, ())
            flat += [*own, *[0.0] * (size - len(own))]
        return flat


class Struck(NamedTuple):
    """A note to be given to a hand: times in quarters."""

    onset: float
    gate: float
    midi: int


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


def split_hands(notes: Sequence[Struck]) -> tuple[Hand, ...]:
    """The hand of each note (``notes`` sorted by onset, then from high to low)."""
    table = load("hands", SplitTable)
    groups = grouped(notes)
    beam = table.beam if len(groups) <= LONG else 2
    counts = best_counts(groups, table.flat(), beam)
    hands: list[Hand] = []
    for group, count in zip(groups, counts, strict=True):
        hands += ["right" if i < count else "left" for i in range(len(group.pitches))]
    return tuple(hands)


def grouped(notes: Sequence[Struck]) -> list[Group]:
    """Notes of one onset together, with the border of registers around them."""
    onsets = [note.onset for note in notes]
    pitches = [note.midi for note in notes]
    groups = []
    place = 0
    while place < len(notes):
        stop = bisect_right(onsets, onsets[place])
        low = bisect_left(onsets, onsets[place] - WINDOW)
        high = bisect_right(onsets, onsets[place] + WINDOW)
        groups.append(
            Group(
                onsets[place],
                tuple(pitches[place:stop]),
                tuple(note.gate for note in notes[place:stop]),
                border(pitches[low:high]),
                _ahead(notes[place:stop], notes[stop : stop + MOST_STRUCK]),
            )
        )
        place = stop
    return groups


def _ahead(now: Sequence[Struck], coming: Sequence[Struck]) -> tuple[int, ...]:
    """For each note a bin of the way to the nearest of the next notes struck; none, none."""
    if not coming:
        return ()
    at = coming[0].onset
    after = [note.midi for note in coming if note.onset == at]
    base = (len(STEPS) + 1) * bisect_right(PACES, at - now[0].onset)
    return tuple(
        base + bisect_right(STEPS, min((midi - note.midi for midi in after), key=abs))
        for note in now
    )


def border(pitches: Sequence[int]) -> float:
    """The pitch that parts ``pitches`` best into two registers (Otsu's criterion)."""
    order = sorted(pitches)
    total, whole = len(order), sum(order)
    best, where = -1.0, order[0] - 0.5
    below = 0
    for count in range(1, total):
        below += order[count - 1]
        if order[count] == order[count - 1]:
            continue
        apart = (whole - below) / (total - count) - below / count
        merit = count * (total - count) * apart * apart
        if merit > best:
            best, where = merit, (order[count] + order[count - 1]) / 2
    return where


def best_counts(groups: Sequence[Group], weights: Sequence[float], beam: int) -> list[int]:
    """How many of each group's notes, from the top, the right hand plays."""
    histories = [START]
    for group in groups:
        histories = extended(histories, group, weights, beam)
    best: History | None = histories[0]
    counts = []
    while best is not None and best.before is not None:
        counts.append(best.count)
        best = best.before
    return counts[::-1]


def extended(
    histories: Sequence[History],
    group: Group,
    weights: Sequence[float],
    beam: int,
    taught: tuple[int, float] | None = None,
) -> list[History]:
    """The best histories one group on, best first.

    What one hand does depends on that hand alone, so it is weighed once for all histories
    that share the hand's past. Who learns gives as ``taught`` the true count and the margin
    that other counts get for each note put wrong.
    """
    size = len(group.pitches)
    weighed: dict[tuple[int, int], float] = {}
    waits: dict[int, Wait] = {}
    scored = []
    counts = _playable(group)
    for history in histories:
        for count in counts:
            score = history.score
            if taught:
                score += taught[1] * abs(count - taught[0])
            for hand, start, stop in ((history.right, 0, count), (history.left, count, size)):
                key = (id(hand), count)
                if key not in weighed:
                    if id(hand) not in waits:
                        waits[id(hand)] = _wait(hand, group.onset)
                    names = hand_features(group, start, stop, hand, waits[id(hand)])
                    weighed[key] = sum([weights[name] for name in names])
                score += weighed[key]
            names = pair_features(group, count, history.right, history.left)
            scored.append((score + sum([weights[name] for name in names]), count, history))
    scored.sort(key=lambda entry: -entry[0])
    return _stepped(scored[:beam], group)


def _playable(group: Group) -> list[int]:
    """The splits that leave either hand a chord it could strike; all when there is none.

    More notes than two hands can strike are parted where their registers part.
    """
    pitches = group.pitches
    size = len(pitches)
    if size > MOST_STRUCK:
        return [sum(pitch > group.border for pitch in pitches)]
    counts = [
        count
        for count in range(size + 1)
        if (count < 2 or pitches[0] - pitches[count - 1] <= WIDEST)
        and (count > size - 2 or pitches[count] - pitches[-1] <= WIDEST)
    ]
    return counts or list(range(size + 1))


def _stepped(scored: list[tuple[float, int, History]], group: Group) -> list[History]:
    """The histories chosen, with one new state for each past and count that they share."""
    size = len(group.pitches)
    moved: dict[tuple[int, int], HandState] = {}
    result = []
    for score, count, history in scored:
        states = []
        for hand, start, stop in ((history.right, 0, count), (history.left, count, size)):
            key = (id(hand), count)
            if key not in moved:
                moved[key] = _moved(hand, group, start, stop)
            states.append(moved[key])
        result.append(History(score, states[0], states[1], count, history))
    return result


def step(history: History, group: Group, count: int) -> History:
    """``history`` with the top ``count`` notes of ``group`` given to the right hand."""
    return _stepped([(history.score, count, history)], group)[0]


def _moved(hand: HandState, group: Group, start: int, stop: int) -> HandState:
    """The hand after playing ``group.pitches[start:stop]``."""
    still = group.onset + NOW
    held = tuple([h for h in hand.held if h[1] > still])
    if start == stop:
        return hand if len(held) == len(hand.held) else hand._replace(held=held)
    pitches, gates = group.pitches[start:stop], group.gates[start:stop]
    struck = tuple([(p, group.onset + gate) for p, gate in zip(pitches, gates, strict=True)])
    mean = sum(pitches) / len(pitches)
    recent = (*hand.recent[1 - MEMORY :], pitches)
    return HandState(
        hand.right,
        pitches,
        group.onset,
        max(gates),
        tuple([h for h in held if h[0] not in pitches]) + struck,
        hand.centre + SLOW * (mean - hand.centre),
        recent,
        (*hand.times[1 - MEMORY :], group.onset),
        frozenset(chain.from_iterable(recent)),
    )


class Wait(NamedTuple):
    """How a hand comes to a moment, whatever it strikes there.

    ``pace`` a bin of the time since it struck; ``kept`` the notes it holds on; ``ends`` whether
    a note ends now; ``beating`` see ``_beating``; ``rounds`` what it struck whole quarters ago.
    """

    pace: int
    kept: list[int]
    ends: bool
    beating: tuple[int, ...]
    rounds: list[tuple[int, ...]]


def _wait(hand: HandState, at: float) -> Wait:
    """How ``hand`` comes to the moment ``at`` (quarters)."""
    still, now = at + NOW, at - NOW
    return Wait(
        bisect_right(PACES, at - hand.onset),
        [pitch for pitch, end in hand.held if end > still],
        any(now <= end <= still for _, end in hand.held),
        _beating(hand.times, at),
        _rounds(hand, at),
    )


def hand_features(
    group: Group, start: int, stop: int, hand: HandState, wait: Wait | None = None
) -> list[int]:
    """Places in the flat weights of all that one hand would do; ``wait`` if it is known."""
    base = RIGHT if hand.right else LEFT
    pace, kept, ends_now, beating, rounds = wait or _wait(hand, group.onset)
    situation = 4 * pace + 2 * bool(kept) + ends_now
    if start == stop:
        return [base["idle"] + situation, *[base["rests"] + how for how in beating]]
    pitches = group.pitches[start:stop]
    high, low = pitches[0], pitches[-1]
    edge = low if hand.right else high
    middle = (high + low) / 2
    result = [
        base["enters"] + situation,
        base["size"] + min(len(pitches), MOST) - 1,
        base["span"] + bisect_right(SPANS, high - low),
        base["register"] + bisect_right(REGISTERS, edge),
        base["centre"] + bisect_right(LEAPS, middle - hand.centre),
        base["border"] + bisect_right(BORDERS, edge - group.border),
        *[base["keeps"] + how for how in beating],
    ]
    if kept:
        reach = max(high, *kept) - min(low, *kept)
        result.append(base["reach"] + bisect_right(SPANS, reach))
    if group.ahead:
        result.append(base["ahead"] + group.ahead[stop - 1 if hand.right else start])
    if hand.pitches:
        even = abs(max(group.gates[start:stop]) - hand.gate) <= 0.1 * hand.gate
        result += [*_goes_on(base, hand, pitches, pace), base["even"] + 2 * even + ends_now]
    if len(hand.recent) > 1:
        result.append(base["again"] + _again(rounds, pitches))
    return result


def _goes_on(
    base: dict[str, int], hand: HandState, pitches: tuple[int, ...], pace: int
) -> list[int]:
    """Places of how a hand gets from its last notes to ``pitches``."""
    more = max(-2, min(2, len(pitches) - len(hand.pitches)))
    leap = (pitches[0] + pitches[-1] - hand.pitches[0] - hand.pitches[-1]) / 2
    least = min([abs(one - two) for one in hand.pitches for two in pitches])
    return [
        base["grow"] + 2 + more,
        base["leap"] + (len(PACES) + 1) * bisect_right(LEAPS, leap) + pace,
        base["moves"] + (len(NEAR) + 1) * pace + bisect_right(NEAR, least),
    ]


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


def pair_features(group: Group, count: int, right: HandState, left: HandState) -> list[int]:
    """Places in the flat weights of what the two hands would do to each other."""
    still = group.onset + NOW
    upper, lower = group.pitches[:count], group.pitches[count:]
    most = MOST - 1
    result = [BASES["sizes"] + MOST * min(len(upper), most) + min(len(lower), most)]
    if upper:
        result += _claims(RIGHT, upper, upper[-1], right, left)
    if lower:
        result += _claims(LEFT, lower, lower[0], left, right)
    above = [pitch for pitch, end in right.held if end > still]
    above += upper
    below = [pitch for pitch, end in left.held if end > still]
    below += lower
    if above and below:
        result.append(BASES["gap"] + bisect_right(GAPS, min(above) - max(below)))
    longest = max(group.gates)
    alike = longest - min(group.gates) <= 0.1 * longest
    if upper and lower:
        one, two = group.gates[count - 1], group.gates[count]
        equal = 2 * (abs(one - two) <= 0.1 * two) + alike
        apart = bisect_right(GAPS, upper[-1] - lower[0])
        result.append(BASES["parted"] + 4 * apart + equal)
    elif len(group.pitches) > 1:
        span = bisect_right(SPANS, group.pitches[0] - group.pitches[-1])
        many = 2 * (min(len(group.pitches), 4) - 2) + alike
        result.append(BASES["together"] + 6 * span + many)
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


RIGHT = {name: BASES[f"right-{name}"] for name in OF_HAND}
LEFT = {name: BASES[f"left-{name}"] for name in OF_HAND}
