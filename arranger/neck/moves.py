"""From one grip to the next: which moves a hand can make, and what each costs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from arranger.neck.grips import NONE, Grips, IntArray, RowArray, tenths
from arranger.tables.arranging import BassCosts, MelodyCosts
from arranger.tables.fingering import MoveCosts, ShapeCosts

FORBIDDEN = 10**7
"""Tenths that no arrangement costs: the move cannot be made."""

Index = RowArray | tuple[slice | None, slice | None]
"""Which rows of a column: one for each pair, or all of them along an axis of their own."""
_ROW: Index = (None, slice(None))
_COLUMN: Index = (slice(None), None)
_NOTHING: IntArray = np.zeros(1, dtype=np.int32)
"""What no pair costs."""

Pairs = tuple[RowArray, RowArray]
"""Earlier and later rows of moves, sorted by the later ones. numpy looks up several times as
fast by numbers of its own width."""

_PLACES = 7 * 32 + 1
"""Places where a finger may stand: a fret of a string, or none."""

STRING_AND_FINGER = 256 + 1
"""What a code changes by from one string to the next with the next finger, in one fret."""
LITTLE_FINGER = 4

MOST_STEP = 2
"""Semitones of a step of the scale."""
FIFTH = 7
"""Semitones: what a bass line may be off from the source's step without a further price."""


@dataclass(frozen=True, slots=True)
class Fold:
    """What it takes to move the tune by octaves before a note.

    ``cost`` is in tenths; ``intervals`` are the source's steps into the note in semitones:
    from top note to top note, then the other one where one of the two is doubled at the
    octave below (empty: nothing to compare with); ``weight`` is how much it all counts.
    """

    cost: int = 0
    intervals: tuple[int, ...] = ()
    weight: float = 1.0


NO_FOLD = Fold()


@dataclass(frozen=True, slots=True)
class Step:
    """What a move from one slot to the next has to respect.

    ``tune`` / ``bass``: "new", "held" or "silent" at the later slot. ``fold`` is what
    moving the tune by octaves costs there.
    ``bass_step`` is the source's step of a bass line; ``led_by`` holds the pitch classes
    that the thumb may have played just before only if this note follows them by step.
    ``brief``: the harmony at the later slot is gone sooner than the hand may change its shape
    on average. ``seconds`` is the time for it.
    """

    tune: str
    bass: str
    may_fold: bool
    fold: Fold
    alternates: bool
    bass_step: int | None
    led_by: tuple[int, ...]
    chord_begins: bool
    brief: bool
    may_change: bool
    opens_bar: bool
    seconds: float


