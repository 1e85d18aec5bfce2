"""Where the tune and the thumb's note may lie from one hand, and which finger presses them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field

import numpy as np

from arranger.neck.burden import NO_BURDEN, Burden
from arranger.neck.fretboard import Spot, spots_of
from arranger.neck.grips import NONE, RELEASED, Context, IntArray, spot_code, tenths
from arranger.neck.hands import Hand, Hands
from arranger.neck.reach import THUMB, HandRules
from arranger.tables.arranging import BassCosts, MelodyCosts

LOWEST_TUNE_STRING = 5
"""The sixth string is the thumb's alone; common practice, no source."""
FIFTH_FRET = 5
"""Above it lies what a student learns after the low positions; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Voicing:
    """What the thumb or a tune finger does: ``octave`` indexes Context.octaves;
    ``active`` is False for a note that has been let go.
    """

    spot: Spot | None
    finger: int
    cost: int
    octave: int = 0
    active: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Voicings:
    """Voicings of one voice from one hand, the cheap ones first, as columns."""

    items: tuple[Voicing, ...]
    code: IntArray
    string: IntArray
    midi: IntArray
    cost: IntArray
    octave: IntArray
    sounds: IntArray


def as_columns(found: Iterable[Voicing], tuning: tuple[int, ...]) -> Voicings:
    """Voicings sorted by cost (ties keep their order); NONE stands for silence."""
    items = tuple(sorted(found, key=_cost))
    rows = [_row(one, tuning) for one in items]
    columns = np.array(rows, dtype=np.int32).reshape(len(items), 6).T.copy()
    return Voicings(items, *columns)


def _cost(voicing: Voicing) -> int:
    return voicing.cost


def _row(one: Voicing, tuning: tuple[int, ...]) -> tuple[int, ...]:
    """Code, string, MIDI number, cost, octave, and whether it sounds."""
    spot = one.spot
    if spot is None:
        return NONE, NONE, NONE, one.cost, one.octave, 0
    code = spot_code(spot, one.finger if one.active else RELEASED)
    midi = tuning[spot.string - 1] + spot.fret
    return code, spot.string, midi, one.cost, one.octave, int(one.active)


@dataclass(frozen=True, slots=True, eq=False)
class VoicingMaker:
    """Finds the voicings of a context from each hand; equal questions are answered once."""

    rules: HandRules
    hands: Hands
    costs: MelodyCosts
    bass: BassCosts
    lowest_tune: int
    burden: Burden = NO_BURDEN
    _known: dict[object, dict[int, Voicings]] = field(default_factory=dict)

    def tunes(self, context: Context) -> list[Voicings]:
        """Places and fingers for the tune note from each hand of the context, in every
        octave that the level reaches.
        """
        asked = (context.tune, context.tune_begins, context.octaves, context.cut_cost)
        return self._each(asked, context, self._tunes)

    def basses(self, context: Context) -> list[Voicings]:
        """Places and fingers for the thumb's note on strings 6, 5 and 4, or silence, from
        each hand of the context.
        """
        asked = (
            *(context.choices, context.stroke_begins),
            *(context.rest_cost, context.released_cost),
        )
        return self._each(asked, context, self._basses)

    def _each(
        self,
        asked: object,
        context: Context,
        find: Callable[[Context, Hand], Iterable[Voicing]],
    ) -> list[Voicings]:
        known = self._known.setdefault(asked, {})
        for place in context.hands:
            if place not in known:
                found = find(context, self.hands[place])
                known[place] = as_columns(found, self.rules.neck.tuning)
        return [known[place] for place in context.hands]

    # The tune ------------------------------------------------------------------------

    def _tunes(self, context: Context, hand: Hand) -> Iterator[Voicing]:
        octaves = range(len(context.octaves))
        if context.tune is None:
            yield from (Voicing(None, 0, 0, octave) for octave in octaves)
            return
        if not context.tune_begins:
            yield from (Voicing(None, 0, context.cut_cost, octave) for octave in octaves)
        elif hand.shape is None and hand.low == 1:  # a last resort, offered once
            missing = tenths(self.costs.omit)
            yield from (Voicing(None, 0, missing, octave) for octave in octaves)
        for octave, fold in enumerate(context.octaves):
            midi = context.tune + fold
            if self.lowest_tune <= midi <= self.rules.level.top_note:
                yield from self._tune_at(context, hand, octave, midi)

    def _tune_at(
        self, context: Context, hand: Hand, octave: int, midi: int
    ) -> Iterator[Voicing]:
        begins = context.tune_begins
        for spot in spots_of(self.rules.neck, midi):
            if spot.string > LOWEST_TUNE_STRING or not self.rules.allows_spot(spot):
                continue
            extra = self._lowness(spot, midi) + self.burden.begun(spot) if begins else 0
            if begins and spot.fret and hand.shape is not None and not hand.finger_at(spot):
                extra += tenths(self.rules.costs.melody_roams)
            for finger, cost in self._fingers(spot, hand, begins=begins):
                yield Voicing(spot, finger, cost + extra, octave)

    def _lowness(self, spot: Spot, midi: int) -> int:
        """Tenths by which a tune note lies too low to sing above the bass."""
        low = self.costs.low * max(0, self.costs.comfortable_low - midi)
        return tenths(low + self.costs.thumb_string * max(0, spot.string - 3))

    # The thumb -----------------------------------------------------------------------

    def _basses(self, context: Context, hand: Hand) -> Iterator[Voicing]:
        if not context.choices:
            yield Voicing(None, 0, 0)
            return
        begins = context.stroke_begins
        yield Voicing(None, 0, context.rest_cost if begins else 0)
        tuning = self.rules.neck.tuning
        for tone, tone_cost in context.choices:
            for string in (6, 5, 4):
                first = (tone - tuning[string - 1]) % 12
                for fret in range(first, self.rules.max_fret + 1, 12):
                    spot = Spot(string, fret)
                    price = 0
                    if begins:
                        price = tone_cost + self._highness(spot) + self.burden.begun(spot)
                    yield from self._bass_at(context, hand, spot, price)

    def _highness(self, spot: Spot) -> int:
        """Tenths by which a bass note lies so high that it leaves the tune no room."""
        midi = self.rules.neck.midi(spot)
        return tenths(self.bass.high * max(0, midi - self.bass.comfortable_high))

    def _bass_at(
        self, context: Context, hand: Hand, spot: Spot, price: int
    ) -> Iterator[Voicing]:
        begins = context.stroke_begins
        if begins and hand.shape is not None and hand.shape.frets[6 - spot.string] != spot.fret:
            price += tenths(self.rules.costs.not_in_shape)
        for finger, cost in self._fingers(spot, hand, begins=begins):
            yield Voicing(spot, finger, price + cost)
        # An open string costs nothing to hold, but one of two voices where there are no more.
        if not begins and (spot.fret or self.rules.level.tune_and_thumb):
            yield Voicing(spot, 0, context.released_cost, active=False)

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
        cost += costs.above_fifth * max(0, spot.fret - FIFTH_FRET)
        return cost + costs.high_on_low * max(0, spot.fret - FIFTH_FRET) * (spot.string >= 3)


def _extends(finger: int, stand: int, hand: Hand) -> bool:
    """Any finger comes one fret back (two share a fret so); the little one goes one on."""
    return finger == 4 or stand < hand.low
