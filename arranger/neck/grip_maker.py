"""Every grip worth trying at a slot: tune, thumb and inner notes on strings and fingers.

Tune and thumb are combined as columns; only what is left after the ceiling is looked at
grip by grip. Left out are grips that cost far more than the best one in the same octave,
and of grips that differ in inner notes alone all but the cheapest.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from arranger.neck.burden import NO_BURDEN, Burden
from arranger.neck.grips import (
    NONE,
    Context,
    FillBook,
    Grips,
    Held,
    IntArray,
    RowArray,
    stance_code,
    tenths,
)
from arranger.neck.hands import Hands
from arranger.neck.inner_notes import Filled, InnerNotes, presses_of
from arranger.neck.reach import HandRules
from arranger.neck.voicings import VoicingMaker, Voicings
from arranger.tables.arranging import BassCosts, FillCosts, MelodyCosts

UNHOLDABLE = 10**6
"""Tenths that stand for a pair no hand can hold."""
NO_CEILING = 10**6
MOST_HANDS = 10**5
"""Above the number of any hand."""


@dataclass(frozen=True, slots=True, eq=False)
class _Pairs:
    """Combinations of a tune and a thumb voicing under a hand, by their codes.

    ``apart`` is the cost of both, ``cost`` that of holding them together as well; neither has
    the inner notes and their wish in it.
    """

    hand: IntArray
    octave: IntArray
    tune_code: IntArray
    bass_code: IntArray
    bass_sounds: IntArray
    apart: IntArray
    cost: IntArray

    def only(self, rows: RowArray) -> _Pairs:
        return _Pairs(*[getattr(self, name).take(rows) for name in PAIR_COLUMNS])


PAIR_COLUMNS = tuple(column.name for column in fields(_Pairs))


@dataclass(frozen=True, slots=True, eq=False)
class _Drafts:
    """Grips before their planted fingers are known; ``filled`` as in ``Grips``."""

    pairs: _Pairs
    filled: IntArray
    gives: NDArray[np.bool_]
    cost: IntArray
    asked_for: NDArray[np.bool_]


def _has_space(pairs: _Pairs) -> NDArray[np.bool_]:
    """Whether a string lies between tune and thumb (the fingers go down to the fourth)."""
    top = np.where(pairs.tune_code == NONE, 0, pairs.tune_code // 256)
    bottom = np.where(pairs.bass_sounds == 1, np.minimum(pairs.bass_code // 256, 5), 5)
    space: NDArray[np.bool_] = bottom - top > 1
    return space


@dataclass(frozen=True, slots=True, eq=False)
class GripMaker:
    """Makes the grips of a context for one hand (player, level, neck)."""

    rules: HandRules
    hands: Hands
    melody_costs: MelodyCosts
    bass_costs: BassCosts
    fill_costs: FillCosts
    lowest_tune: int
    bass_below: int
    inner_below: int
    ceiling: int
    burden: Burden = NO_BURDEN
    book: FillBook = field(default_factory=FillBook)
    voicings: VoicingMaker = field(init=False)
    inner: InnerNotes = field(init=False)
    _hold: dict[int, int] = field(default_factory=dict)
    _planted: dict[int, int] = field(default_factory=dict)
    _pairs_known: dict[object, _Pairs] = field(default_factory=dict)

    def __post_init__(self) -> None:
        maker = VoicingMaker(
            self.rules,
            self.hands,
            self.melody_costs,
            self.bass_costs,
            self.lowest_tune,
            self.burden,
        )
        inner = InnerNotes(
            self.rules, self.hands, self.fill_costs, self.inner_below, self.book, self.burden
        )
        object.__setattr__(self, "voicings", maker)
        object.__setattr__(self, "inner", inner)

    def plainer(self, *, voices: int) -> GripMaker:
        """A maker for the same hand with fewer voices."""
        level = self.rules.level.model_copy(update={"voices": voices})
        plain = replace(self, rules=replace(self.rules, level=level))
        # Neither voicings nor holds depend on the number of voices: what one finds is found.
        object.__setattr__(plain, "voicings", self.voicings)
        return plain

    def grips(self, context: Context, held: Held | None = None) -> Grips:
        """Every grip of ``context`` that is worth trying, going on from what is ``held``."""
        pairs = self._holdable(context)
        if held is not None:
            allowed = held.allows(pairs.hand, pairs.octave, pairs.tune_code, pairs.bass_code)
            pairs = pairs.only(np.flatnonzero(allowed))
        pairs = self._cheap(context, pairs, self._with_wish(context, pairs))
        drafts = self._drafts(context, pairs)
        keep = drafts.cost <= self._limit(context, drafts.pairs, drafts.cost)
        keep |= drafts.asked_for
        return self._columns(context, drafts, np.flatnonzero(keep))

    # Tune and thumb ------------------------------------------------------------------

    def _holdable(self, context: Context) -> _Pairs:
        """Tune and thumb together from every hand, where they are clear of each other and
        can be held by one hand, whatever was before.

        Moments of a piece often ask for the same tune over the same bass: found once.
        """
        key = (
            *(context.hands, context.tune, context.tune_begins, context.octaves),
            *(context.choices, context.stroke_begins, context.rest_cost),
            *(context.missing_cost, context.released_cost),
        )
        known = self._pairs_known.get(key)
        if known is None:
            clear = self._clear(
                self.voicings.tunes(context),
                self.voicings.basses(context),
                np.array(context.hands, dtype=np.int32),
            )
            hold = self._hold_costs(clear)
            plucked = (clear.tune_code != NONE) & context.tune_begins
            plucked |= (clear.bass_code != NONE) & context.stroke_begins
            asked = clear.cost + hold + plucked * np.int32(self.burden.strike)
            cost = np.minimum(asked, UNHOLDABLE).astype(np.int32)
            known = replace(clear, cost=cost).only(np.flatnonzero(hold < UNHOLDABLE))
            self._pairs_known[key] = known
        return known

    def _clear(self, tune: Voicings, bass: Voicings, hands: IntArray) -> _Pairs:
        """The tune lies on a higher string than the thumb, and clearly above it."""
        sizes = np.bincount(bass.place, minlength=len(hands))
        starts = np.cumsum(sizes) - sizes
        times = sizes[tune.place]
        left = np.repeat(np.arange(len(tune.place)), times)
        within = np.arange(len(left)) - np.repeat(np.cumsum(times) - times, times)
        right = starts[tune.place[left]] + within
        alone = (tune.string[left] == NONE) | (bass.sounds[right] == 0)
        clear = (tune.string[left] < bass.string[right]) & (
            bass.midi[right] <= tune.midi[left] - self.bass_below
        )
        kept = np.flatnonzero(alone | clear)
        left, right = left[kept], right[kept]
        cost = tune.cost[left] + bass.cost[right]
        return _Pairs(
            hand=hands[tune.place[left]],
            octave=tune.octave[left],
            tune_code=tune.code[left],
            bass_code=bass.code[right],
            bass_sounds=bass.sounds[right],
            apart=cost,
            cost=cost,
        )

    def _hold_costs(self, pairs: _Pairs) -> IntArray:
        """What holding tune and thumb together costs; each different pair is asked once."""
        sounding = np.where(pairs.bass_sounds == 1, pairs.bass_code, NONE).astype(np.int64)
        marks = (pairs.tune_code.astype(np.int64) + 1) * 4096 + sounding + 1
        different, where = np.unique(marks, return_inverse=True)
        asked, known = different.tolist(), self._hold
        for mark in asked:
            if mark not in known:
                held = self.rules.hold(presses_of(mark // 4096 - 1, mark % 4096 - 1))
                known[mark] = UNHOLDABLE if held is None else tenths(held)
        costs: IntArray = np.array([known[mark] for mark in asked], dtype=np.int32)
        return costs[where]

    # The ceiling ---------------------------------------------------------------------

    def _with_wish(self, context: Context, pairs: _Pairs) -> IntArray:
        """The cost of every pair when it goes without inner notes."""
        if context.fill is None:
            return pairs.cost
        wish: IntArray = np.where(self._has_room(context, pairs), context.fill[1], 0)
        return (pairs.cost + wish).astype(np.int32)

    def _has_room(self, context: Context, pairs: _Pairs) -> NDArray[np.bool_]:
        """Whether an inner note may be added: no note of the source is left out, and a voice is
        free.
        """
        sounding = (pairs.tune_code != NONE).astype(np.int32) + pairs.bass_sounds
        left_out = (pairs.tune_code == NONE) & (context.tune is not None)
        # A stroke that costs nothing to leave out was an offer: a finger may take it up.
        left_out |= (pairs.bass_code == NONE) & (context.rest_cost > 0)
        room: NDArray[np.bool_] = ~left_out & (sounding < self.rules.level.voices)
        return room

    def _limit(self, context: Context, pairs: _Pairs, cost: IntArray) -> IntArray:
        """The most a grip may cost: the best of its octave, with or without the tune, and
        the ceiling; no limit where nothing begins.
        """
        if not (context.tune_begins or context.stroke_begins):
            return np.full(len(cost), NO_CEILING * 2, dtype=np.int32)
        group = pairs.octave * 2 + (pairs.tune_code == NONE)
        best = np.full(2 * len(context.octaves), NO_CEILING, dtype=np.int32)
        np.minimum.at(best, group, cost)
        limit: IntArray = best.take(group) + np.int32(self.ceiling)
        return limit

    def _cheap(self, context: Context, pairs: _Pairs, with_wish: IntArray) -> _Pairs:
        """Without pairs that are too dear even if their inner notes were free."""
        return pairs.only(np.flatnonzero(pairs.cost <= self._limit(context, pairs, with_wish)))

    # Inner notes ---------------------------------------------------------------------

    def _drafts(self, context: Context, pairs: _Pairs) -> _Drafts:
        """Every pair with its cheapest inner notes, with and without an owed third."""
        wanted = context.fill is not None or (
            context.third is not None and (context.stroke_begins or context.tune_begins)
        )
        free = self._has_room(context, pairs) & wanted
        room = free & _has_space(pairs)
        gives = self._gives(context, pairs)
        bare = pairs.cost if context.fill is None else pairs.cost + free * context.fill[1]
        if not room.any():
            none = np.zeros(len(bare), dtype=np.int32)
            return _Drafts(pairs, none, gives, bare.astype(np.int32), none.astype(bool))
        plain = np.flatnonzero(~room)
        rows, sets = self._inner_sets(context, pairs, np.flatnonzero(room))
        number, given, cost, asked_for = sets.T
        none = np.zeros(len(plain), dtype=np.int32)
        which = np.concatenate([plain, rows])
        order = np.argsort(which, kind="stable")
        return _Drafts(
            pairs.only(which[order]),
            np.concatenate([none, number])[order],
            np.concatenate([gives[plain], given.astype(bool)])[order],
            np.concatenate([bare[plain], pairs.apart[rows] + cost])[order].astype(np.int32),
            np.concatenate([none, asked_for])[order].astype(bool),
        )

    def _inner_sets(
        self, context: Context, pairs: _Pairs, spare: RowArray
    ) -> tuple[RowArray, IntArray]:
        """The sets of inner notes for the rows ``spare``: the row of each, and (sets, 4) what
        ``Filled`` says of it.
        """
        asking = self.inner.asked(context)
        columns = (pairs.hand, pairs.tune_code, pairs.bass_code)
        grips = zip(*(column[spare].tolist() for column in columns), strict=True)
        found = [self.inner.sets(asking, *grip) for grip in grips]
        rows = np.repeat(spare, [len(sets) for sets in found])
        flat = chain.from_iterable(chain.from_iterable(found))
        return rows, np.fromiter(flat, dtype=np.int32).reshape(-1, len(Filled._fields))

    def _gives(self, context: Context, pairs: _Pairs) -> NDArray[np.bool_]:
        """Whether tune or thumb begin the third that the bar owes."""
        if context.third is None:
            return np.ones(len(pairs.cost), dtype=bool)
        gives = np.zeros(len(pairs.cost), dtype=bool)
        for begins, code in (
            (context.tune_begins, pairs.tune_code),
            (context.stroke_begins, pairs.bass_code),
        ):
            if begins:
                gives |= (code != NONE) & (self._midi(code) % 12 == context.third)
        return gives

    def _midi(self, code: IntArray) -> IntArray:
        tuning = np.array((0, *self.rules.neck.tuning), dtype=np.int32)
        midi: IntArray = np.where(code == NONE, NONE, tuning.take(code // 256) + code // 8 % 32)
        return midi

    # Columns -------------------------------------------------------------------------

    def _columns(self, context: Context, drafts: _Drafts, kept: RowArray) -> Grips:
        """The grips in full, each once for what the bar may remember of its third."""
        rows, heard = self._with_memory(context, drafts, kept)
        pairs = drafts.pairs.only(rows)
        filled = drafts.filled[rows]
        tune, bass = pairs.tune_code, pairs.bass_code
        fretted = (tune != NONE) & (tune // 8 % 32 > 0)
        fretted |= (pairs.bass_sounds == 1) & (bass // 8 % 32 > 0)
        fretted |= self.book.fretted().take(filled)
        stands = self.hands.stands().take(pairs.hand, axis=0)
        tune_string = np.where(tune == NONE, NONE, tune // 256).astype(np.int32)
        sounding = np.where(tune == NONE, 0, np.int32(1) << np.maximum(tune_string, 0))
        gives = drafts.gives[rows]
        missing = np.where(~gives & ~heard, context.third_cost, 0)
        return Grips(
            hand=pairs.hand,
            octave=pairs.octave,
            tune=tune,
            tune_string=tune_string,
            tune_finger=np.where((tune == NONE) | (tune % 8 == 0), NONE, tune % 8).astype(
                np.int32
            ),
            bass=bass,
            bass_string=np.where(bass == NONE, NONE, bass // 256).astype(np.int32),
            bass_midi=self._midi(bass).astype(np.int32),
            bass_active=pairs.bass_sounds,
            finger_strings=(sounding | self.book.strings().take(filled)).astype(np.int32),
            fretted=fretted.astype(np.int32),
            third_given=gives.astype(np.int32),
            third_heard=heard.astype(np.int32),
            cost=(drafts.cost[rows] + missing).astype(np.int32),
            low=stands[:, 0],
            high=stands[:, 1],
            stance=self._stances(pairs, filled),
            filled=filled,
            book=self.book,
        )

    def _with_memory(
        self, context: Context, drafts: _Drafts, kept: RowArray
    ) -> tuple[RowArray, NDArray[np.bool_]]:
        """Rows, doubled where the third may have been heard before or not."""
        gives = drafts.gives[kept]
        times = np.where(gives | context.opens_bar, 1, 2)
        rows = np.repeat(kept, times)
        second = np.zeros(len(rows), dtype=bool)
        second[np.cumsum(times)[times == 2] - 1] = True
        return rows, drafts.gives[rows] | second

    def _stances(self, pairs: _Pairs, filled: IntArray) -> NDArray[np.int64]:
        """The stance of every row; each different hold is looked at once."""
        marks = (filled.astype(np.int64) * MOST_HANDS + pairs.hand) * 4096
        marks = (marks + pairs.tune_code + 1) * 4096 + pairs.bass_code + 1
        asked, known = marks.tolist(), self._planted
        for mark in asked:
            if mark not in known:
                known[mark] = stance_code(self._plant(mark))
        return np.array([known[mark] for mark in asked], dtype=np.int64)

    def _plant(self, mark: int) -> tuple[int, ...]:
        """Where fingers 1..4 and the thumb stand: what sounds first, then the shape's rest."""
        held, tune, bass = mark // 4096**2, mark // 4096 % 4096 - 1, mark % 4096 - 1
        inner, hand = self.book[held // MOST_HANDS], self.hands[held % MOST_HANDS]
        presses = presses_of(tune, bass)
        presses += [(spot.string, spot.fret, finger) for spot, finger in inner]
        planted = [NONE] * 5
        for string, fret, finger in presses:
            if finger and string * 32 > planted[finger - 1]:
                planted[finger - 1] = string * 32 + fret
        strings = {string: fret for string, fret, _ in presses}
        for finger, spot in hand.planted:
            if planted[finger - 1] != NONE or strings.get(spot.string, 99) < spot.fret:
                continue
            others = [press for press in presses if press[0] != spot.string]
            if self.rules.hold([*others, (spot.string, spot.fret, finger)]) is not None:
                planted[finger - 1] = spot.string * 32 + spot.fret
        return tuple(planted)