@dataclass(frozen=True, slots=True, eq=False)
class Moves:
    """The moves a hand can make between two sets of grips.

    Move k leads from row ``here[k]`` to row ``there[k]`` at ``cost[k]`` tenths; moves
    are sorted by ``there``.
    """

    rows: tuple[int, int]
    here: IntArray
    there: IntArray
    cost: IntArray
    _orders: dict[str, RowArray] = field(default_factory=dict)
    _stretches: dict[str, tuple[RowArray, RowArray]] = field(default_factory=dict)

    @property
    def by_here(self) -> RowArray:
        """The order sorted by ``here`` instead, found when it is first asked for."""
        if "here" not in self._orders:
            self._orders["here"] = np.argsort(self.here, kind="stable")
        return self._orders["here"]

    def forward(self, reach: IntArray) -> IntArray:
        """Least cost of arriving at each row, from the cost of being at each row here."""
        return self._least("there", reach.take(self.here) + self.cost)

    def backward(self, rest: IntArray) -> IntArray:
        """Least cost from each row on, from the cost that remains at each row there."""
        return self._least("here", (rest.take(self.there) + self.cost).take(self.by_here))

    def _least(self, side: str, values: IntArray) -> IntArray:
        """The least value of the moves of each row, which are stretches of ``values``."""
        least = np.full(self.rows[side == "there"], FORBIDDEN, dtype=np.int32)
        if len(values):
            rows, starts = self._stretches_of(side)
            least[rows] = np.minimum(np.minimum.reduceat(values, starts), FORBIDDEN)
        return least

    def _stretches_of(self, side: str) -> tuple[RowArray, RowArray]:
        """The rows of one side that have moves, and where those of each begin; found when
        they are first asked for.
        """
        if side not in self._stretches:
            rows = self.there if side == "there" else self.here.take(self.by_here)
            starts = np.flatnonzero(np.r_[True, rows[1:] != rows[:-1]])
            self._stretches[side] = rows[starts].astype(np.intp), starts
        return self._stretches[side]

    def dense(self, here: IntArray, there: IntArray) -> IntArray:
        """The moves between some rows as a matrix; FORBIDDEN where there is none."""
        part = self.only(here, there)
        matrix = np.full(part.rows, FORBIDDEN, dtype=np.int32)
        np.put(matrix, part.here * np.intp(len(there)) + part.there, part.cost)
        return matrix

    def only(self, here: IntArray, there: IntArray) -> Moves:
        """The moves between some rows, which are numbered anew in their order."""
        place = np.full(self.rows[0], NONE, dtype=np.int32)
        place[here] = np.arange(len(here), dtype=np.int32)
        # Moves are sorted by their later row: those of the rows wanted are stretches.
        order = np.argsort(there, kind="stable")
        first = np.searchsorted(self.there, there[order], side="left")
        count = np.searchsorted(self.there, there[order], side="right") - first
        within = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
        moves = np.repeat(first, count) + within
        earlier = place.take(self.here.take(moves))
        kept = np.flatnonzero(earlier != NONE)
        return Moves(
            rows=(len(here), len(there)),
            here=earlier[kept],
            there=np.repeat(order.astype(np.int32), count)[kept],
            cost=self.cost[moves[kept]],
        )

    def between(self, here: int, there: int) -> int:
        """Tenths of one move; FORBIDDEN when it cannot be made."""
        first, last = np.searchsorted(self.there, np.array([there, there + 1], dtype=np.int32))
        found = np.flatnonzero(self.here[first:last] == here)
        return int(self.cost[first + found[0]]) if len(found) else FORBIDDEN


def possible(before: Grips, after: Grips, step: Step) -> Pairs:
    """Pairs of rows between which the hand can move, whatever the bar remembers.

    The shape stays while the harmony stays; a held note stays where it is or is let go;
    the tune changes its octave only where it may.
    """
    pairs = [
        (i, rows[j])
        for rows, here, there in _cases(before, after, step)
        for i, j in [_equal_pairs(here, there)]
    ]
    first = np.concatenate([i for i, _ in pairs])
    second = np.concatenate([j for _, j in pairs])
    if len(pairs) > 1:  # the pairs of one case come in order
        order = np.argsort(second * len(before) + first)
        first, second = first[order], second[order]
    return first, second


def connected(
    grips: Sequence[Grips], steps: Sequence[Step]
) -> tuple[list[Grips], list[Pairs | None]]:
    """The rows of neighbouring slots that lie on a way from the first to the last, and the
    pairs of them that are ``possible`` in each step; None where all are.
    """
    pairs: list[Pairs | None] = [
        None if _free(step) else possible(before, after, step)
        for before, after, step in zip(grips, grips[1:], steps, strict=False)
    ]
    keep = [np.ones(len(one), dtype=np.bool_) for one in grips]
    for slot, found in enumerate(pairs):
        if found is not None:
            here, there = found
            keep[slot + 1] = _met(there[keep[slot][here]], len(grips[slot + 1]))
    for slot, found in reversed(list(enumerate(pairs))):
        if found is not None:
            here, there = found
            keep[slot] &= _met(here[keep[slot + 1][there]], len(grips[slot]))
    rows = [one.only(np.flatnonzero(kept)) for one, kept in zip(grips, keep, strict=True)]
    return rows, [
        found and _among(found, here, there)
        for found, here, there in zip(pairs, keep, keep[1:], strict=False)
    ]


