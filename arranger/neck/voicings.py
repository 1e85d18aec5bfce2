"""Where the tune and the thumb's note may lie from one hand, and which finger presses them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np
from numpy.typing import NDArray

from arranger.neck.burden import NO_BURDEN, Burden
from arranger.neck.fretboard import Spot, spots_of
from arranger.neck.grips import NONE, RELEASED, Context, IntArray, RowArray, spot_code, tenths
from arranger.neck.hands import Hand, Hands
from arranger.neck.reach import THUMB, HandRules
from arranger.tables.arranging import BassCosts, MelodyCosts


@dataclass(frozen=True, slots=True, eq=False)
class Voicings:
    """What the thumb or a tune finger may do, from every hand of a context, as columns.

    ``place`` is the hand's place in the context; within a hand the cheap ones come first.
    ``code``, ``string`` and ``midi`` are NONE for silence; ``octave`` indexes
    Context.octaves; ``sounds`` is 0 for silence and for a note that has been let go.
    """

    place: RowArray
    code: IntArray
    string: IntArray
    midi: IntArray
    cost: IntArray
    octave: IntArray
    sounds: IntArray


Rows = NDArray[np.int32]
"""Code, string, MIDI number, cost, octave and whether it sounds, in as many columns."""
COST, OCTAVE = 3, 4


def _rows(found: Iterable[tuple[int, ...]]) -> Rows:
    return np.array(list(found), dtype=np.int32).reshape(-1, 6)


@cache
def _silence(cost: int, octave: int = 0) -> Rows:
    rows = _rows([(NONE, NONE, NONE, cost, octave, 0)])
    rows.setflags(write=False)  # every caller has the same
    return rows


def _raised(rows: Rows, column: int, by: int) -> Rows:
    """The rows with ``by`` more in one column."""
    if not by:
        return rows
    raised = rows.copy()
    raised[:, column] += by
    return raised


def _sorted(by_hand: Sequence[Sequence[Rows]]) -> Voicings:
    """The rows of every hand in turn, the cheap ones first (ties keep their order)."""
    counts = [sum(len(part) for part in parts) for parts in by_hand]
    rows = np.concatenate([_rows(()), *(part for parts in by_hand for part in parts)])
    place = np.repeat(np.arange(len(by_hand)), counts)
    order = np.lexsort((rows[:, COST], place))
    return Voicings(place[order], *np.ascontiguousarray(rows[order].T))


@dataclass(frozen=True, slots=True, eq=False)
class VoicingMaker:
    """Finds the voicings of a context from each hand; equal questions are answered once."""

    rules: HandRules
    hands: Hands
    costs: MelodyCosts
    bass: BassCosts
    lowest_tune: int
    burden: Burden = NO_BURDEN
    _known: dict[object, Voicings] = field(default_factory=dict)
    _tune_known: dict[tuple[int, int, bool], Rows] = field(default_factory=dict)
    _bass_known: dict[tuple[int, int, bool], Rows] = field(default_factory=dict)

    # The tune ------------------------------------------------------------------------

    def tunes(self, context: Context) -> Voicings:
        """Places and fingers for the tune note from each hand of the context, in every
        octave that the level reaches.
        """
        asked = (
            *("tune", context.hands, context.tune, context.tune_begins),
            *(context.octaves, context.missing_cost),
        )
        if asked not in self._known:
            found = [self._tunes(context, hand) for hand in context.hands]
            self._known[asked] = _sorted(found)
        return self._known[asked]

    def _tunes(self, context: Context, number: int) -> list[Rows]:
        octaves = range(len(context.octaves))
        if context.tune is None:
            return [_silence(0, octave) for octave in octaves]
        found: list[Rows] = []
        hand = self.hands[number]
        # It is let go, or left out where it begins: a last resort, offered once.
        if not context.tune_begins or (hand.shape is None and hand.low == 1):
            found += [_silence(context.missing_cost, octave) for octave in octaves]
        for octave, fold in enumerate(context.octaves):
            midi = context.tune + fold
            if self.lowest_tune <= midi <= self.rules.level.top_note:
                rows = self._tune_at(number, midi, context.tune_begins)
                found.append(_raised(rows, OCTAVE, octave))
        return found

    def _tune_at(self, number: int, midi: int, begins: bool) -> Rows:
        """Every way to play a tune note of this pitch from one hand."""
        key = number, midi, begins
        if key not in self._tune_known:
            self._tune_known[key] = _rows(self._tune_ways(self.hands[number], midi, begins))
        return self._tune_known[key]

    def _tune_ways(self, hand: Hand, midi: int, begins: bool) -> Iterator[tuple[int, ...]]:
        for spot in spots_of(self.rules.neck, midi):
            if spot.string > self.rules.costs.tune_string or not self.rules.allows_spot(spot):
                continue
            extra = self._tune_price(spot, hand) if begins else 0
            for finger, cost in self._fingers(spot, hand, begins=begins):
                yield spot_code(spot, finger), spot.string, midi, cost + extra, 0, 1

    def _tune_price(self, spot: Spot, hand: Hand) -> int:
        """Tenths by which a tune note lies too low to sing above the bass, beside the shape,
        or where a higher string has it nearer the nut.
        """
        midi = self.rules.neck.midi(spot)
        low = self.costs.low * max(0, self.costs.comfortable_low - midi)
        price = tenths(low + self.costs.thumb_string * max(0, spot.string - 3))
        price += self.burden.begun(spot)
        if hand.finger_at(spot) is not None:
            return price
        if self._past_open(spot):
            price += tenths(self.costs.past_open)
        roams = spot.fret > 0 and hand.shape is not None
        return price + (tenths(self.rules.costs.melody_roams) if roams else 0)

    # The thumb -----------------------------------------------------------------------

    def basses(self, context: Context) -> Voicings:
        """Places and fingers for the thumb's note on strings 6, 5 and 4, or silence, from
        each hand of the context.
        """
        asked = (
            *("bass", context.hands, context.choices, context.stroke_begins),
            *(context.rest_cost, context.released_cost),
        )
        if asked not in self._known:
            self._known[asked] = _sorted(
                [self._basses(context, hand) for hand in context.hands]
            )
        return self._known[asked]

    def _basses(self, context: Context, number: int) -> list[Rows]:
        begins = context.stroke_begins
        found = [_silence(context.rest_cost if begins and context.choices else 0)]
        for tone, tone_cost in context.choices:
            ways = self._bass_at(number, tone, begins)
            if begins:
                found.append(_raised(ways, COST, tone_cost))
            else:
                found.append(_with_released(ways, context.released_cost))
        return found

    def _bass_at(self, number: int, tone: int, begins: bool) -> Rows:
        """Every way for the thumb to play a pitch class from one hand."""
        key = number, tone, begins
        if key not in self._bass_known:
            self._bass_known[key] = _rows(self._bass_ways(self.hands[number], tone, begins))
        return self._bass_known[key]

    def _bass_ways(self, hand: Hand, tone: int, begins: bool) -> Iterator[tuple[int, ...]]:
        tuning = self.rules.neck.tuning
        for string in (6, 5, 4):
            first = (tone - tuning[string - 1]) % 12
            for fret in range(first, self.rules.max_fret + 1, 12):
                spot = Spot(string, fret)
                where = string, self.rules.neck.midi(spot)
                price = self._bass_price(spot, hand) if begins else 0
                for finger, cost in self._fingers(spot, hand, begins=begins):
                    yield spot_code(spot, finger), *where, price + cost, 0, 1
                # An open string costs nothing to hold, but one of two voices where there are
                # no more.
                if not begins and (fret or self.rules.level.tune_and_thumb):
                    yield spot_code(spot, RELEASED), *where, 0, 0, 0

    def _bass_price(self, spot: Spot, hand: Hand) -> int:
        """Tenths by which a bass note lies so high that it leaves the tune no room, in the
        reach of an open string, or beside the shape.
        """
        midi = self.rules.neck.midi(spot)
        above = max(0, midi - self.bass.comfortable_high)
        price = tenths(self.bass.high * above) + self.burden.begun(spot)
        if hand.shape is not None and hand.shape.frets[6 - spot.string] == spot.fret:
            return price
        if self._past_open(spot):
            price += tenths(self.bass.past_open)
        return price + (tenths(self.rules.costs.not_in_shape) if hand.shape is not None else 0)

    def _past_open(self, spot: Spot) -> bool:
        """Whether a spot is at the pitch of the next open string or above it."""
        neck = self.rules.neck
        return spot.string > 1 and neck.midi(spot) >= neck.tuning[spot.string - 2]

    # Fingers -------------------------------------------------------------------------

    def _fingers(self, spot: Spot, hand: Hand, *, begins: bool) -> list[tuple[int, int]]:
        """Fingers that may press ``spot`` from this hand, with what the hold costs."""
        costs = self.rules.costs
        if spot.fret == 0:
            return [(0, 0)]
        planted = hand.finger_at(spot)
        if planted is not None and begins:
            return [(planted, tenths(costs.fret * spot.fret))]
        found = []
        for finger in (1, 2, 3, 4):
            stand = spot.fret - finger + 1
            off = max(hand.low - stand, stand - hand.high, 0)
            if off > 1 or (off and not _extends(finger, stand, hand)):
                continue
            cost = self._off(finger, stand, hand) if off else 0.0
            found.append(
                (finger, tenths(self._pressed(cost, spot, finger) if begins else cost))
            )
        thumb = spot.string == 6 and "thumb over" in self.rules.player.techniques
        if thumb and spot.fret <= self.rules.table.thumb_fret_most:
            found.append((THUMB, tenths(costs.fret * spot.fret)))
        return sorted(found, key=lambda pair: pair[1])

    def _off(self, finger: int, stand: int, hand: Hand) -> float:
        """A finger one fret away from its own; the little finger comes back easily."""
        back = finger == 4 and stand < hand.low
        return self.rules.costs.off_fret_little_back if back else self.rules.costs.off_fret

    def _pressed(self, cost: float, spot: Spot, finger: int) -> float:
        """Putting a finger down: height on the neck, the weaker fingers, thick strings.

        Added to ``cost`` one by one: another order would round some sums to another tenth.
        """
        costs = self.rules.costs
        weak = {4: costs.little_finger, 3: costs.ring_finger, 1: costs.first_finger}
        cost += costs.fret * spot.fret
        cost += weak.get(finger, 0.0)
        above = max(0, spot.fret - costs.low_frets)
        cost += costs.above_low_frets * above
        return cost + costs.high_on_low * above * (spot.string >= 3)


def _with_released(ways: Rows, cost: int) -> Rows:
    """The ways of a thumb's note with what it costs to let it go."""
    released = ways.copy()
    released[ways[:, -1] == 0, COST] = cost
    return released


def _extends(finger: int, stand: int, hand: Hand) -> bool:
    """Any finger comes one fret back (two share a fret so); the little one goes one on."""
    return finger == 4 or stand < hand.low
