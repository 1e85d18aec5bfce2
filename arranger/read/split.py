"""Two hands out of one stream of notes.

At each onset one split point parts the notes: above it the right hand, below it the left
(on open piano files that loses 0.3 % of the notes). A beam keeps the most likely histories
of splits; each step is scored by what either hand would have to do: stretch, leap, hold on,
stop in the middle of a line, play what the other hand played before.

The music is heard twice. The first time it runs from its end to its beginning, where a hand is
known by what it will play; the second time it runs as written, and a split costs something for
each note that it gives to the other hand than the first hearing did. Each is wrong at places of
its own; where the second is not sure, the first decides. Before the second hearing and after it
places that are equal vote together (``recurring.py``).

Features: ``hand_features.py``. Weights: ``tables/hands.toml``, for either hearing one list of
weights a feature, a weight a bin, learnt from open data by tests/bench/train_hands.py.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from itertools import accumulate, chain, zip_longest
from typing import NamedTuple

from arranger.music.score import Hand
from arranger.read.hand_features import (
    LONG,
    MEMORY,
    MOST_STRUCK,
    NOW,
    PACES,
    SIZES,
    SLOW,
    START,
    STEPS,
    TWICE,
    VERY_LONG,
    WIDEST,
    WINDOW,
    Group,
    HandState,
    History,
    Wait,
    group_features,
    hand_features,
    pair_features,
    wait_of,
)
from arranger.read.recurring import pooled, recurring, voted, votes_of
from arranger.tables import Table, load


class Hearings(NamedTuple):
    """Flat weights in the order of ``SIZES`` and width of the beam, for either hearing.

    ``price``: what a note costs where the hearing as written departs from the one backwards,
    in the unit of the weights. ``echo``: the part that another place of equal music has in what
    the hearing backwards says of a note. ``first``: the part of that hearing in the last vote,
    where the other has 1, and so has each place of equal music.
    """

    onward: Sequence[float]
    beam: int
    backward: Sequence[float]
    backward_beam: int
    price: float
    echo: float
    first: float


class SplitTable(Table):
    """``tables/hands.toml``: for each feature of ``SIZES`` a weight for each bin."""

    beam: int
    backward_beam: int
    price: float
    echo: float
    first: float
    onward: dict[str, tuple[float, ...]]
    backward: dict[str, tuple[float, ...]]

    def hearings(self) -> Hearings:
        """The same with the weights made flat."""
        return Hearings(
            onward=_flat(self.onward),
            beam=self.beam,
            backward=_flat(self.backward),
            backward_beam=self.backward_beam,
            price=self.price,
            echo=self.echo,
            first=self.first,
        )


def _flat(weights: Mapping[str, Sequence[float]]) -> list[float]:
    """All weights in the order of ``SIZES``; what has none counts nothing."""
    flat: list[float] = []
    for name, size in SIZES.items():
        own = weights.get(name, ())
        flat += [*own, *[0.0] * (size - len(own))]
    return flat


class Struck(NamedTuple):
    """A note to be given to a hand: times in quarters."""

    onset: float
    gate: float
    midi: int


def split_hands(notes: Sequence[Struck]) -> tuple[Hand, ...]:
    """The hand of each note (``notes`` sorted by onset, then from high to low)."""
    groups = grouped(notes)
    counts = parted(groups, load("hands", SplitTable).hearings())
    hands: list[Hand] = []
    for group, count in zip(groups, counts, strict=True):
        hands += ["right" if i < count else "left" for i in range(len(group.pitches))]
    return tuple(hands)


def parted(groups: Sequence[Group], by: Hearings) -> list[int]:
    """How many of each group's notes, from the top, the right hand plays.

    A long piece is heard as written alone, a longer one with a narrow beam.
    """
    if len(groups) > LONG:
        return best_counts(groups, by.onward, 2 if len(groups) <= VERY_LONG else 1)
    if sum(len(group.pitches) for group in groups) > TWICE:
        return best_counts(groups, by.onward, by.beam)
    found = recurring(groups)
    first = votes_of(
        groups, best_counts(backwards(groups), by.backward, by.backward_beam)[::-1]
    )
    told = [_worth(own, by.price) for own in pooled(first, found, by.echo)]
    second = votes_of(groups, best_counts(groups, by.onward, by.beam, told))
    both = [
        [now + by.first * before for now, before in zip(*own, strict=True)]
        for own in zip(second, first, strict=True)
    ]
    return list(voted(pooled(both, found, 1.0)))


def _worth(votes: Sequence[float], price: float) -> list[float]:
    """What each count of a group gets for the votes it follows, less for those it does not."""
    return list(accumulate((price * max(-1.0, min(1.0, vote)) for vote in votes), initial=0.0))


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
                (),
            )
        )
        place = stop
    return _looking_ahead(groups)


def backwards(groups: Sequence[Group]) -> list[Group]:
    """The groups from last to first, as if time ran to the beginning.

    Lengths stay as they are: a note still begins with its group, and the weights of this
    hearing are learnt from music turned in the same way.
    """
    end = groups[-1].onset if groups else 0.0
    return _looking_ahead([group._replace(onset=end - group.onset) for group in groups[::-1]])


def _looking_ahead(groups: Sequence[Group]) -> list[Group]:
    """The groups, each knowing the way to the next."""
    return [
        now._replace(ahead=_ahead(now, coming) if coming else ())
        for now, coming in zip_longest(groups, groups[1:])
    ]


def _ahead(now: Group, coming: Group) -> tuple[int, ...]:
    """For each note a bin of the way to the nearest of the next notes struck."""
    after = coming.pitches[:MOST_STRUCK]
    base = (len(STEPS) + 1) * bisect_right(PACES, coming.onset - now.onset)
    return tuple(
        base + bisect_right(STEPS, min((midi - own for midi in after), key=abs))
        for own in now.pitches
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


def best_counts(
    groups: Sequence[Group],
    weights: Sequence[float],
    beam: int,
    told: Sequence[Sequence[float]] = (),
) -> list[int]:
    """Counts of notes for the right hand, heard once in the order given; ``told`` as below."""
    histories = [START]
    for group, known in zip_longest(groups, told):
        histories = extended(histories, group, weights, beam, known)
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
    told: Sequence[float] | None = None,
) -> list[History]:
    """The best histories one group on, best first.

    What one hand does depends on that hand alone, so it is weighed once for all histories
    that share the hand's past. ``told`` is what each count from 0 gets besides: who learns
    gives a margin to those that are wrong, who has heard the piece backwards a price to what
    was heard there.
    """
    size = len(group.pitches)
    counts = _playable(group)
    stills = [
        sum([weights[name] for name in group_features(group, count)])
        + (told[count] if told else 0.0)
        for count in counts
    ]
    known: dict[int, tuple[Wait, list[float]]] = {}
    scored = []
    for history in histories:
        for hand in (history.right, history.left):
            if id(hand) not in known:
                wait = wait_of(hand, group)
                spans = [(0, count) if hand.right else (count, size) for count in counts]
                does = [hand_features(group, *span, hand, wait) for span in spans]
                known[id(hand)] = wait, [sum([weights[name] for name in d]) for d in does]
        right, of_right = known[id(history.right)]
        left, of_left = known[id(history.left)]
        for place, count in enumerate(counts):
            names = pair_features(group, count, history, right, left)
            score = history.score + stills[place] + of_right[place] + of_left[place]
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
