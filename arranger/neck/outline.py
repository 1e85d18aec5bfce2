"""The piece before a key is chosen: its different bars, and the joints between them.

What a key does not change is worked out once for all keys that are tried. Times are seconds at
the student's tempo, costs whole tenths of a point.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

from arranger.music.reduction import MelodyNote, Reduction, Slot
from arranger.neck.grips import Context, InnerWish, tenths
from arranger.neck.inner_notes import inner_wish
from arranger.neck.moves import NO_FOLD, Fold, Step
from arranger.tables import Level
from arranger.tables.arranging import ArrangingTable, arranging


@dataclass(frozen=True, slots=True)
class BarClass:
    """A different bar: the contexts of its slots and the steps between them.

    ``alone`` is the index of a bar that shares its decisions with no other, because the
    teacher marked it or a bar beside it; None for all others.
    """

    contexts: tuple[Context, ...]
    steps: tuple[Step, ...]
    alone: int | None = None


@dataclass(frozen=True, slots=True)
class Joint:
    """From the last slot of class ``before`` into the first slot of class ``after``."""

    before: int
    after: int
    step: Step


@dataclass(frozen=True, slots=True)
class Outline:
    """A piece at the pitches of its source, without hands and octaves; see ``Piece``."""

    reduction: Reduction
    classes: tuple[BarClass, ...]
    order: tuple[int, ...]
    kinds: tuple[Joint, ...]
    joints: tuple[int, ...]


def outline(
    reduction: Reduction, level: Level, *, alone: frozenset[int] = frozenset()
) -> Outline:
    """The outline of a reduction, its equal bars folded into classes.

    Bars without slots are those that a sample leaves out: after them tune and bass begin anew.
    ``alone`` names bars by index, see ``BarClass``.
    """
    return _Outliner(reduction, level, arranging(), alone).build()


@dataclass(frozen=True, slots=True)
class _Outliner:
    _reduction: Reduction
    _level: Level
    _table: ArrangingTable
    _alone: frozenset[int]

    def build(self) -> Outline:
        by_bar: list[list[Slot]] = [[] for _ in self._reduction.analysis.score.bars]
        for slot in self._reduction.slots:
            by_bar[slot.bar].append(slot)
        bars = [slots for slots in by_bar if slots]
        known: dict[BarClass, int] = {}
        order = [known.setdefault(self._bar(slots), len(known)) for slots in bars]
        kinds: dict[Joint, int] = {}
        joints = [
            kinds.setdefault(
                Joint(order[place], order[place + 1], self._joint(bars, place)), len(kinds)
            )
            for place in range(len(bars) - 1)
        ]
        return Outline(
            reduction=self._reduction,
            classes=tuple(known),
            order=tuple(order),
            kinds=tuple(kinds),
            joints=tuple(joints),
        )

    # Inside a bar ----------------------------------------------------------------------

    def _bar(self, slots: list[Slot]) -> BarClass:
        wish = self._reduction.bar_wishes[slots[0].bar]
        owing = [place for place, slot in enumerate(slots) if wish.covers(slot.onset)]
        contexts = tuple(
            self._context(slot, first=place in owing[:1], last=place in owing[-1:])
            for place, slot in enumerate(slots)
        )
        steps = []
        tune: MelodyNote | None = self._tune(slots[0])
        for place, (before, after) in enumerate(pairwise(slots), start=1):
            note = self._tune(after)
            begins = after.melody_begins and note is not None
            fold = NO_FOLD
            if begins and note is not None and tune is not None:
                fold = self._fold(note, tune)
            steps.append(
                self._step(before, after, may_fold=begins and tune is not None, fold=fold,
                           opens_bar=place in owing[:1])
            )  # fmt: skip
            tune = note or tune
        bar = slots[0].bar
        return BarClass(contexts, tuple(steps), bar if bar in self._alone else None)

    def _context(self, slot: Slot, *, first: bool, last: bool) -> Context:
        reduction, costs = self._reduction, self._table
        note = self._tune(slot)
        stroke = reduction.strokes[slot.stroke] if slot.stroke is not None else None
        wish = reduction.bar_wishes[slot.bar]
        fill = slot.fill
        return Context(
            chord=slot.chord,
            hands=(),
            tune=note.midi if note is not None else None,
            tune_begins=slot.melody_begins,
            octaves=(),
            choices=tuple(
                (choice.pitch_class % 12, tenths(choice.cost)) for choice in stroke.choices
            )
            if stroke is not None
            else (),
            stroke_begins=slot.stroke_begins,
            rest_cost=tenths(stroke.rest_cost) if stroke is not None else 0,
            fill=None
            if fill is None
            else (
                tuple(sorted(tone % 12 for tone in fill.pitch_classes)),
                tenths(fill.cost),
            ),
            third=wish.third % 12
            if wish.third is not None and wish.covers(slot.onset)
            else None,
            opens_bar=first,
            third_cost=tenths(wish.cost) if last else 0,
            missing_cost=0 if note is None else tenths(self._missing(slot, note)),
            released_cost=0
            if stroke is None
            else tenths(costs.bass.released * min(1.0, float(slot.length / stroke.length))),
            inner=self._inner(slot) if slot.bar in self._alone else None,
        )

    def _inner(self, slot: Slot) -> InnerWish | None:
        bar = self._reduction.analysis.score.bars[slot.bar]
        return inner_wish(self._reduction, bar, slot.onset)

    def _missing(self, slot: Slot, note: MelodyNote) -> float:
        """Points for leaving a tune note out where it begins, or letting it go later."""
        costs = self._table.melody
        if not slot.melody_begins:
            return costs.cut * self._share(slot, note)
        return costs.omit * (costs.omit_neighbour if note.neighbour else 1.0)

    def _share(self, slot: Slot, note: MelodyNote) -> float:
        """The slot's share of what sounds of a note in its bar."""
        bar = self._reduction.analysis.score.bars[slot.bar]
        return float(slot.length / (min(note.end, bar.end) - max(note.onset, bar.start)))

    # Between bars ----------------------------------------------------------------------

    def _joint(self, bars: list[list[Slot]], place: int) -> Step:
        """The step over a bar line. The tune may change its octave here for the first
        note that begins in the next bar.
        """
        before, after = bars[place][-1], bars[place + 1][0]
        first = next((slot for slot in bars[place + 1] if slot.melody_begins), None)
        if after.bar > before.bar + 1:
            return self._gap(before, after, first)
        held = after.melody is not None and not after.melody_begins
        fold, may = NO_FOLD, False
        if first is not None and not held:
            note = self._tune(first)
            last = self._last_tune(first)
            may = note is not None
            if note is not None and last is not None:
                fold = self._fold(note, last)
        return self._step(before, after, may_fold=may, fold=fold, opens_bar=True)

    def _gap(self, before: Slot, after: Slot, first: Slot | None) -> Step:
        """The step over bars that were left out of a sample: tune and bass begin anew."""
        step = self._step(
            before, after, may_fold=first is not None, fold=NO_FOLD, opens_bar=True
        )
        return replace(step, alternates=False, bass_step=None, led_by=(), chord_begins=True)

    def _last_tune(self, slot: Slot) -> MelodyNote | None:
        """The tune note before the one that begins in ``slot``."""
        if slot.melody is None or slot.melody == 0:
            return None
        return self._reduction.melody[slot.melody - 1]

    def _tune(self, slot: Slot) -> MelodyNote | None:
        return None if slot.melody is None else self._reduction.melody[slot.melody]

    def _fold(self, note: MelodyNote, last: MelodyNote) -> Fold:
        """What an octave fold costs before ``note``.

        Where octaves begin or end, the line goes on from either of the two notes.
        """
        costs = self._table.melody
        price = {
            "phrase": costs.octave_phrase,
            "breath": costs.octave_breath,
            "inside": costs.octave_inside,
        }[note.joint]
        top = note.midi - last.midi
        other = 12 * (last.doubled - note.doubled)
        return Fold(tenths(price), (top, top + other) if other else (top,), note.weight)

    def _step(
        self,
        before: Slot,
        after: Slot,
        *,
        may_fold: bool,
        fold: Fold,
        opens_bar: bool,
    ) -> Step:
        reduction = self._reduction
        stroke = reduction.strokes[after.stroke] if after.stroke is not None else None
        bass = "silent" if stroke is None else "new" if after.stroke_begins else "held"
        tune = "silent" if after.melody is None else "new" if after.melody_begins else "held"
        return Step(
            tune=tune,
            bass=bass,
            may_fold=may_fold,
            fold=fold,
            alternates=bass == "new" and stroke is not None and stroke.alternates,
            bass_step=stroke.step if bass == "new" and stroke is not None else None,
            led_by=self._led_by(after) if bass == "new" else (),
            chord_begins=after.chord_begins,
            brief=self._is_brief(after),
            may_change=after.strong,
            opens_bar=opens_bar,
            seconds=round(reduction.seconds(before.length), 3),
        )

    def _is_brief(self, slot: Slot) -> bool:
        """Whether the harmony of a slot fills too little of its bar to get a shape of its own,
        at the pace at which this level changes shapes.

        What lies beyond the bar lines does not count: equal bars are played alike.
        """
        bar = self._reduction.analysis.score.bars[slot.bar]
        span = self._reduction.analysis.harmony_at(slot.onset)
        inside = min(span.end, bar.end) - max(span.start, bar.start)
        return float(inside) * self._level.changes_per_bar < float(bar.length)

    def _led_by(self, slot: Slot) -> tuple[int, ...]:
        """Tones that the stroke before the one in ``slot`` may only play to lead to it."""
        if not slot.stroke:
            return ()
        before = self._reduction.strokes[slot.stroke - 1]
        if before.end != slot.onset:
            return ()
        return tuple(
            sorted(choice.pitch_class % 12 for choice in before.choices if choice.added)
        )
