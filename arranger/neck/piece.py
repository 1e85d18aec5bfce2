"""The piece as the solver sees it: different bars, and the joints between them.

Equal bars are one class and share their decisions; a joint is the step from one class to
the next. Times are seconds at the student's tempo, costs whole tenths of a point.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from arranger.music.chord import Chord
from arranger.music.reduction import MelodyNote, Reduction, Setting, Slot
from arranger.neck.grips import Context, InnerWish, tenths
from arranger.neck.hands import Hand, Hands, hands_for
from arranger.neck.inner_notes import inner_wish
from arranger.neck.moves import NO_FOLD, Fold, Step
from arranger.neck.reach import HandRules
from arranger.neck.voicing_book import book_shapes, from_book
from arranger.tables.arranging import ArrangingTable
from arranger.tables.fingering import ShapeCosts

MOST_FOLDS = 3
"""Octaves between which a tune may move: more than three are never of use."""


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
class Piece:
    """``order[b]`` is the class of bar ``b``; ``joints[b]`` leads from bar b to bar b + 1.

    ``kinds`` are the different joints, which ``joints`` index.
    """

    classes: tuple[BarClass, ...]
    order: tuple[int, ...]
    kinds: tuple[Joint, ...]
    joints: tuple[int, ...]
    hands: tuple[Hand, ...]
    octaves: tuple[int, ...]

    def times(self, bar_class: int) -> int:
        """How often the class occurs."""
        return self.order.count(bar_class)


class PieceBuilder:
    """Builds the ``Piece`` of one key; ``alone`` names bars by index, see ``BarClass``."""

    def __init__(
        self,
        *,
        reduction: Reduction,
        setting: Setting,
        rules: HandRules,
        table: ArrangingTable,
        shapes: ShapeCosts,
        lowest_tune: int,
        hands: Hands,
        alone: frozenset[int] = frozenset(),
    ) -> None:
        self._reduction = reduction
        self._shift = setting.transposition
        self._rules = rules
        self._table = table
        self._shapes = shapes
        self._alone = alone
        self._book = book_shapes(reduction.marks.voicings, rules)
        self._hands = hands
        self._by_chord: dict[Chord | None, tuple[int, ...]] = {}
        self.octaves = self._folds(lowest_tune)

    def _folds(self, lowest: int) -> tuple[int, ...]:
        """Octave folds in which a fair share of the tune lies on the neck."""
        tune = [note.midi + self._shift for note in self._reduction.melody]
        top = self._rules.level.top_note
        fits = {
            fold: sum(1 for midi in tune if lowest <= midi + fold <= top)
            for fold in (-48, -36, -24, -12, 0, 12, 24, 36)
        }
        best = sorted(fits, key=lambda fold: (-fits[fold], abs(fold)))[:MOST_FOLDS]
        return tuple(sorted(fold for fold in best if fits[fold] * 8 >= len(tune))) or (0,)

    def build(self) -> Piece:
        """The piece, its equal bars folded into classes; bars without slots are passed over."""
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
        return Piece(
            classes=tuple(known),
            order=tuple(order),
            kinds=tuple(kinds),
            joints=tuple(joints),
            hands=self._hands.all(),
            octaves=self.octaves,
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
            chord=self._moved(slot.chord),
            hands=self._hands_of(slot.chord),
            tune=note.midi + self._shift if note is not None else None,
            tune_begins=slot.melody_begins,
            octaves=self.octaves,
            choices=tuple(
                ((choice.pitch_class + self._shift) % 12, tenths(choice.cost))
                for choice in stroke.choices
            )
            if stroke is not None
            else (),
            stroke_begins=slot.stroke_begins,
            rest_cost=tenths(stroke.rest_cost) if stroke is not None else 0,
            fill=None
            if fill is None
            else (
                tuple(sorted((tone + self._shift) % 12 for tone in fill.pitch_classes)),
                tenths(fill.cost),
            ),
            third=(wish.third + self._shift) % 12
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

    def _hands_of(self, chord: Chord | None) -> tuple[int, ...]:
        moved = self._moved(chord)
        if moved not in self._by_chord:
            hands = hands_for(
                moved,
                self._rules,
                self._rules.neck,
                self._shapes,
                from_book(self._book, moved),
            )
            self._by_chord[moved] = tuple(self._hands.number(hand) for hand in hands)
        return self._by_chord[moved]

    def _moved(self, chord: Chord | None) -> Chord | None:
        return None if chord is None else chord.transposed(self._shift)

    # Between bars ----------------------------------------------------------------------

    def _joint(self, bars: list[list[Slot]], place: int) -> Step:
        """The step over a bar line. The tune may change its octave here for the first
        note that begins in the next bar.
        """
        before, after = bars[place][-1], bars[place + 1][0]
        held = after.melody is not None and not after.melody_begins
        first = next((slot for slot in bars[place + 1] if slot.melody_begins), None)
        fold, may = NO_FOLD, False
        if first is not None and not held:
            note = self._tune(first)
            last = self._last_tune(first)
            may = note is not None
            if note is not None and last is not None:
                fold = self._fold(note, last)
        return self._step(before, after, may_fold=may, fold=fold, opens_bar=True)

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
        return float(inside) * self._rules.level.changes_per_bar < float(bar.length)

    def _led_by(self, slot: Slot) -> tuple[int, ...]:
        """Tones that the stroke before the one in ``slot`` may only play to lead to it."""
        if not slot.stroke:
            return ()
        before = self._reduction.strokes[slot.stroke - 1]
        if before.end != slot.onset:
            return ()
        return tuple(
            sorted(
                (choice.pitch_class + self._shift) % 12
                for choice in before.choices
                if choice.added
            )
        )