def _met(rows: RowArray, count: int) -> NDArray[np.bool_]:
    """Which of ``count`` rows are among ``rows``."""
    met = np.zeros(count, dtype=np.bool_)
    met[rows] = True
    return met


def _among(pairs: Pairs, here: NDArray[np.bool_], there: NDArray[np.bool_]) -> Pairs:
    """The pairs of rows that are kept, which are numbered anew."""
    if here.all() and there.all():
        return pairs
    kept = np.flatnonzero(here[pairs[0]] & there[pairs[1]])
    numbers = [np.cumsum(keep) - 1 for keep in (here, there)]
    return numbers[0][pairs[0][kept]], numbers[1][pairs[1][kept]]


def _cases(
    before: Grips, after: Grips, step: Step
) -> Iterator[tuple[NDArray[np.intp], NDArray[np.int64], NDArray[np.int64]]]:
    """The later rows by what they keep of held notes, with the marks that have to agree."""
    for tune in (False, True) if step.tune == "held" else (False,):
        for bass in (False, True) if step.bass == "held" else (False,):
            fits = np.ones(len(after), dtype=bool)
            if step.tune == "held":
                fits &= (after.tune != NONE) == tune
            if step.bass == "held":
                fits &= (after.bass_active == 1) == bass
            rows = np.flatnonzero(fits)
            here = _marks(before, step, tune=tune, bass=bass)
            yield rows, here, _marks(after, step, tune=tune, bass=bass)[rows]


def _marks(grips: Grips, step: Step, *, tune: bool, bass: bool) -> NDArray[np.int64]:
    """One number for all that has to be equal in a step: hand, octave, held notes."""
    mark = np.zeros(len(grips), dtype=np.int64)
    if not step.may_change and not step.chord_begins:
        mark += grips.hand
    mark *= 8
    if not step.may_fold:
        mark += grips.octave
    mark *= 4096
    if tune:
        mark += grips.tune + 1
    mark *= 4096
    if bass:
        mark += grips.bass + 1
    elif step.bass == "held":  # let go, or silent before and after
        mark += grips.bass // 8 + 1
    return mark


def _free(step: Step) -> bool:
    """Whether any grip may follow any other, but for what the bar remembers of its third."""
    held = "held" in (step.tune, step.bass)
    return step.may_fold and (step.may_change or step.chord_begins) and not held


def _remembered(before: Grips, after: Grips, here: Index, there: Index) -> NDArray[np.bool_]:
    """Whether the bar remembers its third rightly: it does once one was given."""
    heard = before.third_heard[here] | after.third_given[there]
    right: NDArray[np.bool_] = heard == after.third_heard[there]
    return right


def _crossings(stances: IntArray) -> NDArray[np.bool_]:
    """(stances, 3) whether each finger has the next one crossed under it: in the same fret, on
    the next string down.
    """
    upper, lower = stances[:, : LITTLE_FINGER - 1], stances[:, 1:LITTLE_FINGER]
    crossings: NDArray[np.bool_] = lower - upper == 32  # none is 0, and no place is 32
    return crossings


def _crossed_stances(stances: IntArray) -> RowArray:
    """The stances in which fingers are crossed."""
    found: RowArray = np.flatnonzero(_crossings(stances).any(axis=1))
    return found


def _taken_up_crossed(ways: IntArray, others: IntArray) -> IntArray:
    """(ways, others) how many fingers come to stand crossed from one stance to another."""
    moved = ways[:, None, :LITTLE_FINGER] != others[:, :LITTLE_FINGER]
    taken_up = (moved[..., :-1] | moved[..., 1:]) & _crossings(others)
    times: IntArray = taken_up.sum(axis=2, dtype=np.int32)
    return times


