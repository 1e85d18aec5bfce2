"""Inner notes between thumb and tune: which sets of them a hand may add, and their cost."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import combinations

from arranger.music.reduction import Reduction
from arranger.music.score import Bar
from arranger.music.time import Beat
from arranger.neck.beats import onset_of
from arranger.neck.burden import NO_BURDEN, Burden
from arranger.neck.fretboard import Spot
from arranger.neck.grips import Context, Fills, InnerWish, tenths
from arranger.neck.hands import Hand, Hands
from arranger.neck.reach import HandRules, Press
from arranger.neck.voicings import Voicing
from arranger.tables.arranging import FillCosts

HIGHEST_ALONE, LOWEST_ALONE = 67, 45
"""MIDI numbers that inner notes stay within where no tune or bass bounds them."""


@dataclass(frozen=True, slots=True)
class Filled:
    """A set of inner notes with what it and the whole hold cost, in tenths."""

    fills: Fills
    gives_third: bool
    cost: int
    asked_for: bool = False


def inner_wish(reduction: Reduction, bar: Bar, onset: Beat) -> InnerWish | None:
    """The inner notes that a teacher marked for a moment of a bar; None where none were."""
    marks = [
        mark
        for mark in reduction.marks.note_marks
        if mark.bar == bar.number
        and mark.voice == "inner"
        and onset_of(mark.beat, bar, reduction) == onset
    ]
    if not marks:
        return None
    named = [(mark.string, mark.fret, mark.finger) for mark in marks if mark.string is not None]
    return tuple(named)


def grants(wish: InnerWish, fills: Fills) -> bool:
    """Whether inner notes are those wished for, and no others."""
    return len(wish) == len(fills) and all(
        any(
            string == spot.string and fret in (None, spot.fret) and finger in (None, press)
            for spot, press in fills
        )
        for string, fret, finger in wish
    )


@dataclass(frozen=True, slots=True, eq=False)
class Asked:
    """A context with the sets of inner notes found for what it asks."""

    context: Context
    known: dict[tuple[int, int], tuple[Filled, ...]]


@dataclass(frozen=True, slots=True, eq=False)
class InnerNotes:
    """Finds the inner notes of a grip; equal questions are answered once."""

    rules: HandRules
    hands: Hands
    costs: FillCosts
    inner_below: int
    burden: Burden = NO_BURDEN
    _known: dict[object, dict[tuple[int, int], tuple[Filled, ...]]] = field(
        default_factory=dict
    )
    _near: dict[object, tuple[tuple[Spot, int], ...]] = field(default_factory=dict)

    def asked(self, context: Context) -> Asked:
        """What ``sets`` has found for contexts that ask for the same."""
        asks = (
            *(context.fill, context.third, context.tune_begins, context.stroke_begins),
            *(context.inner, context.inner_open),
        )
        return Asked(context, self._known.setdefault(asks, {}))

    def sets(
        self, asked: Asked, grip: tuple[int, int], tune: Voicing, bass: Voicing
    ) -> tuple[Filled, ...]:
        """The cheapest set of inner notes (or none) with, and without, an owed third; beside
        these the sets that are asked for.

        ``grip`` is the place of the hand and a number that stands for ``tune`` and ``bass``.
        """
        if grip not in asked.known:
            context = asked.context
            best: dict[bool, Filled] = {}
            wished: list[Filled] = []
            for filled in self._sets(context, grip[0], tune, bass):
                known = best.get(filled.gives_third)
                if known is None or filled.cost < known.cost:
                    best[filled.gives_third] = filled
                if context.inner_open or (
                    context.inner is not None and grants(context.inner, filled.fills)
                ):
                    wished.append(replace(filled, asked_for=True))
            cheapest = [one for one in best.values() if not _among(one, wished)]
            asked.known[grip] = (*cheapest, *wished)
        return asked.known[grip]

    def _sets(
        self, context: Context, place: int, tune: Voicing, bass: Voicing
    ) -> Iterator[Filled]:
        presses = presses_of(tune, bass)
        room = self.rules.level.voices - len(presses)
        spots = self._spots(context, place, tune, bass) if room > 0 else ()
        wish = context.fill[1] if context.fill is not None and room > 0 else 0
        alone = not (
            (context.tune_begins and tune.spot is not None)
            or (context.stroke_begins and bass.spot is not None)
        )
        for count in range(min(room, 2, len(spots)) + 1 if spots else 1):
            missed = wish if count == 0 else 0
            if count == 1 and room > 1:
                missed = round(wish * (1 - self.costs.second) / 2)
            for fills in combinations(spots, count):
                if count == 2 and fills[0][0].string == fills[1][0].string:
                    continue
                extra = [(spot.string, spot.fret, finger) for spot, finger in fills]
                held = self.rules.hold(presses + extra)
                if held is not None:
                    cost = missed + tenths(held) + sum(self._asks(spot) for spot, _ in fills)
                    cost += self.burden.strike if fills and alone else 0
                    yield Filled(fills, self._gives(context, tune, bass, fills), cost)

    def _spots(
        self, context: Context, place: int, tune: Voicing, bass: Voicing
    ) -> tuple[tuple[Spot, int], ...]:
        """Spots for inner notes between thumb and tune: in the shape, open, or at hand."""
        wanted = set(context.fill[0]) if context.fill else set()
        below = bass.spot if bass.active else None
        key = place, tune.spot, below, tuple(sorted(wanted))
        if key not in self._near:
            self._near[key] = tuple(self._between(self.hands[place], tune.spot, below, wanted))
        return self._near[key]

    def _between(
        self, hand: Hand, tune: Spot | None, below: Spot | None, wanted: set[int]
    ) -> Iterator[tuple[Spot, int]]:
        """Spots with their fingers, from the high strings down."""
        neck = self.rules.neck
        ceiling = neck.midi(tune) - self.inner_below if tune else HIGHEST_ALONE
        floor = neck.midi(below) + 1 if below else LOWEST_ALONE
        for string in range(
            (tune.string if tune else 0) + 1, min(below.string if below else 6, 5)
        ):
            for tone in sorted(wanted):
                first = (tone - neck.tuning[string - 1]) % 12
                for fret in range(first, self.rules.max_fret + 1, 12):
                    spot = Spot(string, fret)
                    finger = self._finger(spot, hand)
                    if finger is not None and floor <= neck.midi(spot) <= ceiling:
                        yield spot, finger

    def _finger(self, spot: Spot, hand: Hand) -> int | None:
        """The finger for an inner note: none open, the shape's, or a free hand's own."""
        if spot.fret == 0:
            return 0
        finger = hand.finger_at(spot)
        if finger is None and hand.shape is None and self.rules.level.voices > 2:
            natural = spot.fret - hand.low + 1
            finger = natural if 1 <= natural <= 4 else None
        return finger

    def _asks(self, spot: Spot) -> int:
        """A fretted inner note asks a little more than an open one."""
        return (2 if spot.fret else 1) + self.burden.begun(spot)

    def _gives(self, context: Context, tune: Voicing, bass: Voicing, fills: Fills) -> bool:
        """Whether a note that begins here is the third that the bar owes."""
        if context.third is None:
            return True
        spots = [spot for spot, _ in fills]
        if context.stroke_begins and bass.spot is not None:
            spots.append(bass.spot)
        if context.tune_begins and tune.spot is not None:
            spots.append(tune.spot)
        return any(self.rules.neck.midi(spot) % 12 == context.third for spot in spots)


def _among(filled: Filled, others: list[Filled]) -> bool:
    return any(one.fills == filled.fills for one in others)


def presses_of(tune: Voicing, bass: Voicing) -> list[Press]:
    """What tune and thumb sound, as strings, frets and fingers."""
    presses = []
    if tune.spot is not None:
        presses.append((tune.spot.string, tune.spot.fret, tune.finger))
    if bass.spot is not None and bass.active:
        presses.append((bass.spot.string, bass.spot.fret, bass.finger))
    return presses
