"""What the fingers printed on a page tell of its notes that have none.

A teacher numbers a note once and means it wherever the same comes again; and from one number
to the next the hand mostly stays where it is. Every printed finger therefore speaks

- for its own finger where its pitch comes again, the more, the more onsets in a row are the
  same on either side, and the nearer it is;
- for fingers that stand in the position in which its own hand stands, at the notes next to it.

How much each of these counts (log-odds) is learnt from scores of which one onset's fingers are
hidden: ``tests/bench/train_fingers.py``.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from arranger.music.written_note import WrittenNote
from arranger.neck.chain import Chain, Field, Shares, field
from arranger.neck.holding import Scores, Stage
from arranger.neck.presses import FINGER, FINGERS, FRET, FRETTED, PRESSES

SAME = 6
"""Longer stretches that are the same count as so many onsets."""
ALIKE = SAME + 2
"""Another chord; the same; the same with 1..``SAME`` onsets beside it."""
NEAR = 4, 12
"""A pitch comes again within so many onsets, or farther off."""
BESIDE = 1, 2, 4, 8
"""A printed finger stands so many onsets away, at most."""
AGAIN = ALIKE + len(NEAR) + 1
"""Weights of a pitch that comes again; those of positions follow: before, after."""
WEIGHTS = AGAIN + 2 * len(BESIDE)

_EACH_WAY = SAME - 2
_OWN = np.clip(FRET - FINGER + 1, 0, None)
"""(presses,) the position in which a press's finger stands on its own fret."""
_FINGER_IS = (FINGER[:, None] == np.arange(FINGERS)).astype(np.float64)
_STANDS = (_OWN[:, None] == np.arange(_OWN.max() + 1)) * FRETTED[:, None].astype(np.float64)

Array = NDArray[np.float64]
Pitches = tuple[int, ...]


@dataclass(frozen=True, eq=False)
class _Mark:
    """A printed finger at stage ``at``; ``hand`` is (positions,) how likely the hand stands
    where, told by what comes before it, and by what comes after it.
    """

    at: int
    finger: int
    hand: tuple[Shares, Shares]


class Printed:
    """The printed fingers of a piece; ``fingers`` by note, ``known`` the field of ``stages`` in
    which they are played as printed.
    """

    def __init__(
        self,
        notes: Sequence[WrittenNote],
        fingers: Mapping[int, int],
        stages: Sequence[Stage],
        known: Field,
    ) -> None:
        self._struck = [_pitches(notes, stage) for stage in stages]
        self._of_pitch: dict[int, list[_Mark]] = defaultdict(list)
        self._pressed: list[list[_Mark]] = [[] for _ in stages]
        for at, stage in enumerate(stages):
            for column, note in enumerate(stage.notes[: stage.struck]):
                if note not in fingers:
                    continue
                after = known.own[at] * known.beta[at]
                codes = stage.codes[:, column]
                hand = _stance(codes, known.alpha[at]), _stance(codes, after / after.sum())
                mark = _Mark(at, fingers[note], hand)
                self._of_pitch[notes[note].midi].append(mark)
                if mark.finger:
                    self._pressed[at].append(mark)

    def features(self, at: int, midi: int) -> Array:
        """(presses, weights) what speaks for each press of a note struck at stage ``at``;
        fingers printed at the same onset say nothing.
        """
        found = np.zeros((PRESSES, WEIGHTS))
        found[:, :AGAIN] = _FINGER_IS @ self._again(at, midi)
        for side, way in enumerate((-1, 1)):
            for away, stance in self._beside(at, way, side):
                place = AGAIN + side * len(BESIDE) + int(np.searchsorted(BESIDE, away))
                found[:, place] = _STANDS @ stance
        return found

    def _again(self, at: int, midi: int) -> Array:
        """(fingers, weights) for each finger, where the pitch has one printed."""
        found = np.zeros((FINGERS, AGAIN))
        others = [mark for mark in self._of_pitch[midi] if mark.at != at]
        if not others:
            return found
        likeness = [self._alike(at, mark.at) for mark in others]
        most = max(likeness)
        closest = [mark for mark, like in zip(others, likeness, strict=True) if like == most]
        for mark in closest:
            found[mark.finger, most] += 1 / len(closest)
        next_to = min(others, key=lambda mark: abs(mark.at - at))
        away = int(np.searchsorted(NEAR, abs(next_to.at - at)))
        found[next_to.finger, ALIKE + away] = 1.0
        return found

    def _alike(self, at: int, other: int) -> int:
        """0 where other notes are struck with it, else 1 and how many onsets in a row beside
        it are the same.
        """
        if self._struck[at] != self._struck[other]:
            return 0
        beside = self._same(at, other, -1) + self._same(at, other, 1)
        return 1 + min(beside, SAME)

    def _same(self, at: int, other: int, way: int) -> int:
        for step in range(1, _EACH_WAY + 1):
            if self._pitches(at + way * step) != self._pitches(other + way * step):
                return step - 1
        return _EACH_WAY

    def _pitches(self, at: int) -> Pitches:
        """Nothing before the beginning and after the end."""
        return self._struck[at] if 0 <= at < len(self._struck) else ()

    def _beside(self, at: int, way: int, side: int) -> Sequence[tuple[int, Shares]]:
        """How far the next printed finger is, and the positions it may be played in."""
        for away in range(1, BESIDE[-1] + 1):
            there = at + way * away
            if not 0 <= there < len(self._pressed):
                break
            if self._pressed[there]:
                hands = [mark.hand[side] for mark in self._pressed[there]]
                return [(away, np.asarray(np.mean(hands, axis=0)))]
        return []


def _pitches(notes: Sequence[WrittenNote], stage: Stage) -> Pitches:
    return tuple(sorted(notes[note].midi for note in stage.notes[: stage.struck]))


def _stance(codes: NDArray[np.int32], shares: Shares) -> Shares:
    """(positions,) how likely the hand stands where for these presses."""
    weights = np.bincount(_OWN[codes], weights=shares, minlength=_OWN.max() + 1)
    return np.asarray(weights, dtype=np.float64)


def printed_fingers(notes: Sequence[WrittenNote]) -> dict[int, int]:
    """The fingers that the page states, by note."""
    return {index: note.finger for index, note in enumerate(notes) if note.finger is not None}


def as_printed(notes: Sequence[WrittenNote], chained: Chain, weights: Array) -> Chain:
    """The chain in which grips count as the printed fingers tell of the other notes.

    It is the same where the page has none.
    """
    fingers = printed_fingers(notes)
    if not fingers:
        return chained
    printed = Printed(notes, fingers, chained.stages, field(chained))
    own: list[Scores] = []
    for at, (stage, scores) in enumerate(zip(chained.stages, chained.own, strict=True)):
        raised = scores.astype(np.float64)
        for column, note in enumerate(stage.notes[: stage.struck]):
            if note not in fingers:
                told = printed.features(at, notes[note].midi) @ weights
                raised = raised + told[stage.codes[:, column]]
        own.append(raised.astype(np.float32))
    return Chain(chained.stages, tuple(own), chained.moves)
