"""The plain enumeration of grips, one by one: slow, and the oracle of the fast one.

Every grip worth trying at a slot: tune, thumb and inner notes on strings and fingers.

A grip is what sounds at one moment and how it is held. It is enumerated once for each
different context (harmony, tune note, stroke, wishes); costs are whole tenths of a point.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations

from arranger.neck.fretboard import Spot, spots_of
from arranger.neck.grips import NONE, RELEASED, Context, Grip, tenths
from arranger.neck.hands import Hand
from arranger.neck.reach import THUMB, HandRules, Press
from arranger.tables.arranging import BassCosts, FillCosts, MelodyCosts


@dataclass(frozen=True, slots=True)
class Voicing:
    """What the thumb or a tune finger does: ``octave`` indexes Context.octaves."""

    spot: Spot | None
    finger: int
    cost: int
    octave: int = 0
    active: bool = True


def _code(spot: Spot | None, finger: int) -> int:
    """A spot and its finger as one number; NONE for silence."""
    return NONE if spot is None else (spot.string * 32 + spot.fret) * 8 + finger


@dataclass(frozen=True, slots=True)
class Held:
    """What the grips before hold on to, each with its hand (-1 where the hand may change).

    None: nothing is held in that voice, so that nothing restricts it.
    """

    basses: frozenset[tuple[int, Spot | None, int]] | None = None
    tunes: frozenset[tuple[int, int, Spot | None, int]] | None = None
    both: frozenset[tuple[int, Spot | None, Spot | None]] | None = None
    changes: bool = False

    @staticmethod
    def after(before: tuple[Grip, ...], *, tune: bool, bass: bool, changes: bool) -> Held:
        """What can be held on from ``before``; ``changes``: the hand may change its shape."""
        basses, tunes, both = set(), set(), set()
        for grip in before:
            hand = NONE if changes else grip.hand
            finger = grip.bass_finger if grip.bass_active else RELEASED
            basses.add((hand, grip.bass, finger))
            basses.add((hand, grip.bass, RELEASED))
            tunes.add((hand, grip.octave, grip.tune, grip.tune_finger))
            both.add((hand, grip.tune, grip.bass))
        return Held(
            frozenset(basses) if bass else None,
            frozenset(tunes) if tune else None,
            frozenset(both) if tune and bass else None,
            changes,
        )

    def has_bass(self, hand: int, bass: Voicing) -> bool:
        """Whether the thumb's note may sound on, or have been let go, here."""
        if self.basses is None:
            return True
        finger = bass.finger if bass.active and bass.spot is not None else RELEASED
        return (NONE if self.changes else hand, bass.spot, finger) in self.basses

    def has_tune(self, hand: int, tune: Voicing) -> bool:
        """Whether the tune note may sound on here; letting it go is always possible."""
        if self.tunes is None or tune.spot is None:
            return True
        key = NONE if self.changes else hand, tune.octave, tune.spot, tune.finger
        return key in self.tunes

    def has_both(self, hand: int, tune: Voicing, bass: Voicing) -> bool:
        """Whether some grip before has these two held notes together."""
        if self.both is None or tune.spot is None:
            return True
        return (NONE if self.changes else hand, tune.spot, bass.spot) in self.both


@dataclass(frozen=True, slots=True)
class _Draft:
    """A grip before its planted fingers are known."""

    hand: int
    tune: Voicing
    bass: Voicing
    fills: tuple[tuple[Spot, int], ...]
    gives_third: bool
    cost: int


class _Search:
    """The drafts of one context: the best of each kind, and none that is too dear."""

    def __init__(self, context: Context, held: Held, ceiling: int) -> None:
        self.context = context
        self.held = held
        begins = context.tune_begins or context.stroke_begins
        self._ceiling = ceiling if begins else 10**6
        self._best: dict[tuple[int, bool], int] = {}
        self._drafts: dict[object, _Draft] = {}

    def too_dear(self, tune: Voicing, cost: int) -> bool:
        """Whether a grip of this cost is beyond the ceiling of its octave already."""
        best = self._best.get((tune.octave, tune.spot is None))
        return best is not None and cost > best + self._ceiling

    def offer(self, draft: _Draft) -> None:
        """Take the draft in if it beats what is known of its kind."""
        octave = draft.tune.octave, draft.tune.spot is None
        self._best[octave] = min(self._best.get(octave, draft.cost), draft.cost)
        kind = (draft.hand, draft.tune, draft.bass, draft.gives_third)
        known = self._drafts.get(kind)
        if known is None or draft.cost < known.cost:
            self._drafts[kind] = draft

    def grips(self, maker: PlainGripMaker) -> Iterator[Grip]:
        """The drafts that are left, in full."""
        for draft in self._drafts.values():
            if not self.too_dear(draft.tune, draft.cost):
                yield maker.grip(draft)


