"""The piece in one key as the solver sees it: an outline moved to the key, with hands."""

from __future__ import annotations

from dataclasses import dataclass, replace

from arranger.music.chord import Chord
from arranger.music.reduction import Setting
from arranger.neck.grips import Context
from arranger.neck.hands import Hand, Hands, hands_for
from arranger.neck.moves import Step
from arranger.neck.outline import BarClass, Joint, Outline
from arranger.neck.reach import HandRules
from arranger.neck.voicing_book import book_shapes, from_book
from arranger.tables.fingering import ShapeCosts

MOST_FOLDS = 3
"""Octaves between which a tune may move: more than three are never of use."""


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
    """Moves an outline to one key. Its hands get their numbers here and nowhere else."""

    def __init__(
        self,
        *,
        sketch: Outline,
        setting: Setting,
        rules: HandRules,
        shapes: ShapeCosts,
        lowest_tune: int,
        hands: Hands,
    ) -> None:
        self._sketch = sketch
        self._shift = setting.transposition
        self._rules = rules
        self._shapes = shapes
        self._book = book_shapes(sketch.reduction.marks.voicings, rules)
        self._hands = hands
        self._by_chord: dict[Chord | None, tuple[int, ...]] = {}
        self.octaves = self._folds(lowest_tune)

    def _folds(self, lowest: int) -> tuple[int, ...]:
        """Octave folds in which a fair share of the tune lies on the neck."""
        tune = [note.midi + self._shift for note in self._sketch.reduction.melody]
        top = self._rules.level.top_note
        fits = {
            fold: sum(1 for midi in tune if lowest <= midi + fold <= top)
            for fold in (-48, -36, -24, -12, 0, 12, 24, 36)
        }
        best = sorted(fits, key=lambda fold: (-fits[fold], abs(fold)))[:MOST_FOLDS]
        return tuple(sorted(fold for fold in best if fits[fold] * 8 >= len(tune))) or (0,)

    def build(self) -> Piece:
        """The piece in the key."""
        sketch = self._sketch
        return Piece(
            classes=tuple([self._bar(bar) for bar in sketch.classes]),
            order=sketch.order,
            kinds=tuple(
                [replace(joint, step=self._step(joint.step)) for joint in sketch.kinds]
            ),
            joints=sketch.joints,
            hands=self._hands.all(),
            octaves=self.octaves,
        )

    def _bar(self, bar: BarClass) -> BarClass:
        return replace(
            bar,
            contexts=tuple([self._context(context) for context in bar.contexts]),
            steps=tuple([self._step(step) for step in bar.steps]),
        )

    def _context(self, context: Context) -> Context:
        chord, fill = self._moved(context.chord), context.fill
        return replace(
            context,
            chord=chord,
            hands=self._hands_of(chord),
            tune=None if context.tune is None else context.tune + self._shift,
            octaves=self.octaves,
            choices=tuple([(self._tone(tone), cost) for tone, cost in context.choices]),
            fill=None if fill is None else (self._tones(fill[0]), fill[1]),
            third=None if context.third is None else self._tone(context.third),
        )

    def _step(self, step: Step) -> Step:
        return replace(step, led_by=self._tones(step.led_by)) if step.led_by else step

    def _tone(self, pitch_class: int) -> int:
        return (pitch_class + self._shift) % 12

    def _tones(self, pitch_classes: tuple[int, ...]) -> tuple[int, ...]:
        return tuple(sorted([self._tone(tone) for tone in pitch_classes]))

    def _moved(self, chord: Chord | None) -> Chord | None:
        return None if chord is None else chord.transposed(self._shift)

    def _hands_of(self, chord: Chord | None) -> tuple[int, ...]:
        """Numbers of the hands that are tried for a chord of the key."""
        if chord not in self._by_chord:
            book = from_book(self._book, chord)
            hands = hands_for(chord, self._rules, self._rules.neck, self._shapes, book)
            self._by_chord[chord] = tuple(self._hands.number(hand) for hand in hands)
        return self._by_chord[chord]
