"""Inner notes between thumb and tune: which sets of them a hand may add, and their cost."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import combinations
from typing import NamedTuple

from arranger.music.reduction import Reduction
from arranger.music.score import Bar
from arranger.music.time import Beat
from arranger.neck.beats import onset_of
from arranger.neck.burden import NO_BURDEN, Burden
from arranger.neck.fretboard import Spot
from arranger.neck.grips import Context, FillBook, Fills, InnerWish, press_of, spot_of, tenths
from arranger.neck.hands import Hand, Hands
from arranger.neck.reach import HandRules, Press
from arranger.tables.arranging import FillCosts

HIGHEST_ALONE, LOWEST_ALONE = 67, 45
"""MIDI numbers that inner notes stay within where no tune or bass bounds them."""


class Filled(NamedTuple):
    """A set of inner notes by its number, with what it and the whole hold cost, in tenths."""

    number: int
    gives_third: bool
    cost: int
    asked_for: bool


class Added(NamedTuple):
    """An inner note, what it asks in tenths, and whether it is the third that is owed."""

    fill: tuple[Spot, int]
    press: Press
    asks: int
    gives: bool


Found = tuple[Fills, bool, int]
"""A set of inner notes, whether it gives an owed third, and the cost in tenths."""


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
    known: dict[tuple[int, int, int], tuple[Filled, ...]]


@dataclass(frozen=True, slots=True, eq=False)
class InnerNotes:
    """Finds the inner notes of a grip; equal questions are answered once."""

    rules: HandRules
    hands: Hands
    costs: FillCosts
    inner_below: int
    book: FillBook
    burden: Burden = NO_BURDEN
    _known: dict[object, dict[tuple[int, int, int], tuple[Filled, ...]]] = field(
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

    def sets(self, asked: Asked, number: int, tune: int, bass: int) -> tuple[Filled, ...]:
        """The cheapest set of inner notes (or none) with, and without, an owed third; beside
        these the sets that are asked for.

        ``number`` is that of the hand, ``tune`` and ``bass`` are codes.
        """
        grip = number, tune, bass
        if grip not in asked.known:
            context = asked.context
            best: dict[bool, Found] = {}
            wished: list[Found] = []
            for found in self._sets(context, number, tune, bass):
                fills, gives, cost = found
                if gives not in best or cost < best[gives][2]:
                    best[gives] = found
                if context.inner_open or (
                    context.inner is not None and grants(context.inner, fills)
                ):
                    wished.append(found)
            cheapest = [one for one in best.values() if one not in wished]
            asked.known[grip] = tuple(
                Filled(self.book.number(fills), gives, cost, asked_for)
                for some, asked_for in ((cheapest, False), (wished, True))
                for fills, gives, cost in some
            )
        return asked.known[grip]

    def _sets(self, context: Context, number: int, tune: int, bass: int) -> Iterator[Found]:
        presses = presses_of(tune, bass)
        room = self.rules.level.voices - len(presses)
        wish = context.fill[1] if context.fill is not None and room > 0 else 0
        begun = self._begun(context, tune, bass)
        given = self._gives(context, begun)
        spots = self._spots(context, number, tune, bass) if room > 0 else ()
        notes = [self._added(context, spot, finger) for spot, finger in spots]
        # What cannot be held with one more note cannot be held with two.
        notes = [one for one in notes if self.rules.hold([*presses, one.press]) is not None]
        for count in range(min(room, 2, len(notes)) + 1):
            missed = wish if count == 0 else 0
            if count == 1 and room > 1:
                missed = round(wish * (1 - self.costs.second) / 2)
            for added in combinations(notes, count):
                if count == 2 and added[0].press[0] == added[1].press[0]:
                    continue
                held = self.rules.hold(presses + [one.press for one in added])
                if held is not None:
                    cost = missed + tenths(held) + sum([one.asks for one in added])
                    cost += self.burden.strike if added or begun else 0
                    gives = given or any(one.gives for one in added)
                    yield tuple([one.fill for one in added]), gives, cost

    def _spots(
        self, context: Context, number: int, tune: int, bass: int
    ) -> tuple[tuple[Spot, int], ...]:
        """Spots for inner notes between thumb and tune: in the shape, open, or at hand."""
        wanted = context.fill[0] if context.fill else ()
        above = spot_of(tune)
        below = None if press_of(bass) is None else spot_of(bass)
        key = number, above, below, wanted
        if key not in self._near:
            self._near[key] = tuple(
                self._between(self.hands[number], above, below, set(wanted))
            )
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

    def _added(self, context: Context, spot: Spot, finger: int) -> Added:
        """One inner note: a fretted one asks a little more than an open one."""
        return Added(
            fill=(spot, finger),
            press=(spot.string, spot.fret, finger),
            asks=(2 if spot.fret else 1) + self.burden.begun(spot),
            gives=self._gives(context, [spot]),
        )

    def _begun(self, context: Context, tune: int, bass: int) -> list[Spot]:
        """The spots of tune and thumb that are plucked here."""
        plucked = ((context.stroke_begins, bass), (context.tune_begins, tune))
        spots = [spot_of(code) for begins, code in plucked if begins]
        return [spot for spot in spots if spot is not None]

    def _gives(self, context: Context, begun: list[Spot]) -> bool:
        """Whether a note that begins here is the third that the bar owes."""
        if context.third is None:
            return True
        return any(self.rules.neck.midi(spot) % 12 == context.third for spot in begun)


def presses_of(tune: int, bass: int) -> list[Press]:
    """What tune and thumb (codes) sound, as strings, frets and fingers."""
    presses = (press_of(tune), press_of(bass))
    return [press for press in presses if press is not None]
