"""One objective, several ways to reach it: time and cost of each, as ratios to ours.

    python tests/bench/solve.py FILE [--level beginner] [--seconds 60] [--alike]
    python tests/bench/solve.py --folder DIR [--level beginner]

Every way chooses among the same grips and is charged by the same function (``value``):
points of grips and moves, and of the different shapes. Ways compared with ``prove``:

* *note level*: one CP-SAT model of the whole piece as a plain modeller would write it.
  It decides at every slot as played the hand, the place of the tune (octave, string, fret,
  finger) and the place of the thumb's note; a literal for each hold ties the three together
  and says where fingers stand. The price of a move is built rule by rule from products of
  such literals at neighbouring slots: no arcs, no flow, no paths, no hint, no prices. It is
  solved with one worker, once with default parameters and once with those of our model.
  The model has exactly the objective of ``prove``: checked in every run by giving it our
  solution, and its own, with all grips fixed. Equal bars have variables of their own. By
  default nothing makes them alike, so the model is a relaxation: it may end below ours,
  and its bound holds for ours too. ``--alike`` ties equal bars together by equations.
* *greedy*: at every slot the grip that costs least with the move to it.
* *shortest path*: the dynamic program over the piece as played, blind to shapes.
* *lowest fret*, *nearest position*: the same walk as greedy with that wish first, the
  cost second. They leave no note out that they can reach.

The walks only take grips from which the end of the piece can be reached. What treats equal
bars differently is shown twice: as found, and made alike by playing every bar as at its
first occurrence. A piece made alike may hold moves that no hand can make; they are counted
as broken and not charged, and no ratio is given. *Class by class* makes bars alike without
that: the dynamic program again for every different bar, with those before it settled.
Shapes over the level's limit are charged as any other and marked ``!``: such a piece is no
arrangement of the level, whatever its ratio.

Times are processor seconds after grips and moves have been built, which all share. So is
the note-level model's limit, that a busy machine takes nothing from it; a ``+`` says that
it had not finished by then.
"""

from __future__ import annotations

import argparse
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path as File
from statistics import median

import numpy as np
from numpy.typing import NDArray
from ortools.sat.python import cp_model

from arranger.music.errors import ArrangerError
from arranger.music.reduction import Reduction, Setting
from arranger.neck.dynamic import (
    Lattice,
    Path,
    Prices,
    costs_as_played,
    prices,
    prices_as_played,
)
from arranger.neck.grips import NONE, Grips, IntArray, tenths
from arranger.neck.moves import FORBIDDEN, MOST_STEP, Moves, Step
from arranger.neck.network import grip_maker, network
from arranger.neck.outline import outline
from arranger.neck.placing import effort, shape_budget
from arranger.neck.proof import Proven, prove
from arranger.neck.shape_budget import ShapeBudget, shape_numbers
from arranger.reduce import reduce
from arranger.run.understand import understand
from arranger.tables import LEVEL_NAMES, default_player, level_named
from arranger.tables.arranging import BassCosts, MelodyCosts, arranging
from arranger.tables.fingering import MoveCosts, ShapeCosts, fingering

Played = list[Path]
"""A path for every bar as played."""


