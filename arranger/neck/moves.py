"""What it costs to go from one grip to the next, as a matrix over two sets of grips."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from arranger.neck.grips import NONE, Grips, IntArray, tenths
from arranger.tables.arranging import BassCosts, MelodyCosts
from arranger.tables.fingering import MoveCosts, ShapeCosts

Mask = np.ndarray[tuple[int, ...], np.dtype[np.bool_]]

FORBIDDEN = 10**7
"""Tenths that no arrangement costs: the move cannot be made."""


@dataclass(frozen=True, slots=True)
class Step:
    """What a move from one slot to the next has to respect.

    ``tune`` / ``bass``: "new", "held" or "silent" at the later slot. ``interval`` is the
    source's step into the tune note that begins (None: nothing to compare with);
    ``fold_cost`` what changing the octave costs there in tenths (None: not possible).
    ``bass_step`` is the source's step of a bass line. ``seconds`` is the time for it.
    """

    tune: str
    bass: str
    may_fold: bool
    fold_cost: int
    interval: int | None
    alternates: bool
    bass_step: int | None
    chord_begins: bool
    may_change: bool
    opens_bar: bool
    seconds: float
    length: Fraction


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

    def matrix(self, before: Grips, after: Grips, step: Step) -> IntArray:
        """(len(before), len(after)) tenths; FORBIDDEN where the move cannot be made."""
        cost = self._fingers(before, after, step)
        cost += self._shift(before, after, step)
        forbidden = np.zeros(cost.shape, dtype=bool)
        self._hand(before, after, step, cost, forbidden)
        self._tune(before, after, step, cost, forbidden)
        self._bass(before, after, step, cost, forbidden)
        self._third(before, after, step, forbidden)
        cost[forbidden] = FORBIDDEN
        return cost

    def _pace(self, seconds: float) -> float:
        if seconds < self.moves.fast_seconds:
            return self.moves.fast
        return self.moves.slow if seconds > self.moves.slow_seconds else 1.0

    def _fingers(self, before: Grips, after: Grips, step: Step) -> IntArray:
        """A finger put down, sliding along its string, or leaving it for another."""
        pace = self._pace(step.seconds)
        place, guide, hop = (
            tenths(points * pace)
            for points in (self.moves.place, self.moves.guide, self.moves.hop)
        )
        total = np.zeros((len(before), len(after)), dtype=np.int32)
        for finger in range(5):
            here = before.planted[:, finger][:, None]
            there = after.planted[:, finger][None, :]
            moved = (there != NONE) & (here != there)
            price = np.where(here == NONE, place, np.where(here // 32 == there // 32, guide, hop))
            total += np.where(moved, price, 0).astype(np.int32)
        return total

    def _shift(self, before: Grips, after: Grips, step: Step) -> IntArray:
        """A change of position: dearer while a fretted note has to sound on."""
        up = after.low[None, :] - before.high[:, None]
        down = before.low[:, None] - after.high[None, :]
        frets = np.maximum(np.maximum(up, down), 0)
        pace = self._pace(step.seconds) * self.shift_factor
        base, each = tenths(self.moves.shift * pace), self.moves.shift_fret * pace * 10
        price = np.where(frets > 0, base + each * frets, 0.0)
        price = np.where(before.fretted[:, None] == 0, price * self.moves.shift_free, price)
        return np.rint(price).astype(np.int32)

    def _hand(
        self,
        before: Grips,
        after: Grips,
        step: Step,
        cost: IntArray,
        forbidden: Mask,
    ) -> None:
        """The shape stays while the harmony stays, or changes on a strong beat at a price."""
        changed = before.hand[:, None] != after.hand[None, :]
        if step.chord_begins:
            cost += self.hand_costs[after.hand][None, :]
        elif step.may_change:
            extra = tenths(self.shapes.change_within) + self.hand_costs[after.hand][None, :]
            cost += np.where(changed, extra, 0).astype(np.int32)
        else:
            forbidden |= changed

    def _tune(
        self,
        before: Grips,
        after: Grips,
        step: Step,
        cost: IntArray,
        forbidden: Mask,
    ) -> None:
        """A held tune note stays where it is; a new one sings on from the last."""
        folded = before.octave[:, None] != after.octave[None, :]
        if step.tune == "held":
            stays = before.tune[:, None] == after.tune[None, :]
            forbidden |= ~(stays | (after.tune[None, :] == NONE))
        if not step.may_fold:
            forbidden |= folded
        elif folded.any():
            cost += np.where(folded, self._fold(before, after, step), 0).astype(np.int32)
        if step.tune == "new":
            same = (before.tune_finger[:, None] == after.tune_finger[None, :]) & (
                after.tune_finger[None, :] != NONE
            )
            along = before.tune_string[:, None] == after.tune_string[None, :]
            moved = before.tune[:, None] != after.tune[None, :]
            pace = self._pace(step.seconds)
            slide = tenths(self.moves.legato_slide * pace)
            hop = tenths(self.moves.legato_hop * pace)
            cost += np.where(same & moved, np.where(along, slide, hop), 0).astype(np.int32)

    def _fold(self, before: Grips, after: Grips, step: Step) -> IntArray:
        """Moving the tune by octaves: dearer inside a line, most where it turns round."""
        folds = np.array(self.octaves, dtype=np.int32)
        change = folds[after.octave][None, :] - folds[before.octave][:, None]
        price = np.full(change.shape, step.fold_cost, dtype=np.int32)
        if step.interval is not None:
            broken = np.sign(step.interval + change) != np.sign(step.interval)
            price += np.where(broken, tenths(self.melody.contour_broken), 0).astype(np.int32)
            if abs(step.interval) <= 4:
                price += tenths(self.melody.close_interval)
        return price + np.where(abs(change) > 12, tenths(20.0), 0).astype(np.int32)

    def _bass(
        self,
        before: Grips,
        after: Grips,
        step: Step,
        cost: IntArray,
        forbidden: Mask,
    ) -> None:
        """A held bass note stays or is let go; a new one alternates or leads on."""
        if step.bass == "held":
            same_spot = before.bass[:, None] // 8 == after.bass[None, :] // 8
            same_finger = before.bass[:, None] == after.bass[None, :]
            kept = np.where(after.bass_active[None, :] == 1, same_finger, same_spot)
            silent = (before.bass[:, None] == NONE) & (after.bass[None, :] == NONE)
            forbidden |= ~(kept | silent)
            return
        if step.bass != "new":
            return
        known = (before.bass_string[:, None] != NONE) & (after.bass_string[None, :] != NONE)
        if step.alternates:
            same = known & (before.bass_string[:, None] == after.bass_string[None, :])
            cost += np.where(same, tenths(self.bass.same_string), 0).astype(np.int32)
            pitch = known & (before.bass_midi[:, None] == after.bass_midi[None, :])
            cost += np.where(pitch, tenths(self.bass.same_pitch), 0).astype(np.int32)
        if step.bass_step is not None:
            taken = after.bass_midi[None, :] - before.bass_midi[:, None]
            turned = known & (np.sign(taken) != np.sign(step.bass_step))
            cost += np.where(turned, tenths(self.bass.direction), 0).astype(np.int32)
            off = np.maximum(abs(taken - step.bass_step) - 7, 0)
            leap = np.rint(off * self.bass.leap * 10)
            cost += np.where(known, leap, 0).astype(np.int32)

    def _third(
        self,
        before: Grips,
        after: Grips,
        step: Step,
        forbidden: Mask,
    ) -> None:
        """Within a bar, the third is remembered once heard, and not before."""
        if step.opens_bar:
            return
        knew, knows = before.third_heard[:, None], after.third_heard[None, :]
        gives = after.third_given[None, :]
        forbidden |= knows != np.maximum(knew, gives)