def _crossed(was: IntArray, now: IntArray) -> NDArray[np.bool_]:
    """Where one of two notes in a row (codes) lies on the next string of the other's fret, and
    of two neighbouring fingers the higher one has the lower string.
    """
    # String and finger go up or down by one together; the thumb crosses nothing, and silence
    # and what has been let go end in a higher number than any finger.
    crossed: NDArray[np.bool_] = (abs(now - was) == STRING_AND_FINGER) & (
        np.maximum(was & 7, now & 7) <= LITTLE_FINGER
    )
    return crossed


def _against(was: IntArray, now: IntArray) -> NDArray[np.bool_]:
    """Where of two notes in a row (codes), one fret apart on one string, the higher one has
    the lower finger.
    """
    steps = abs(now - was)  # of 8 for the fret, less the fingers
    against: NDArray[np.bool_] = (steps > 8 - LITTLE_FINGER) & (steps < 8)
    return against


def _equal_pairs(
    here: NDArray[np.int64], there: NDArray[np.int64]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """All (i, j) with here[i] == there[j]."""
    order = np.argsort(here, kind="stable")
    ranked = here[order]
    low = np.searchsorted(ranked, there, side="left")
    count = np.searchsorted(ranked, there, side="right") - low
    j = np.repeat(np.arange(len(there)), count)
    offset = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    return order[np.repeat(low, count) + offset], j


@dataclass(frozen=True, slots=True, eq=False)
class Mover:
    """Move costs of one level; ``octaves`` are the folds in semitones."""

    moves: MoveCosts
    shapes: ShapeCosts
    melody: MelodyCosts
    bass: BassCosts
    octaves: tuple[int, ...]
    shift_factor: float
    hand_costs: IntArray
    shaped: NDArray[np.bool_]
    change: int = 0
    _tables: dict[float, IntArray] = field(default_factory=dict)
    _folds: dict[Fold, IntArray] = field(default_factory=dict)

    def between(
        self, before: Grips, after: Grips, step: Step, pairs: Pairs | None = None
    ) -> Moves:
        """Every possible move of a step with its cost in tenths; ``pairs`` where it is known
        which are ``possible``.
        """
        if _free(step):
            # Sums of rows and columns cost a fraction of what pairs do that are looked up.
            cost = self._cost(before, after, _ROW, _COLUMN, step).ravel()
            here = np.tile(np.arange(len(before)), len(after))
            there = np.repeat(np.arange(len(after)), len(before))
            if not step.opens_bar:
                kept = np.flatnonzero(_remembered(before, after, here, there))
                here, there, cost = here[kept], there[kept], cost[kept]
        else:
            here, there = pairs or possible(before, after, step)
            if not step.opens_bar:
                kept = np.flatnonzero(_remembered(before, after, here, there))
                here, there = here[kept], there[kept]
            cost = self._cost(before, after, here, there, step)
        return Moves(
            rows=(len(before), len(after)),
            here=here.astype(np.int32),
            there=there.astype(np.int32),
            cost=cost,
        )

    def _cost(
        self, before: Grips, after: Grips, here: Index, there: Index, step: Step
    ) -> IntArray:
        """What moves cost: of one pair after the other, or as a matrix of every pair."""
        cost = self._fingers(before, after, here, there, step)
        cost += self._shift(before, after, here, there, step)
        cost += self._hand(before, after, here, there, step)
        cost += self._tune(before, after, here, there, step)
        cost += self._bass(before, after, here, there, step)
        return cost

    def _pace(self, seconds: float) -> float:
        if seconds < self.moves.fast_seconds:
            return self.moves.fast
        return self.moves.slow if seconds > self.moves.slow_seconds else 1.0

    def _fingers(
        self, before: Grips, after: Grips, here: Index, there: Index, step: Step
    ) -> IntArray:
        """A finger put down, sliding along its string, or leaving it for another."""
        table = self._finger_table(self._pace(step.seconds))
        ways, which = before.stances
        others, other = after.stances
        down = others.any(axis=0)  # a finger that nobody puts down costs nothing
        off, on = ways.T[down] * _PLACES, others.T[down]  # one finger after another
        rows, columns = which[here], other[there]
        crossed = _crossed_stances(others)
        if len(crossed) or len(ways) * len(others) < np.broadcast(rows, columns).size:
            # Many grips plant the same fingers: each two different ways are priced once.
            priced: IntArray = table.take(off[:, :, None] + on[:, None, :]).sum(
                axis=0, dtype=np.int32
            )
            if len(crossed):
                price = np.int32(tenths(self.moves.crossed))
                priced[:, crossed] += price * _taken_up_crossed(ways, others[crossed])
            return priced.take(rows * len(others) + columns)
        moved = off.take(rows, axis=1) + on.take(columns, axis=1)
        total: IntArray = table.take(moved).sum(axis=0, dtype=np.int32)
        return total

    def _finger_table(self, pace: float) -> IntArray:
        """What one finger costs between any two places, which are numbered from none on."""
        if pace not in self._tables:
            costs = self.moves
            ways = (costs.place, costs.guide, costs.hop, costs.hop + costs.hop_fret)
            place, guide, hop, leap = (np.int32(tenths(points * pace)) for points in ways)
            off, on = np.meshgrid(*[np.arange(NONE, _PLACES - 1)] * 2, indexing="ij")
            price = np.where(off % 32 == on % 32, hop, leap)
            price = np.where(off // 32 == on // 32, guide, price)
            price = np.where(off == NONE, place, price)
            table = np.where((on != NONE) & (off != on), price, 0).astype(np.int32)
            self._tables[pace] = table.ravel()
        return self._tables[pace]

    def _shift(
        self, before: Grips, after: Grips, here: Index, there: Index, step: Step
    ) -> IntArray:
        """A change of position: dearer while a fretted note has to sound on."""
        up = after.low[there] - before.high[here]
        down = before.low[here] - after.high[there]
        frets = np.maximum(np.maximum(up, down), 0)
        if not frets.any():
            return _NOTHING
        pace = self._pace(step.seconds) * self.shift_factor
        base, each = tenths(self.moves.shift * pace), self.moves.shift_fret * pace * 10
        price = np.where(frets > 0, base + each * frets, 0.0)
        price = np.where(before.fretted[here] == 0, price * self.moves.shift_free, price)
        return np.rint(price).astype(np.int32)

    def _hand(
        self, before: Grips, after: Grips, here: Index, there: Index, step: Step
    ) -> IntArray:
        """A shape is taken up with the harmony, or on a strong beat at a price; one for a
        brief harmony has the price of the pace besides.
        """
        if not step.chord_begins and not step.may_change:
            return _NOTHING
        entry = self.hand_costs.take(after.hand)
        if step.chord_begins and not (step.brief and self.change):
            return entry[there]
        changed = before.hand[here] != after.hand[there]
        taken_up = self.shaped.take(after.hand) * np.int32(self.change if step.brief else 0)
        if step.chord_begins:
            return entry[there] + np.where(changed, taken_up[there], np.int32(0))
        within = entry + taken_up + np.int32(tenths(self.shapes.change_within))
        return np.where(changed, within[there], np.int32(0))

    def _tune(
        self, before: Grips, after: Grips, here: Index, there: Index, step: Step
    ) -> IntArray:
        """A new tune note sings on from the last; an octave fold costs the music."""
        total = _NOTHING
        if step.may_fold and len(self.octaves) > 1:
            prices = self._fold_table(step.fold)
            total = prices.take((before.octave * len(self.octaves))[here] + after.octave[there])
        if step.tune == "new":
            was, now = before.tune[here], after.tune[there]
            pressed = (after.tune_finger != NONE)[there]
            apart = was ^ now  # codes are string, fret, finger: equal parts give noughts
            same = pressed & (apart & 7 == 0) & (apart != 0)
            pace = self._pace(step.seconds)
            slide = np.int32(tenths(self.moves.legato_slide * pace))
            hop = np.int32(tenths(self.moves.legato_hop * pace))
            total = total + same * np.where(apart >> 8 == 0, slide, hop)
            against = np.int32(tenths(self.moves.against * pace))
            total = total + _against(was, now) * against
            total = total + _crossed(was, now) * np.int32(tenths(self.moves.crossed))
        return total

    def _fold_table(self, fold: Fold) -> IntArray:
        """What a fold costs between any two octaves."""
        if fold not in self._folds:
            octaves = np.array(self.octaves, dtype=np.int32)
            self._folds[fold] = self._fold((octaves - octaves[:, None]).ravel(), fold)
        return self._folds[fold]

    def _fold(self, change: IntArray, fold: Fold) -> IntArray:
        """Moving the tune by octaves: dearer inside a line, most where it turns round.

        Where the source doubles its tune at the octave, the line may go on in the other of
        the two for a price of its own.
        """
        price = np.full(len(change), fold.cost, dtype=np.int32)
        if fold.intervals:
            taken = fold.intervals[0] + change
            broken = np.sign(taken) != np.sign(fold.intervals[0])
            price += np.where(broken, np.int32(tenths(self.melody.contour_broken)), np.int32(0))
            if abs(fold.intervals[0]) <= self.melody.close:
                price += np.int32(tenths(self.melody.close_interval))
        far = np.where(abs(change) > 12, np.int32(tenths(self.melody.two_octaves)), np.int32(0))
        price += far
        if fold.intervals[1:]:
            doubled = np.isin(taken, fold.intervals[1:])
            most = np.int32(tenths(self.melody.octave_doubled))
            price = np.where(doubled, np.minimum(price, most), price)
        counted = np.rint(price * fold.weight).astype(np.int32)
        return np.where(change != 0, counted, np.int32(0))

    def _line(self, taken: IntArray, wanted: int) -> IntArray:
        """A bass line goes on by the steps of the source.

        Steps and thirds keep their direction; a fourth up is as good as a fifth down, and
        any wider leap as its octave inversion: what roots do from chord to chord.
        """
        if abs(wanted) <= self.bass.near:
            off = abs(taken - wanted)
            turned = np.sign(taken) != np.sign(wanted)
        else:
            inverted = wanted - 12 * (1 if wanted > 0 else -1)
            off = np.minimum(abs(taken - wanted), abs(taken - inverted))
            turned = np.zeros_like(taken, dtype=np.bool_)
        far = np.rint(np.maximum(off - FIFTH, 0) * self.bass.leap * 10).astype(np.int32)
        price: IntArray = np.where(turned, np.int32(tenths(self.bass.direction)), 0) + far
        return price.astype(np.int32)

    def _bass(
        self, before: Grips, after: Grips, here: Index, there: Index, step: Step
    ) -> IntArray:
        """A new thumb note alternates with the one before, or leads on from it; it should not
        take the string on which a finger's note still sounds.
        """
        total = _NOTHING
        if step.bass != "new":
            return total
        was, now = before.bass_string[here], after.bass_string[there]
        known = (was != NONE) & (now != NONE)
        taken = after.bass_midi[there] - before.bass_midi[here]
        if step.alternates:
            same = np.where(was == now, np.int32(tenths(self.bass.same_string)), np.int32(0))
            same += np.where(taken == 0, np.int32(tenths(self.bass.same_pitch)), np.int32(0))
            total = known * same
        crossed = np.int32(tenths(self.moves.crossed))
        total = total + _crossed(before.bass[here], after.bass[there]) * crossed
        cut = before.finger_strings[here] >> np.maximum(now, 0) & 1
        total = total + cut * np.int32(tenths(self.bass.cuts_off))
        if step.bass_step is not None:
            total = total + known * self._line(taken, step.bass_step)
        if step.led_by:
            led = known & np.isin(before.bass_midi[here] % 12, step.led_by)
            missed = led & ((abs(taken) > MOST_STEP) | (taken == 0))
            total = total + missed * np.int32(tenths(self.bass.leading_missed))
        return total
