"""Grips: what sounds at one moment and how it is held, many of them as columns.

Costs are whole tenths of a point. A spot with its finger is one number, its code.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import overload

import numpy as np
from numpy.typing import NDArray

from arranger.music.chord import Chord
from arranger.neck.fretboard import Spot

IntArray = NDArray[np.int32]
RowArray = NDArray[np.intp]
Stances = tuple[IntArray, RowArray]
"""Different ways to plant the fingers (stances, 5) as places 1.. or 0 for none, and for each
row which of them it is."""

NONE = -1
"""No note, no finger, no string."""
RELEASED = 7
"""Stands for the finger of a bass note that has been let go."""


Fills = tuple[tuple[Spot, int], ...]
"""Inner notes: spots with their fingers."""


NO_FILLS: Fills = ()


class FillBook:
    """The sets of inner notes met so far, each with its number; 0 is none."""

    def __init__(self) -> None:
        self._known: list[Fills] = [NO_FILLS]
        self._numbers: dict[Fills, int] = {NO_FILLS: 0}
        self._fretted = np.zeros(1, dtype=bool)
        self._strings = np.zeros(1, dtype=np.int32)

    def number(self, fills: Fills) -> int:
        """The number of ``fills``, a new one when it was not met before."""
        if fills not in self._numbers:
            self._numbers[fills] = len(self._known)
            self._known.append(fills)
        return self._numbers[fills]

    def __getitem__(self, number: int) -> Fills:
        return self._known[number]

    def fretted(self) -> NDArray[np.bool_]:
        """For every set whether a finger has to press a string for it."""
        if len(self._fretted) != len(self._known):
            pressed = [any(spot.fret for spot, _ in fills) for fills in self._known]
            self._fretted = np.array(pressed, dtype=bool)
        return self._fretted

    def strings(self) -> IntArray:
        """For every set the strings of its notes: string s is the bit of 2 ** s."""
        if len(self._strings) != len(self._known):
            bits = [sum(1 << spot.string for spot, _ in fills) for fills in self._known]
            self._strings = np.array(bits, dtype=np.int32)
        return self._strings


InnerWish = tuple[tuple[int, int | None, int | None], ...]
"""All inner notes that a teacher marked for a moment: string, fret, finger; None is free."""


def tenths(points: float) -> int:
    """Points as the whole tenths that the models count in."""
    return round(points * 10)


@dataclass(frozen=True, slots=True)
class Context:
    """All that decides which grips a slot has; equal contexts share their grips.

    ``tune`` is the tune note as the hand would play it without an octave fold (MIDI
    minus capo); ``octaves`` are the folds in semitones; ``missing_cost`` is charged to a grip
    without it, which leaves it out or lets it go. ``choices`` are the thumb's
    pitch classes with their cost in tenths, empty where the thumb is silent. ``third``
    is the pitch class that the bar owes; ``third_cost`` is charged in the bar's last slot
    to a grip that comes without it. Beside the cheapest inner notes those of ``inner`` are
    looked at, all where ``inner_open``.
    """

    chord: Chord | None
    hands: tuple[int, ...]
    tune: int | None
    tune_begins: bool
    octaves: tuple[int, ...]
    choices: tuple[tuple[int, int], ...]
    stroke_begins: bool
    rest_cost: int
    fill: tuple[tuple[int, ...], int] | None
    third: int | None
    opens_bar: bool
    third_cost: int
    missing_cost: int
    released_cost: int
    inner: InnerWish | None = None
    inner_open: bool = False


@dataclass(frozen=True, slots=True)
class Grip:
    """One grip. ``bass_active`` is False when the thumb's note has been let go early."""

    hand: int
    octave: int
    tune: Spot | None
    tune_finger: int
    bass: Spot | None
    bass_finger: int
    bass_active: bool
    fills: Fills
    gives_third: bool
    third_heard: bool
    cost: int
    planted: tuple[int, ...]