# The problem and what a solution costs --------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """A piece in its best key. ``seconds`` built its grips and moves, ``tried`` those of
    all keys, dynamic programs included.
    """

    reduction: Reduction
    net: Lattice
    budget: ShapeBudget
    seconds: float
    tried: float

    @property
    def different(self) -> int:
        """Different bars."""
        return len(self.net.piece.classes)


def problem(file: File, level_name: str) -> Problem:
    """The piece in the key that the program chooses."""
    level = level_named(level_name)
    player = default_player(level)
    reduction = reduce(understand(file), level=level, level_name=level_name, player=player)
    begin = time.process_time()
    built: list[tuple[int, int, Lattice, float]] = []
    for setting in reduction.settings:
        start = time.process_time()
        net = network(outline(reduction, level), setting, grip_maker(reduction, level, player))
        seconds = time.process_time() - start
        built.append((_key_cost(reduction, setting, net), setting.key.tonic, net, seconds))
    _, _, best, seconds = min(built, key=lambda entry: entry[:2])
    budget = shape_budget(level, fingering().shape)
    return Problem(reduction, best, budget, seconds, time.process_time() - begin)


def _key_cost(reduction: Reduction, setting: Setting, net: Lattice) -> int:
    bars = len(reduction.analysis.score.bars)
    return prices(net).best + tenths(setting.key_cost * bars)


@dataclass(frozen=True, slots=True)
class Value:
    """What a solution costs, in tenths; ``broken`` counts moves that no hand can make, which
    are not charged; ``over`` the shapes beyond the level's limit, which are.
    """

    cost: int
    shapes: int
    over: int
    broken: int


def value(net: Lattice, budget: ShapeBudget, bars: Played) -> Value:
    """The objective of the grips chosen: the one judge of every way."""
    broken, cost = divmod(net.cost(bars), FORBIDDEN)
    held = {
        net.piece.hands[int(net.grips[kind][slot].hand[row])].shape
        for kind, path in zip(net.piece.order, bars, strict=True)
        for slot, row in enumerate(path)
    }
    shapes = len(held - {None})
    cost += budget.new * shapes + budget.beyond * max(0, shapes - budget.wanted)
    over = 0 if budget.most is None else max(0, shapes - budget.most)
    return Value(cost, shapes, over, broken)


def alike(net: Lattice, bars: Played) -> Played:
    """Every bar as at the first occurrence of its class."""
    first: dict[int, Path] = {}
    for kind, path in zip(net.piece.order, bars, strict=True):
        first.setdefault(kind, path)
    return [first[kind] for kind in net.piece.order]


@dataclass(frozen=True, slots=True, eq=False)
class Slots:
    """The piece as played, one entry a slot: (class, slot in it), and what leads between."""

    places: tuple[tuple[int, int], ...]
    moves: tuple[Moves, ...]
    steps: tuple[Step, ...]

    @staticmethod
    def of(net: Lattice) -> Slots:
        """The slots of all bars in a row."""
        piece = net.piece
        places: list[tuple[int, int]] = []
        moves: list[Moves] = []
        steps: list[Step] = []
        for bar, kind in enumerate(piece.order):
            if bar:
                joint = piece.joints[bar - 1]
                moves.append(net.joints[joint])
                steps.append(piece.kinds[joint].step)
            places.extend((kind, slot) for slot in range(len(net.grips[kind])))
            moves.extend(net.inside[kind])
            steps.extend(piece.classes[kind].steps)
        return Slots(tuple(places), tuple(moves), tuple(steps))

    def bars(self, rows: list[int]) -> Played:
        """Rows slot by slot as paths bar by bar."""
        bars: list[list[int]] = []
        for (_, slot), row in zip(self.places, rows, strict=True):
            if slot == 0:
                bars.append([])
            bars[-1].append(row)
        return [tuple(bar) for bar in bars]


# Shortest paths -------------------------------------------------------------------------


def shortest(net: Lattice, found: Prices) -> Played:
    """A path through the piece as played that costs ``found.best``."""
    slots = Slots.of(net)
    forward = [reach for bar in found.forward for reach in bar]
    row = int(np.argmin(forward[-1]))
    rows = [row]
    for place in range(len(forward) - 2, -1, -1):
        moves = slots.moves[place]
        into = np.flatnonzero(moves.there == row)
        best = np.argmin(forward[place][moves.here[into]] + moves.cost[into])
        row = int(moves.here[into[best]])
        rows.append(row)
    return slots.bars(rows[::-1])


def class_by_class(net: Lattice) -> Played:
    """Shortest paths, one for every class, each with the classes before it settled."""
    closed: dict[tuple[int, int], IntArray] = {}
    bars = shortest(net, prices(net))
    for kind in range(len(net.piece.classes)):
        path = bars[net.piece.order.index(kind)]
        for slot, row in enumerate(path):
            shut = np.full(len(net.grips[kind][slot]), FORBIDDEN, dtype=np.int32)
            shut[row] = 0
            closed[kind, slot] = shut
        if net.piece.times(kind) > 1:
            costs = costs_as_played(net, {})
            for place, of_bar in enumerate(net.piece.order):
                costs[place] = [
                    cost + closed.get((of_bar, slot), 0)
                    for slot, cost in enumerate(costs[place])
                ]
            found = prices_as_played(net, costs)
            if found.best >= FORBIDDEN:
                break
            bars = shortest(net, found)
    return alike(net, bars)


# Walks ----------------------------------------------------------------------------------

Wish = Callable[[Grips | None, Grips, int, NDArray[np.intp]], NDArray[np.float64]]
"""(grips before, grips here, row before, rows here) -> what to keep low before the cost."""


def no_wish(
    _before: Grips | None, _here: Grips, _row: int, rows: NDArray[np.intp]
) -> NDArray[np.float64]:
    """Cost alone decides."""
    return np.zeros(len(rows))


def lowest_fret(
    _before: Grips | None, here: Grips, _row: int, rows: NDArray[np.intp]
) -> NDArray[np.float64]:
    """No voice left out, then the least sum of the frets of tune and thumb."""
    tune, bass = here.tune[rows], here.bass[rows]
    frets: NDArray[np.float64] = _silent(here, rows) * 1000
    frets += np.where(tune == NONE, 0, tune // 8 % 32)
    frets += np.where(here.bass_active[rows] == 0, 0, bass // 8 % 32)
    return frets


def nearest_position(
    before: Grips | None, here: Grips, row: int, rows: NDArray[np.intp]
) -> NDArray[np.float64]:
    """No voice left out, then the least change of position; at first the lowest one."""
    if before is None:
        return _silent(here, rows) * 1000 + here.low[rows]
    up = here.low[rows] - before.high[row]
    down = before.low[row] - here.high[rows]
    away: NDArray[np.float64] = _silent(here, rows) * 1000
    away += np.maximum(np.maximum(up, down), 0)
    return away


def _silent(here: Grips, rows: NDArray[np.intp]) -> NDArray[np.float64]:
    silent = (here.tune[rows] == NONE).astype(np.float64) + (here.bass_active[rows] == 0)
    return np.asarray(silent, dtype=np.float64)


def walk(net: Lattice, found: Prices, wish: Wish) -> Played:
    """Slot by slot the grip of the least wish, then of the least cost with its move."""
    slots = Slots.of(net)
    rest = [back for bar in found.backward for back in bar]
    before: Grips | None = None
    row, rows = NONE, []
    for place, (kind, slot) in enumerate(slots.places):
        here = net.grips[kind][slot]
        if before is None:
            into, price = np.arange(len(here)), net.entry
        else:
            moves = slots.moves[place - 1]
            out = np.flatnonzero(moves.here == row)
            into, price = moves.there[out].astype(np.intp), moves.cost[out]
        open_end = rest[place][into] + here.cost[into] < FORBIDDEN
        into, price = into[open_end], price[open_end]
        order = np.lexsort((into, price + here.cost[into], wish(before, here, row, into)))
        row, before = int(into[order[0]]), here
        rows.append(row)
    return slots.bars(rows)


# The note-level model -------------------------------------------------------------------

Literal = cp_model.IntVar
Literals = dict[int, Literal]
"""A literal for every value that a column of the grips takes at a slot."""


PARAMETERS = {
    "defaults": {},
    "our settings": {
        "linearization_level": 2,
        "cp_model_probing_level": 0,
        "symmetry_level": 0,
    },
}
"""The solver as it comes, and with the settings that our own model is solved with."""


@dataclass(frozen=True, slots=True)
class Rates:
    """The points of the rules about moves, from the tables."""

    move: MoveCosts
    shape: ShapeCosts
    melody: MelodyCosts
    bass: BassCosts
    octaves: tuple[int, ...]
    hand_costs: tuple[int, ...]
    shift_factor: float

    @staticmethod
    def of(net: Lattice, level_name: str) -> Rates:
        """The rates at a level."""
        table, costs = arranging(), fingering()
        return Rates(
            move=costs.move,
            shape=costs.shape,
            melody=table.melody,
            bass=table.bass,
            octaves=net.piece.octaves,
            hand_costs=tuple(tenths(hand.cost) for hand in net.piece.hands),
            shift_factor=float(getattr(costs.level, level_name)),
        )

    def pace(self, seconds: float) -> float:
        """Fast moves cost more, slow ones less."""
        if seconds < self.move.fast_seconds:
            return self.move.fast
        return self.move.slow if seconds > self.move.slow_seconds else 1.0

    def shift(self, frets: int, seconds: float, *, fretted: bool) -> int:
        """Tenths of a change of position by ``frets``."""
        if not frets:
            return 0
        pace = self.pace(seconds) * self.shift_factor
        price = tenths(self.move.shift * pace) + self.move.shift_fret * pace * 10 * frets
        return round(price if fretted else price * self.move.shift_free)

    def fold(self, before: int, after: int, step: Step) -> int:
        """Tenths of going from one octave of the tune to another."""
        change = self.octaves[after] - self.octaves[before]
        if not change:
            return 0
        fold, costs = step.fold, self.melody
        price = fold.cost + (tenths(costs.two_octaves) if abs(change) > 12 else 0)
        if fold.intervals:
            taken = fold.intervals[0] + change
            if np.sign(taken) != np.sign(fold.intervals[0]):
                price += tenths(costs.contour_broken)
            if abs(fold.intervals[0]) <= costs.close:
                price += tenths(costs.close_interval)
            if taken in fold.intervals[1:]:
                price = min(price, tenths(costs.octave_doubled))
        return int(np.rint(price * fold.weight))


@dataclass(frozen=True, slots=True, eq=False)
class Moment:
    """The variables of one slot. ``hand``, ``tune`` (by octave and place), ``bass`` decide;
    ``hold[row]`` ties them together, and what a hold entails follows from it.
    """

    grips: Grips
    hold: list[Literal]
    hand: Literals
    octave: Literals
    tune: Literals
    bass: Literals
    heard: Literals
    given: Literals
    fretted: Literals
    fingers: Literals
    planted: tuple[Literals, ...]


def _by_value(keys: IntArray, column: IntArray) -> dict[int, int]:
    return dict(zip(keys.tolist(), column.tolist(), strict=True))


def _groups(literals: Literals, group: dict[int, int]) -> dict[int, list[Literal]]:
    """Literals by what their value has in another column; silence is left out."""
    found: dict[int, list[Literal]] = {}
    for number, literal in literals.items():
        if group[number] != NONE:
            found.setdefault(group[number], []).append(literal)
    return found


def _crossed(was: int, now: int) -> bool:
    """Whether of two neighbouring fingers on two strings in one fret the higher finger has the
    lower string; by codes of string, fret and finger.
    """
    low, high = sorted((was, now))
    return low != NONE and high - low == 256 + 1 and max(low % 8, high % 8) <= 4


def _against(was: int, now: int) -> bool:
    """Whether of two notes a fret apart on one string the higher one has the lower finger."""
    low, high = sorted((was, now))
    return low != NONE and high // 8 - low // 8 == 1 and high % 8 < low % 8


def _line_price(taken: int, wanted: int, rates: BassCosts) -> int:
    """Tenths of a bass line that takes another step (semitones) than the source."""
    octave = 12 if wanted > 0 else -12
    far = min(abs(taken - wanted), abs(taken - wanted + octave))
    near = abs(wanted) <= rates.near
    off = abs(taken - wanted) if near else far
    turned = near and np.sign(taken) != np.sign(wanted)
    price = round(max(off - 7, 0) * rates.leap * 10)
    return price + (tenths(rates.direction) if turned else 0)


@dataclass(slots=True, eq=False)
class NoteModel:
    """The whole piece at note level; every method adds one rule between two moments."""

    rates: Rates
    model: cp_model.CpModel = field(default_factory=cp_model.CpModel)
    terms: list[Literal] = field(default_factory=list)
    weights: list[int] = field(default_factory=list)

    def charge(self, variable: Literal, price: int) -> None:
        """Add tenths to the objective."""
        if price < 0:
            raise ValueError("one-sided products need prices of at least 0")
        if price:
            self.terms.append(variable)
            self.weights.append(price)

    def when_both(self, now: list[Literal], was: list[Literal], event: Literal) -> None:
        """``event`` holds where one of ``now`` follows one of ``was``."""
        if now and was:
            self.model.add(cp_model.LinearExpr.sum([*now, *was]) <= 1 + event)

    def event(self, price: int) -> Literal:
        """A literal that costs ``price`` tenths where it holds."""
        literal = self.model.new_bool_var("")
        self.charge(literal, price)
        return literal

    # One moment

    def moment(self, grips: Grips) -> Moment:
        """The variables of a slot, and the price of what is held."""
        hold = [self.model.new_bool_var("") for _ in range(len(grips))]
        self.model.add_exactly_one(hold)
        for literal, cost in zip(hold, grips.cost.tolist(), strict=True):
            self.charge(literal, cost)

        def channel(column: IntArray) -> Literals:
            literals: Literals = {}
            for number in np.unique(column).tolist():
                literals[number] = self.model.new_bool_var("")
                users = [hold[row] for row in np.flatnonzero(column == number)]
                self.model.add(cp_model.LinearExpr.sum(users) == literals[number])
            return literals

        columns = (grips.hand, grips.octave, grips.tune, grips.bass)
        hand, octave, tune, bass = (channel(column) for column in columns)
        for literals in (hand, octave, tune, bass):
            self.model.add_exactly_one(literals.values())
        return Moment(
            grips,
            hold,
            hand=hand,
            octave=octave,
            tune=tune,
            bass=bass,
            heard=channel(grips.third_heard),
            given=channel(grips.third_given),
            fretted=channel(grips.fretted),
            fingers=channel(grips.finger_strings),
            planted=tuple(channel(grips.planted[:, finger]) for finger in range(5)),
        )

    # From one moment to the next

    def step(self, was: Moment, now: Moment, step: Step) -> None:
        """Every rule of a move."""
        self._hand(was, now, step)
        self._held(was, now, step)
        self._third(was, now, step)
        self._fingers(was, now, step)
        self._shift(was, now, step)
        self._octave(was, now, step)
        if step.tune == "new":
            self._legato(was, now, step)
        if step.bass == "new":
            self._bass(was, now, step)

    def _follows(self, now: Literal, was: list[Literal]) -> None:
        """``now`` needs one of ``was`` before it."""
        self.model.add(cp_model.LinearExpr.sum(was) >= now)

    def _hand(self, was: Moment, now: Moment, step: Step) -> None:
        """The shape stays, or is taken up at its price."""
        for number, literal in now.hand.items():
            before = [was.hand[number]] if number in was.hand else []
            price = self.rates.hand_costs[number]
            if step.chord_begins:
                self.charge(literal, price)
            elif step.may_change:
                changed = self.event(price + tenths(self.rates.shape.change_within))
                self.model.add(literal - cp_model.LinearExpr.sum(before) <= changed)
            else:
                self._follows(literal, before)

    def _held(self, was: Moment, now: Moment, step: Step) -> None:
        """A held note stays where it is, with its finger, or is let go."""
        if step.tune == "held":
            for code, literal in now.tune.items():
                if code != NONE:
                    self._follows(literal, [was.tune[code]] if code in was.tune else [])
        if step.bass == "held":
            active = _by_value(now.grips.bass, now.grips.bass_active)
            for code, literal in now.bass.items():
                same = [
                    before
                    for other, before in was.bass.items()
                    if other == code or (not active[code] and other // 8 == code // 8)
                ]
                self._follows(literal, same)

    def _third(self, was: Moment, now: Moment, step: Step) -> None:
        """The bar's third has been heard if it had been, or is given now."""
        if step.opens_bar:
            return
        zero = self.model.new_constant(0)
        heard, before = now.heard.get(1, zero), was.heard.get(1, zero)
        given = now.given.get(1, zero)
        self.model.add(heard >= before)
        self.model.add(heard >= given)
        self.model.add(heard <= before + given)

    def _fingers(self, was: Moment, now: Moment, step: Step) -> None:
        """A finger put down from the air, along its string, or from another string."""
        pace, move = self.rates.pace(step.seconds), self.rates.move
        for finger in range(5):
            before = {spot: one for spot, one in was.planted[finger].items() if spot != NONE}
            after = {spot: one for spot, one in now.planted[finger].items() if spot != NONE}
            if not after:
                continue
            placed = self.event(tenths(move.place * pace))
            standing = cp_model.LinearExpr.sum([*before.values()])
            self.model.add(cp_model.LinearExpr.sum([*after.values()]) - standing <= placed)
            guided = self.event(tenths(move.guide * pace))
            hopped = self.event(tenths(move.hop * pace))
            leapt = self.event(tenths((move.hop + move.hop_fret) * pace))
            for spot, one in after.items():
                along = [x for at, x in before.items() if at // 32 == spot // 32 and at != spot]
                across = {at: x for at, x in before.items() if at // 32 != spot // 32}
                in_fret = [x for at, x in across.items() if at % 32 == spot % 32]
                self.when_both([one], along, guided)
                self.when_both([one], in_fret, hopped)
                out_of_fret = [x for at, x in across.items() if at % 32 != spot % 32]
                self.when_both([one], out_of_fret, leapt)
        self._stands_crossed(was, now)

    def _stands_crossed(self, was: Moment, now: Moment) -> None:
        """Two neighbouring fingers come to stand crossed in one fret."""
        for finger in range(3):
            upper, lower = now.planted[finger], now.planted[finger + 1]
            for spot, literal in upper.items():
                if spot == NONE or spot + 32 not in lower:
                    continue
                crossed = self.event(tenths(self.rates.move.crossed))
                both = literal + lower[spot + 32] - 1
                for planted, at in (
                    (was.planted[finger], spot),
                    (was.planted[finger + 1], spot + 32),
                ):
                    self.model.add(both - planted.get(at, 0) <= crossed)

    def _shift(self, was: Moment, now: Moment, step: Step) -> None:
        """A change of position by its frets, cheaper where no fretted note sounds on."""
        before, after = was.grips, now.grips
        most = max(
            int(after.low.max() - before.high.min()), int(before.low.max() - after.high.min())
        )
        if most <= 0:
            return
        fretted = was.fretted.get(1, self.model.new_constant(0))
        reached: list[Literal] = []
        for frets in range(1, most + 1):
            free = [
                self.rates.shift(d, step.seconds, fretted=False) for d in (frets - 1, frets)
            ]
            full = [self.rates.shift(d, step.seconds, fretted=True) for d in (frets - 1, frets)]
            reached.append(self.event(free[1] - free[0]))
            sounding_on = self.event(full[1] - full[0] - free[1] + free[0])
            self.when_both([reached[-1]], [fretted], sounding_on)
        for nearer, farther in pairwise(reached):
            self.model.add_implication(farther, nearer)
        self._at_least(reached, above=(now, after.low), below=(was, before.high))
        self._at_least(reached, above=(was, before.low), below=(now, after.high))

    def _at_least(
        self,
        reached: list[Literal],
        *,
        above: tuple[Moment, IntArray],
        below: tuple[Moment, IntArray],
    ) -> None:
        """As many of ``reached`` hold as the hand of one moment is frets above the other."""
        literals, weights = list(reached), [-1] * len(reached)
        for (moment, column), sign in ((above, 1), (below, -1)):
            frets = _by_value(moment.grips.hand, column)
            literals += moment.hand.values()
            weights += [sign * frets[hand] for hand in moment.hand]
        self.model.add(cp_model.LinearExpr.weighted_sum(literals, weights) <= 0)

    def _octave(self, was: Moment, now: Moment, step: Step) -> None:
        """The tune keeps its octave, or changes it at the price of the fold."""
        for number, literal in now.octave.items():
            if not step.may_fold:
                self._follows(literal, [was.octave[number]] if number in was.octave else [])
                continue
            for other, before in was.octave.items():
                price = self.rates.fold(other, number, step)
                if price:
                    self.when_both([literal], [before], self.event(price))

    def _legato(self, was: Moment, now: Moment, step: Step) -> None:
        """One finger for two tune notes in a row, on one string or on two."""
        pace, move = self.rates.pace(step.seconds), self.rates.move
        slid = self.event(tenths(move.legato_slide * pace))
        hopped = self.event(tenths(move.legato_hop * pace))
        finger_now = _by_value(now.grips.tune, now.grips.tune_finger)
        finger_was = _by_value(was.grips.tune, was.grips.tune_finger)
        string_now = _by_value(now.grips.tune, now.grips.tune_string)
        string_was = _by_value(was.grips.tune, was.grips.tune_string)
        for code, literal in now.tune.items():
            if finger_now[code] == NONE:
                continue
            same = [
                (string_was[other] == string_now[code], before)
                for other, before in was.tune.items()
                if finger_was[other] == finger_now[code] and other != code
            ]
            self.when_both([literal], [before for along, before in same if along], slid)
            self.when_both([literal], [before for along, before in same if not along], hopped)
        against = self.event(tenths(move.against * pace))
        for code, literal in now.tune.items():
            fought = [before for other, before in was.tune.items() if _against(other, code)]
            self.when_both([literal], fought, against)
        self._crossings(was.tune, now.tune)

    def _bass(self, was: Moment, now: Moment, step: Step) -> None:
        """A new note of the thumb alternates with the one before, or leads on from it."""
        rates = self.rates.bass
        before, after = was.grips, now.grips
        pitch_was = _groups(was.bass, _by_value(before.bass, before.bass_midi))
        pitch_now = _groups(now.bass, _by_value(after.bass, after.bass_midi))
        if step.alternates:
            string_was = _groups(was.bass, _by_value(before.bass, before.bass_string))
            string_now = _groups(now.bass, _by_value(after.bass, after.bass_string))
            stayed = self.event(tenths(rates.same_string))
            for string, literals in string_now.items():
                self.when_both(literals, string_was.get(string, []), stayed)
            repeated = self.event(tenths(rates.same_pitch))
            for midi, literals in pitch_now.items():
                self.when_both(literals, pitch_was.get(midi, []), repeated)
        self._crossings(was.bass, now.bass)
        cut = self.event(tenths(rates.cuts_off))
        for string, literals in _groups(
            now.bass, _by_value(after.bass, after.bass_string)
        ).items():
            sounding = [literal for bits, literal in was.fingers.items() if bits >> string & 1]
            self.when_both(literals, sounding, cut)
        if step.bass_step is not None:
            for midi, literals in pitch_now.items():
                for low, group in pitch_was.items():
                    price = _line_price(midi - low, step.bass_step, rates)
                    if price:
                        self.when_both(literals, group, self.event(price))
        if step.led_by:
            missed = self.event(tenths(rates.leading_missed))
            for midi, literals in pitch_now.items():
                for low, group in pitch_was.items():
                    if low % 12 in step.led_by and abs(midi - low) not in (1, MOST_STEP):
                        self.when_both(literals, group, missed)

    def _crossings(self, was: Literals, now: Literals) -> None:
        """A note for which a finger crosses under the one beside it."""
        crossed = self.event(tenths(self.rates.move.crossed))
        for code, literal in now.items():
            under = [before for other, before in was.items() if _crossed(other, code)]
            self.when_both([literal], under, crossed)

    # The whole piece

    def tie(self, one: Moment, other: Moment) -> None:
        """The same grip at the same place of two equal bars."""
        if one is not other:
            for here, there in zip(one.hold, other.hold, strict=True):
                self.model.add(here == there)

    def shapes(self, moments: list[Moment], net: Lattice, budget: ShapeBudget) -> None:
        """Every different shape is charged once; there is a limit to them."""
        numbers, shapes = shape_numbers(net)
        used = [self.event(budget.new) for _ in shapes]
        for moment in moments:
            held = _groups(moment.hand, dict(enumerate(numbers.tolist())))
            for number, literals in held.items():
                self.model.add(cp_model.LinearExpr.sum(literals) <= used[number])
        total = cp_model.LinearExpr.sum(used)
        if budget.most is not None:
            self.model.add(total <= budget.most)
        beyond = self.model.new_int_var(0, len(shapes) + 1, "")
        self.charge(beyond, budget.beyond)
        self.model.add(beyond >= total - budget.wanted)


class _Watch(cp_model.CpSolverSolutionCallback):
    """When each solution was found, in processor seconds, and what the model says of it."""

    def __init__(self) -> None:
        super().__init__()
        self.begin = time.process_time()
        self.found: list[tuple[float, int]] = []

    def on_solution_callback(self) -> None:
        spent = time.process_time() - self.begin
        self.found.append((spent, round(self.objective_value)))


@dataclass(frozen=True, slots=True)
class NoteLevel:
    """What the note-level model came to: ``bars`` is None where it found nothing;
    ``found`` are seconds and tenths of every solution on the way.
    """

    bars: Played | None
    bound: int
    status: str
    solving: float
    found: tuple[tuple[float, int], ...]


@dataclass(frozen=True, slots=True, eq=False)
class WholePiece:
    """A piece as one note-level model, built in ``seconds``."""

    given: Problem
    notes: NoteModel
    moments: list[Moment]
    slots: Slots
    seconds: float

    @staticmethod
    def of(given: Problem, *, tied: bool) -> WholePiece:
        """Build the model; ``tied`` makes equal bars alike by equations."""
        net, begin = given.net, time.process_time()
        notes = NoteModel(Rates.of(net, given.reduction.level))
        slots = Slots.of(net)
        moments = [notes.moment(net.grips[kind][slot]) for kind, slot in slots.places]
        for hand, literal in moments[0].hand.items():
            notes.charge(literal, notes.rates.hand_costs[hand])
        for (was, now), step in zip(pairwise(moments), slots.steps, strict=True):
            notes.step(was, now, step)
        notes.shapes(moments, net, given.budget)
        if tied:
            first: dict[tuple[int, int], Moment] = {}
            for at, moment in zip(slots.places, moments, strict=True):
                notes.tie(first.setdefault(at, moment), moment)
        notes.model.minimize(cp_model.LinearExpr.weighted_sum(notes.terms, notes.weights))
        return WholePiece(given, notes, moments, slots, time.process_time() - begin)

    def solve(self, seconds: float, parameters: dict[str, int]) -> NoteLevel:
        """The best found within ``seconds`` of processor time with one worker."""
        solver, watch = cp_model.CpSolver(), _Watch()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        for name, number in parameters.items():
            setattr(solver.parameters, name, number)
        begin = time.process_time()
        done = threading.Event()
        limit = threading.Thread(target=_stop_after, args=(solver, seconds, done))
        limit.start()
        try:
            status = solver.solve(self.notes.model, watch)
        finally:
            done.set()
            limit.join()
        spent = time.process_time() - begin
        bars = None
        if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            rows = [[solver.boolean_value(x) for x in m.hold].index(True) for m in self.moments]
            bars = self.slots.bars(rows)
        bound = int(np.ceil(solver.best_objective_bound - 1e-6))
        return NoteLevel(bars, bound, solver.status_name(status), spent, tuple(watch.found))

    def check(self, bars: Played) -> None:
        """The model has to say of these grips what ``value`` says."""
        rows = [row for path in bars for row in path]
        fixed = self.notes.model.clone()
        for moment, row in zip(self.moments, rows, strict=True):
            fixed.add(fixed.get_bool_var_from_proto_index(moment.hold[row].index) == 1)
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        status = solver.solve(fixed)
        if status != cp_model.OPTIMAL:
            raise AssertionError(
                f"the note-level model calls {solver.status_name()} what is not"
            )
        agree(value(self.given.net, self.given.budget, bars), round(solver.objective_value))


def _stop_after(solver: cp_model.CpSolver, seconds: float, done: threading.Event) -> None:
    """Stop a search that is not ``done`` after ``seconds`` of this process's time."""
    end = time.process_time() + seconds
    while not done.wait(0.1):
        if time.process_time() >= end:
            solver.stop_search()


def agree(judged: Value, objective: int) -> None:
    """Raise where a way claims another objective than its grips have."""
    if (judged.cost, judged.broken, judged.over) != (objective, 0, 0):
        raise AssertionError(f"an objective of {objective} is claimed for {judged}")


# Tables ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Line:
    """One way in the table; ``bound`` in tenths where it has one of its own."""

    name: str
    seconds: float
    value: Value | None
    bound: int | None = None
    note: str = ""
    finished: bool = True


def ways(given: Problem, *, seconds: float, tied: bool) -> Iterator[Line]:
    """Every way that is compared with ours, the first line."""
    net = given.net
    begin = time.process_time()
    proven = prove(net, given.budget, effort())
    spent = time.process_time() - begin
    ours = [proven.paths[kind] for kind in net.piece.order]
    judged = value(net, given.budget, ours)
    agree(judged, proven.objective)
    yield Line("ours", spent, judged, proven.bound)
    yield from _both(given, "greedy", lambda: walk(net, prices(net), no_wish))
    yield from _both(given, "shortest path", lambda: shortest(net, prices(net)))
    begin = time.process_time()
    bars = class_by_class(net)
    spent = time.process_time() - begin
    yield Line("class by class", spent, value(net, given.budget, bars))
    yield from _both(given, "lowest fret", lambda: walk(net, prices(net), lowest_fret))
    yield from _both(
        given, "nearest position", lambda: walk(net, prices(net), nearest_position)
    )
    whole = WholePiece.of(given, tied=tied)
    whole.check(ours)
    for name, parameters in PARAMETERS.items():
        yield from _note_lines(whole, f"note level, {name}", parameters, seconds, judged.cost)


def _note_lines(
    whole: WholePiece, name: str, parameters: dict[str, int], seconds: float, ours: int
) -> Iterator[Line]:
    """The note-level model with one set of parameters."""
    given, notes = whole.given, whole.solve(seconds, parameters)
    spent = whole.seconds + notes.solving
    reached = next((at for at, cost in notes.found if cost <= ours), None)
    done = notes.status == "OPTIMAL"
    note = f"{notes.status.lower()}; {len(whole.notes.model.proto.variables)} variables built"
    note += f" in {whole.seconds:.1f} s; "
    note += "not as good as ours" if reached is None else f"as good as ours at {reached:.1f} s"
    if notes.bars is None:
        yield Line(name, spent, None, notes.bound, note, done)
        return
    whole.check(notes.bars)
    net, budget = given.net, given.budget
    yield Line(name, spent, value(net, budget, notes.bars), notes.bound, note, done)
    same = alike(net, notes.bars)
    if same != notes.bars:
        yield Line("  made alike", spent, value(net, budget, same), finished=done)


def _both(given: Problem, name: str, way: Callable[[], Played]) -> Iterator[Line]:
    """A way as it is found and with equal bars made alike."""
    begin = time.process_time()
    bars = way()
    spent = time.process_time() - begin
    yield Line(name, spent, value(given.net, given.budget, bars))
    yield Line("  made alike", spent, value(given.net, given.budget, alike(given.net, bars)))


def compare(file: File, level: str, *, seconds: float, tied: bool) -> None:
    """Print the table of one piece."""
    given = problem(file, level)
    net = given.net
    slots = sum(len(net.grips[kind]) for kind in net.piece.order)
    print(f"{file.name}, {level}: {len(net.piece.order)} bars, {given.different} different,")
    print(f"{slots} slots as played; grips and moves in {given.seconds:.2f} s")
    print(f"{'way':26}{'s':>8}{'ratio':>8} {'points':>10}{'ratio':>8}{'bound':>9}", end="")
    print(f"{'gap %':>8}{'shapes':>8}{'broken':>8}")
    ours: Line | None = None
    for line in ways(given, seconds=seconds, tied=tied):
        ours = ours or line
        print(_row(line, ours), flush=True)
        if line.note:
            print(f"    ({line.note})")


def _row(line: Line, ours: Line) -> str:
    text = f"{line.name:26}{line.seconds:8.2f}{line.seconds / ours.seconds:8.2f}"
    text += " " if line.finished else "+"
    found, best = line.value, ours.value
    if found is None or best is None:
        bound = "" if line.bound is None else f"{line.bound / 10:.1f}"
        return f"{text}{'none':>10}{'':8}{bound:>9}"
    text += f"{found.cost / 10:10.1f}"
    text += f"{'':8}" if found.broken else f"{found.cost / best.cost:8.4f}"
    if line.bound is None:
        text += f"{'':17}"
    else:
        text += f"{line.bound / 10:9.1f}{100 * (found.cost - line.bound) / found.cost:8.3f}"
    return f"{text}{str(found.shapes) + '!' * (found.over > 0):>8}{found.broken:8}"


def survey(folder: File, level: str) -> None:
    """Print times a different bar and the gap of every piece of a folder, then medians."""
    print(f"{'piece':40}{'bars':>6}{'diff.':>6}{'ms build':>10}{'all keys':>10}", end="")
    print(f"{'ms solve':>10}{'gap %':>8}")
    rows: list[tuple[float, ...]] = []
    for file in sorted(folder.glob("*.mid")):
        try:
            given = problem(file, level)
            begin = time.process_time()
            proven = prove(given.net, given.budget, effort())
        except ArrangerError as error:
            print(f"{file.name[:39]:40} refused: {error}", flush=True)
            continue
        rows.append(_figures(given, proven, time.process_time() - begin))
        print(f"{file.name[:39]:40}{_figures_in_words(rows[-1])}", flush=True)
    if rows:
        middle = tuple(median(column) for column in zip(*rows, strict=True))
        print(f"{f'median of {len(rows)}':40}{_figures_in_words(middle)}")
        print(f"{'most':40}{_figures_in_words(tuple(map(max, zip(*rows, strict=True))))}")


def _figures(given: Problem, proven: Proven, seconds: float) -> tuple[float, ...]:
    count = given.different
    per_bar = [1000 * spent / count for spent in (given.seconds, given.tried, seconds)]
    gap = 100 * (proven.objective - proven.bound) / proven.objective
    return (len(given.net.piece.order), count, *per_bar, gap)


def _figures_in_words(figures: tuple[float, ...]) -> str:
    bars, different, build, tried, solve, gap = figures
    return f"{bars:6.0f}{different:6.0f}{build:10.1f}{tried:10.1f}{solve:10.1f}{gap:8.3f}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("file", nargs="?", type=File, help="a piece of piano music")
    parser.add_argument("--folder", type=File, help="survey every .mid file of a folder")
    parser.add_argument("--level", default="beginner", choices=LEVEL_NAMES)
    parser.add_argument("--seconds", default=60.0, type=float, help="for the note level")
    parser.add_argument("--alike", action="store_true", help="tie equal bars together there")
    options = parser.parse_args()
    if options.folder:
        survey(options.folder, options.level)
    elif options.file:
        compare(options.file, options.level, seconds=options.seconds, tied=options.alike)
    else:
        parser.error("name a file, or a folder with --folder")


if __name__ == "__main__":
    main()