@dataclass(frozen=True, slots=True, eq=False)
class PlainGripMaker:
    """Enumerates the grips of a context for one hand (player, level, neck)."""

    rules: HandRules
    hands: tuple[Hand, ...]
    melody_costs: MelodyCosts
    bass_costs: BassCosts
    fill_costs: FillCosts
    lowest_tune: int
    bass_below: int
    inner_below: int
    ceiling: int

    def grips(self, context: Context, held: Held | None = None) -> tuple[Grip, ...]:
        """Every grip of ``context`` that is worth trying, going on from what is ``held``.

        Left out are grips that cost far more than the best one in the same octave, and of
        grips that differ in inner notes alone all but the cheapest.
        """
        search = _Search(context, held or Held(), self.ceiling)
        for place in context.hands:
            self._under(search, place)
        items = [kept for grip in search.grips(self) for kept in _with_memory(grip, context)]
        return tuple(items)

    def grip(self, draft: _Draft) -> Grip:
        """The full value of a draft: now its planted fingers are worth finding."""
        presses = _presses(draft.tune, draft.bass)
        presses += [(spot.string, spot.fret, finger) for spot, finger in draft.fills]
        return Grip(
            hand=draft.hand,
            octave=draft.tune.octave,
            tune=draft.tune.spot,
            tune_finger=draft.tune.finger,
            bass=draft.bass.spot,
            bass_finger=draft.bass.finger,
            bass_active=draft.bass.active and draft.bass.spot is not None,
            fills=draft.fills,
            gives_third=draft.gives_third,
            third_heard=True,
            cost=draft.cost,
            planted=self._planted(self.hands[draft.hand], presses),
        )

    def _under(self, search: _Search, place: int) -> None:
        """Offer every grip of one hand, the cheap ones first so that dear ones are skipped."""
        context, hand = search.context, self.hands[place]
        held = search.held
        basses = [bass for bass in self._basses(context, hand) if held.has_bass(place, bass)]
        tunes = [tune for tune in self._tunes(context, hand) if held.has_tune(place, tune)]
        basses.sort(key=lambda bass: bass.cost)
        tunes.sort(key=lambda tune: tune.cost)
        for tune in tunes:
            for bass in basses:
                if search.too_dear(tune, tune.cost + bass.cost):
                    break
                if self._clear(tune, bass) and held.has_both(place, tune, bass):
                    self._filled(search, place, tune, bass)

    # The tune ------------------------------------------------------------------------

    def _tunes(self, context: Context, hand: Hand) -> list[Voicing]:
        """Places and fingers for the tune note, in every octave that the level reaches."""
        octaves = range(len(context.octaves))
        if context.tune is None:
            return [Voicing(None, 0, 0, octave) for octave in octaves]
        found = []
        # Let go, or left out where it begins: a last resort, offered once.
        if not context.tune_begins or (hand.shape is None and hand.low == 1):
            found = [Voicing(None, 0, context.missing_cost, octave) for octave in octaves]
        for octave, fold in enumerate(context.octaves):
            midi = context.tune + fold
            if not self.lowest_tune <= midi <= self.rules.level.top_note:
                continue
            for spot in spots_of(self.rules.neck, midi):
                if spot.string <= 5 and self.rules.allows_spot(spot):
                    for finger, cost in self._fingers(spot, hand, begins=context.tune_begins):
                        roams = spot.fret > 0 and hand.finger_at(spot) is None
                        extra = tenths(self.rules.costs.melody_roams) * (
                            roams and context.tune_begins and hand.shape is not None
                        )
                        if context.tune_begins:
                            extra += self._lowness(spot, midi) + self._past_open(spot, hand)
                        found.append(Voicing(spot, finger, cost + extra, octave))
        return found

    def _lowness(self, spot: Spot, midi: int) -> int:
        """Tenths by which a tune note lies too low to sing above the bass."""
        costs = self.melody_costs
        low = costs.low * max(0, costs.comfortable_low - midi)
        return tenths(low + costs.thumb_string * max(0, spot.string - 3))

    def _past_open(self, spot: Spot, hand: Hand) -> int:
        """What a tune note costs that a higher string has nearer the nut."""
        if spot.string == 1 or hand.finger_at(spot) is not None:
            return 0
        reached = self.rules.neck.midi(spot) >= self.rules.neck.midi(Spot(spot.string - 1, 0))
        return tenths(self.melody_costs.past_open) if reached else 0

    # The thumb -----------------------------------------------------------------------

    def _basses(self, context: Context, hand: Hand) -> list[Voicing]:
        """Places and fingers for the thumb's note on strings 6, 5 and 4, or silence."""
        if not context.choices:
            return [Voicing(None, 0, 0)]
        found = [Voicing(None, 0, context.rest_cost if context.stroke_begins else 0)]
        tuning = self.rules.neck.tuning
        for tone, tone_cost in context.choices:
            for string in (6, 5, 4):
                first = (tone - tuning[string - 1]) % 12
                for fret in range(first, self.rules.max_fret + 1, 12):
                    spot = Spot(string, fret)
                    price = 0
                    if context.stroke_begins:
                        above = self.rules.neck.midi(spot) - self.bass_costs.comfortable_high
                        price = tone_cost + tenths(self.bass_costs.high * max(above, 0))
                    found.extend(self._bass_at(context, hand, spot, price))
        return found

    def _bass_at(
        self, context: Context, hand: Hand, spot: Spot, price: int
    ) -> Iterator[Voicing]:
        outside = (
            context.stroke_begins
            and hand.shape is not None
            and not _in_shape(hand.shape.frets, spot)
        )
        extra = tenths(self.rules.costs.not_in_shape) if outside else 0
        in_shape = hand.shape is not None and _in_shape(hand.shape.frets, spot)
        open_above = self.rules.neck.midi(Spot(spot.string - 1, 0))
        if context.stroke_begins and not in_shape:
            past = self.rules.neck.midi(spot) >= open_above
            extra += tenths(self.bass_costs.past_open) if past else 0
        for finger, cost in self._fingers(spot, hand, begins=context.stroke_begins):
            yield Voicing(spot, finger, price + cost + extra)
        # An open string costs nothing to hold but a voice, which counts where there are two.
        if not context.stroke_begins and (spot.fret or self.rules.level.voices == 2):
            yield Voicing(spot, 0, context.released_cost, active=False)

    def _fingers(self, spot: Spot, hand: Hand, *, begins: bool) -> list[tuple[int, int]]:
        """Fingers that may press ``spot`` from this hand, with the cost of the hold."""
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
            cost = 0.0
            if off:
                back = finger == 4 and stand < hand.low
                cost += costs.off_fret_little_back if back else costs.off_fret
            if begins:
                cost += costs.fret * spot.fret
                cost += {
                    4: costs.little_finger,
                    3: costs.ring_finger,
                    1: costs.first_finger,
                }.get(finger, 0.0)
                above = max(0, spot.fret - costs.low_frets)
                cost += costs.above_low_frets * above
                cost += costs.high_on_low * above * (spot.string >= 3)
            found.append((finger, tenths(cost)))
        thumb = spot.string == 6 and "thumb over" in self.rules.player.techniques
        if thumb and spot.fret <= self.rules.table.thumb_fret_most:
            found.append((THUMB, tenths(costs.fret * spot.fret)))
        found.sort(key=lambda pair: pair[1])
        return found

    # Together ------------------------------------------------------------------------

    def _clear(self, tune: Voicing, bass: Voicing) -> bool:
        """The tune lies on a higher string than the thumb, and clearly above it."""
        if tune.spot is None or bass.spot is None or not bass.active:
            return True
        neck = self.rules.neck
        return (
            tune.spot.string < bass.spot.string
            and neck.midi(bass.spot) <= neck.midi(tune.spot) - self.bass_below
        )

    def _filled(self, search: _Search, place: int, tune: Voicing, bass: Voicing) -> None:
        """Offer the grip without inner notes, and with each set of them that fits."""
        context, hand = search.context, self.hands[place]
        presses = _presses(tune, bass)
        left_out = (context.tune is not None and tune.spot is None) or (
            context.rest_cost > 0 and bass.spot is None  # a free rest leaves nothing out
        )
        room = 0 if left_out else self.rules.level.voices - len(presses)
        candidates = self._fills(context, hand, tune, bass) if room > 0 else []
        wish = context.fill[1] if context.fill is not None and room > 0 else 0
        for count in range(min(room, 2, len(candidates)) + 1 if candidates else 1):
            missed = wish if count == 0 else 0
            if count == 1 and room > 1:
                missed = round(wish * (1 - self.fill_costs.second) / 2)
            for fills in combinations(candidates, count):
                extra = [(spot.string, spot.fret, finger) for spot, finger in fills]
                if count == 2 and extra[0][0] == extra[1][0]:
                    continue
                held = self.rules.hold(presses + extra)
                if held is None:
                    continue
                cost = tune.cost + bass.cost + missed + tenths(held)
                cost += sum(_fill_cost(spot) for spot, _ in fills)
                gives = self._gives(context, tune, bass, fills)
                search.offer(_Draft(place, tune, bass, fills, gives, cost))

    def _fills(
        self, context: Context, hand: Hand, tune: Voicing, bass: Voicing
    ) -> list[tuple[Spot, int]]:
        """Spots for inner notes between thumb and tune: in the shape, open, or at hand."""
        wanted = set(context.fill[0]) if context.fill else set()
        if not wanted:
            return []
        neck = self.rules.neck
        top = tune.spot.string if tune.spot else 0
        bottom = bass.spot.string if bass.spot and bass.active else 6
        ceiling = neck.midi(tune.spot) - self.inner_below if tune.spot else 67
        floor = neck.midi(bass.spot) + 1 if bass.spot and bass.active else 45
        found: list[tuple[Spot, int]] = []
        for string in range(max(top + 1, 1), min(bottom, 5)):
            for tone in sorted(wanted):
                for fret in range(
                    (tone - neck.tuning[string - 1]) % 12, self.rules.max_fret + 1, 12
                ):
                    spot = Spot(string, fret)
                    if not floor <= neck.midi(spot) <= ceiling:
                        continue
                    finger = 0 if fret == 0 else hand.finger_at(spot)
                    if finger is None and hand.shape is None and self.rules.level.voices > 2:
                        natural = fret - hand.low + 1
                        finger = natural if 1 <= natural <= 4 else None
                    if finger is not None:
                        found.append((spot, finger))
        return found

    def _gives(
        self,
        context: Context,
        tune: Voicing,
        bass: Voicing,
        fills: tuple[tuple[Spot, int], ...],
    ) -> bool:
        """Whether a note that begins here is the third that the bar owes."""
        if context.third is None:
            return True
        spots = [spot for spot, _ in fills]
        if context.stroke_begins and bass.spot is not None:
            spots.append(bass.spot)
        if context.tune_begins and tune.spot is not None:
            spots.append(tune.spot)
        return any(self.rules.neck.midi(spot) % 12 == context.third for spot in spots)

    def _planted(self, hand: Hand, presses: list[Press]) -> tuple[int, ...]:
        """Where fingers 1..4 and the thumb stand: what sounds first, then the shape's rest."""
        planted = [NONE] * 5
        strings: dict[int, int] = {}
        for string, fret, finger in presses:
            strings[string] = fret
            if finger and (planted[finger - 1] == NONE or string * 32 > planted[finger - 1]):
                planted[finger - 1] = string * 32 + fret
        for finger, spot in hand.planted:
            if planted[finger - 1] != NONE or strings.get(spot.string, 99) < spot.fret:
                continue
            if (
                self.rules.hold(
                    [*_others(presses, spot.string), (spot.string, spot.fret, finger)]
                )
                is not None
            ):
                planted[finger - 1] = spot.string * 32 + spot.fret
        return tuple(planted)


def _extends(finger: int, stand: int, hand: Hand) -> bool:
    """Any finger comes one fret back (two share a fret so); the little one goes one on."""
    return finger == 4 or stand < hand.low


def _with_memory(grip: Grip, context: Context) -> Iterator[Grip]:
    """The grip once for each thing the bar may remember: its third heard, or not yet."""
    if grip.gives_third:
        yield grip
        return
    yield replace(grip, third_heard=False, cost=grip.cost + context.third_cost)
    if not context.opens_bar:
        yield grip


def _others(presses: list[Press], string: int) -> list[Press]:
    return [press for press in presses if press[0] != string]


def _presses(tune: Voicing, bass: Voicing) -> list[Press]:
    presses = []
    if tune.spot is not None:
        presses.append((tune.spot.string, tune.spot.fret, tune.finger))
    if bass.spot is not None and bass.active:
        presses.append((bass.spot.string, bass.spot.fret, bass.finger))
    return presses


def _in_shape(frets: tuple[int | None, ...], spot: Spot) -> bool:
    return frets[6 - spot.string] == spot.fret


def _fill_cost(spot: Spot) -> int:
    """A fretted inner note asks a little more than an open one."""
    return 2 if spot.fret else 1