def spot_code(spot: Spot | None, finger: int) -> int:
    """A spot and its finger as one number; NONE for silence."""
    return NONE if spot is None else (spot.string * 32 + spot.fret) * 8 + finger


def spot_of(code: int) -> Spot | None:
    """The spot of a code, or None for silence."""
    return None if code == NONE else Spot(code // 256, code // 8 % 32)


def press_of(code: int) -> tuple[int, int, int] | None:
    """String, fret and finger of a code; None for silence and for what has been let go."""
    if code == NONE or code % 8 == RELEASED:
        return None
    return code // 256, code // 8 % 32, code % 8


_BYTES = np.arange(0, 40, 8)
"""Where in a stance's code the place of each finger stands."""


def stance_code(planted: Sequence[int]) -> int:
    """Where fingers 1..4 and the thumb stand (string * 32 + fret, or NONE) as one number."""
    return int.from_bytes([place + 1 for place in planted], "little")


def _places(codes: NDArray[np.int64]) -> IntArray:
    """(codes, 5) what stance codes are made of, a place each 1 higher so that 0 is none."""
    places: IntArray = (codes[:, None] >> _BYTES & 255).astype(np.int32)
    return places


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Grips:
    """The grips of one slot as columns of equal length.

    ``tune`` and ``bass`` are codes (the bass's finger is RELEASED once it is let go);
    ``tune_finger`` is NONE for an open string. ``low``..``high`` is where the first finger
    may stand. ``stance`` is where the fingers are planted, see ``stance_code``.
    ``third_heard`` is what the bar remembers, ``third_given`` what the grip adds.
    ``finger_strings``: where tune and inner notes sound; string s is the bit of 2 ** s.
    ``filled`` are numbers of sets of inner notes in ``book``.
    """

    hand: IntArray
    octave: IntArray
    tune: IntArray
    tune_string: IntArray
    tune_finger: IntArray
    bass: IntArray
    bass_string: IntArray
    bass_midi: IntArray
    bass_active: IntArray
    finger_strings: IntArray
    fretted: IntArray
    third_given: IntArray
    third_heard: IntArray
    cost: IntArray
    low: IntArray
    high: IntArray
    stance: NDArray[np.int64]
    filled: IntArray
    book: FillBook
    _stances: list[Stances] = field(default_factory=list)

    def __len__(self) -> int:
        return len(self.cost)

    @property
    def planted(self) -> IntArray:
        """(rows, 5) where fingers 1..4 and the thumb stand: string * 32 + fret, or NONE."""
        return _places(self.stance) - 1

    @property
    def stances(self) -> Stances:
        """The different stances, and for each row which of them it is; found when they are
        first asked for.
        """
        if not self._stances:
            codes, which = np.unique(self.stance, return_inverse=True)
            self._stances.append((_places(codes), which))
        return self._stances[0]

    @property
    def fills(self) -> list[Fills]:
        """The inner notes of every row."""
        return [self.book[number] for number in self.filled.tolist()]

    @property
    def items(self) -> Sequence[Grip]:
        """The rows as values, each made when it is asked for."""
        return _Rows(self)

    def only(self, rows: RowArray) -> Grips:
        """The same columns for some of the rows, each at most once and in order."""
        if len(rows) == len(self):
            return self
        columns = {name: getattr(self, name).take(rows) for name in COLUMNS}
        return Grips(book=self.book, **columns)

    def grip(self, row: int) -> Grip:
        """One row as a value."""
        active = bool(self.bass_active[row])
        tune, bass = int(self.tune[row]), int(self.bass[row])
        return Grip(
            hand=int(self.hand[row]),
            octave=int(self.octave[row]),
            tune=spot_of(tune),
            tune_finger=0 if tune == NONE else tune % 8,
            bass=spot_of(bass),
            bass_finger=bass % 8 if active else 0,
            bass_active=active,
            fills=self.book[int(self.filled[row])],
            gives_third=bool(self.third_given[row]),
            third_heard=bool(self.third_heard[row]),
            cost=int(self.cost[row]),
            planted=tuple((_places(self.stance[row : row + 1]) - 1)[0].tolist()),
        )


COLUMNS = tuple(name for name in Grips.__dataclass_fields__ if name not in ("book", "_stances"))


@dataclass(frozen=True, slots=True, eq=False)
class _Rows(Sequence[Grip]):
    """The rows of columns as a sequence of values."""

    grips: Grips

    def __len__(self) -> int:
        return len(self.grips)

    @overload
    def __getitem__(self, row: int) -> Grip: ...
    @overload
    def __getitem__(self, row: slice) -> Sequence[Grip]: ...
    def __getitem__(self, row: int | slice) -> Grip | Sequence[Grip]:
        if isinstance(row, slice):
            return [self.grips.grip(i) for i in range(*row.indices(len(self)))]
        return self.grips.grip(range(len(self))[row])


@dataclass(frozen=True, slots=True, eq=False)
class Held:
    """What the grips before hold on to, as sorted numbers that name hand and notes.

    None: nothing is held in that voice, so that nothing restricts it. ``changes``: the
    hand may change its shape, so that the hand is no part of the numbers.
    """

    basses: NDArray[np.int64] | None = None
    tunes: NDArray[np.int64] | None = None
    both: NDArray[np.int64] | None = None
    changes: bool = False

    @staticmethod
    def after(before: Grips, *, tune: bool, bass: bool, changes: bool) -> Held:
        """What can be held on from ``before``: a bass note may also be let go."""
        hand = _hand(before.hand, changes)
        let_go = np.where(before.bass == NONE, NONE, before.bass // 8 * 8 + RELEASED)
        basses = np.concatenate([bass_mark(hand, before.bass), bass_mark(hand, let_go)])
        return Held(
            np.unique(basses) if bass else None,
            np.unique(tune_mark(hand, before.octave, before.tune)) if tune else None,
            np.unique(pair_mark(hand, before.tune, before.bass)) if tune and bass else None,
            changes,
        )

    def allows(
        self, hand: IntArray, octave: IntArray, tune: IntArray, bass: IntArray
    ) -> NDArray[np.bool_]:
        """Which grips some grip before can go on to, as far as held notes tell.

        A tune note may always be let go.
        """
        hand = _hand(hand, self.changes)
        silent = tune == NONE
        allowed = np.ones(len(hand), dtype=bool)
        if self.basses is not None:
            allowed &= among(bass_mark(hand, bass), self.basses)
        if self.tunes is not None:
            allowed &= silent | among(tune_mark(hand, octave, tune), self.tunes)
        if self.both is not None:
            allowed &= silent | among(pair_mark(hand, tune, bass), self.both)
        return allowed


def among(marks: NDArray[np.int64], known: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Which marks are among the sorted ``known``."""
    if not len(known):
        return np.zeros(len(marks), dtype=bool)
    place = np.minimum(np.searchsorted(known, marks), len(known) - 1)
    found: NDArray[np.bool_] = known[place] == marks
    return found


def _hand(hand: IntArray, changes: bool) -> IntArray:
    return np.zeros_like(hand) if changes else hand


def bass_mark(hand: IntArray, bass: IntArray) -> NDArray[np.int64]:
    """Hand and bass code as one number."""
    return hand.astype(np.int64) * 4096 + bass + 1


def tune_mark(hand: IntArray, octave: IntArray, tune: IntArray) -> NDArray[np.int64]:
    """Hand, octave and tune code as one number."""
    return (hand.astype(np.int64) * 8 + octave) * 4096 + tune + 1


def pair_mark(hand: IntArray, tune: IntArray, bass: IntArray) -> NDArray[np.int64]:
    """Hand and both spots, whatever the fingers, as one number."""
    return (hand.astype(np.int64) * 4096 + tune // 8 + 1) * 4096 + bass // 8 + 1
