"""Learn the weights of ``arranger/tables/habits.toml`` from what editors printed.

    python tests/bench/train_fingers.py DATA [--epochs 8] [--only-printed] [--write]

DATA is the project's folder of open data (``guitar/labelled``, ``SOURCES.csv``). Method: a
conditional random field with hidden parts (Quattoni et al. 2007) over the lattice in which
pieces are fingered; the labelled way is put into the lattice, the start is a hand's worth of
weights set by hand, and the weights are drawn back towards it. What a weight shares with others
like it is learnt as a part of its own (``kindred.py``), so that a table leans on its rows and
columns where labels are few. Of a piece with many labels each counts for less: they are one
editor's habits. A way that misses labels
counts the more for it while learning (softmax-margin: Gimpel and Smith 2010), so that the
labelled one has to win by a margin; and no label counts beyond all bounds, for some are slips
(a soft ramp: Gimpel and Smith 2012, *Structured ramp loss minimization*). AdaGrad (Duchi et
al. 2011), pieces in an order that a fixed seed decides.

What is not printed tells as well. Editors number the notes that a finger plays and seldom open
ones, and print a string where it is not the one expected: where a piece has many numbers, a
note without one is likely open. How likely an editor is to print is told by how much the piece
has of each kind, and what is silent is learnt with it (labels missing not at random: Little
and Rubin, *Statistical Analysis with Missing Data*, from memory).

What the fingers printed on a page tell of its other notes (``neck/printed.py``) is learnt then,
a logit over the presses of each printed note with the labels of its onset hidden and all others
known (pseudo-likelihood: Besag 1975, from memory).

What it costs to let a note go early is not learnt: where strings are not printed, learning
explains a finger by a string on which the note before had to be let go.
"""

from __future__ import annotations

import argparse
import random
import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from guitar_scores import GuitarScore, guitar_scores
from kindred import Parts
from numpy.typing import NDArray

from arranger.music.written_note import WrittenNote
from arranger.neck.chain import Chain, Field, chain, field
from arranger.neck.fingered import likely_presses, weights_of_table, with_open_strings
from arranger.neck.fretboard import Neck
from arranger.neck.habits import (
    FAMILIES,
    POSITIONS,
    START,
    TOTAL,
    Features,
    Habits,
    of_family,
    places,
)
from arranger.neck.holding import Stage, Widths, barre_change, release_terms
from arranger.neck.lattice import lattice
from arranger.neck.presses import FINGER, FRET, RELEASED, STRING, hand_tables
from arranger.neck.printed import WEIGHTS, Printed
from arranger.tables import Player, default_player, instrument
from arranger.tables.habits import as_written, left_habits

Array = NDArray[np.float64]
SEED = 7
AROUND = 6
MOST = 150
"""Onsets before and after a label that are learnt with it, and labels of one piece."""
MUCH = 40
"""A piece with more labels counts as the root of how many times it has so many."""
MARGIN = 1.0
"""Log-odds that each missed label gives a rival while learning."""
TOLD = 3.0
"""Log-odds by which each missed label counts against a way where the labels are told."""
OPEN, AWAY = 0.32, 0.2
"""Share of notes that are open, and of those that lie higher up the neck than they need: set by
hand (learnt without them, fingering had 0.27 and 0.14 of the labelled pieces so).
"""
MOST_PRINTED = 0.9
"""An editor prints at most so much of what there is of a kind."""
UNSAID = 1.6
"""How much it tells that a note has no number. 1.0 is what the count alone says; chosen, like
``TOLD``, on one order of five folds and confirmed on two others.
"""
LEAST_SHARE = 1e-7
"""Presses that are less likely beside the other labels are out of the question."""
ROUNDS, STEP_PRINTED, BACK_PRINTED = 300, 0.3, 2.0
"""How long, how fast, and how strongly drawn back to nothing, what printed fingers tell of the
others is learnt.
"""
FIXED = ("release",)
"""Families that stay as they were set by hand."""
RESTS_LIKE = {
    "rest_pair": "pair",
    "rest_barre": "barre",
    "rest_stretch": "stretch",
    "rest_other": "other_finger",
    "rest_pitch": "same_pitch",
}
OPEN_TRIALS = "0.2 gave 63.1, 57.3 and 93.5 %, 0.4 gave 62.7, 53.2 and 94.7 %"
"""What ``open_low`` was worth when last tried."""
NARROW = Widths(stage=64, first=240)
"""The lattices learnt from: the rivals of the labelled ways are near the top."""
TABLE = Path(__file__).parents[2] / "arranger" / "tables" / "habits.toml"


def trained_hand() -> Player:
    return default_player(as_written())


@cache
def features_of(tuning: tuple[int, ...], player: Player) -> Features:
    guitar = instrument()
    neck = Neck(tuning, 19, player.scale_length, guitar.string_spacing, 0)
    return Features(hand_tables(neck, as_written(), player))


def start() -> Array:
    """Weights set by hand after published trials of learnt costs."""
    weights = np.zeros(TOTAL)

    def part(name: str) -> Array:
        return of_family(weights, name)

    part("finger_fret")[1:] -= 0.1 * np.arange(25)
    part("finger_string")[4] -= 0.3
    part("finger_string")[1] += 0.25
    part("finger_off")[1:] = [-3.0, -1.2, 0.0, -1.2, -3.0]
    part("finger_off")[4] = [-2.0, -0.4, 0.0, -1.2, -3.0]
    part("open_position")[:, 5:] -= 0.3
    part("held_off")[:] = [0.0, -0.5, -1.5, -3.0, -4.0]
    part("pair")[:, :, 0, 0] -= 1.2  # one fret, the higher finger on a higher string: usual
    part("pair")[:, :, 0, 0] += 1.2
    part("pair")[:, :, 0, 2] -= 1.2
    part("stretch")[:] = -1.7 * (np.arange(8) / 7) ** 3
    part("barre")[2:] -= 3.0
    part("same_finger")[:, 1:5] = [0.3, -0.3, -0.6, -1.4, -0.8, -1.2]
    part("same_finger")[:, 1, 3] = -0.3
    part("same_pitch")[:] = [0.4, -0.6, -1.0, -1.2]
    for one in range(1, 5):
        for other in range(1, 5):
            part("other_finger")[one, other] -= 0.15 * np.abs(np.arange(7) - 3)
    steps = np.abs(np.arange(15) - 7)
    part("shift")[:] = -np.where(steps > 0, 1.2 + 0.1 * steps, 0.0)
    part("shift_free")[1] += 0.5
    part("release")[:] = [-5.0, -2.0, -1.0, 0.0]
    part("barre_change")[:] = [-1.6, -1.2, -0.2]
    for name, like in RESTS_LIKE.items():  # a finger that rests counts half of one that sounds
        part(name)[...] = 0.5 * part(like)
    part("rest_same")[...] = 0.5 * part("same_finger")[1]
    return weights


@dataclass(frozen=True, eq=False)
class Example:
    """A stretch of a piece with its lattice; ``masks`` allow the positions printed, ``missed``
    (grips,) counts the labels of its notes that a grip does not meet, ``silent`` (grips,) is
    the log-odds that an editor prints nothing of its other notes.
    """

    features: Features
    stages: tuple[Stage, ...]
    masks: tuple[NDArray[np.bool_] | None, ...]
    missed: tuple[Array, ...]
    silent: tuple[Array, ...]
    labels: int


@dataclass(frozen=True, slots=True)
class Silence:
    """Log-odds that nothing is printed: of an open note rather than a fretted one, and of the
    string of a note that lies higher up the neck than it need (less than 0).
    """

    opened: float
    away: float


def label_notes(score: GuitarScore) -> dict[int, WrittenNote]:
    """What is printed of each note, as pins."""
    found = {}
    for index, (note, label) in enumerate(zip(score.notes, score.labels, strict=True)):
        if label.string is not None or label.left is not None:
            found[index] = WrittenNote(
                onset=note.onset,
                length=note.length,
                midi=note.midi,
                string=label.string,
                finger=label.left,
            )
    return found


def in_position(stage: Stage, said: Sequence[int | None]) -> NDArray[np.bool_] | None:
    """Grips in the position printed over the stage, if there are any."""
    for position in said:
        if position is not None and (stage.position == position).any():
            return np.asarray(stage.position == position)
    return None


def missed_labels(stage: Stage, pins: dict[int, WrittenNote]) -> Array:
    """(grips,) how many notes struck are played otherwise than printed: the finger where
    one is printed, else the string.
    """
    missed = np.zeros(len(stage))
    for column in range(stage.struck):
        pin = pins.get(stage.notes[column])
        codes = stage.codes[:, column]
        if pin is not None and pin.finger is not None:
            missed += FINGER[codes] != pin.finger
        elif pin is not None:
            missed += STRING[codes] != pin.string
    return missed


def silence(score: GuitarScore) -> Silence:
    """What an editor who prints as much as this one leaves out."""
    inside = [label for first, stop in stretches(score) for label in score.labels[first:stop]]

    def left_out(printed: int, share: float) -> float:
        return float(np.log1p(-min(MOST_PRINTED, printed / (share * max(1, len(inside))))))

    numbered = sum(bool(label.left) for label in inside)
    opened = sum(label.left == 0 or label.open_string for label in inside)
    strings = sum(label.explicit and label.string is not None for label in inside)
    return Silence(
        opened=UNSAID * max(0.0, left_out(opened, OPEN) - left_out(numbered, 1 - OPEN)),
        away=left_out(strings, AWAY),
    )


def silent_notes(stage: Stage, pins: dict[int, WrittenNote], editor: Silence) -> Array:
    """(grips,) log-odds that the editor prints no more than is printed of the notes struck."""
    total = np.zeros(len(stage))
    for column in range(stage.struck):
        pin = pins.get(stage.notes[column])
        frets = FRET[stage.codes[:, column]]
        if pin is None:
            total += editor.opened * (frets == 0)
        if pin is None or pin.string is None:
            total += editor.away * (frets > frets.min())
    return total


def examples(score: GuitarScore, weights: Array, player: Player) -> list[Example]:
    """The stretches of a piece around its labels, up to ``MOST`` labels."""
    features = features_of(score.tuning, player)
    habits = Habits(features, weights)
    editor = silence(score)
    made: list[Example] = []
    for start_, stop in stretches(score):
        if sum(example.labels for example in made) >= MOST:
            break
        notes = score.notes[start_:stop]
        pins = {
            index - start_: pin
            for index, pin in label_notes(score).items()
            if start_ <= index < stop
        }
        stages = lattice(notes, habits, NARROW, labels=pins).stages
        positions = [label.position for label in score.labels[start_:stop]]
        masks = tuple(
            in_position(stage, [positions[note] for note in stage.notes[: stage.struck]])
            for stage in stages
        )
        missed = tuple(missed_labels(stage, pins) for stage in stages)
        silent = tuple(silent_notes(stage, pins, editor) for stage in stages)
        made.append(Example(features, stages, masks, missed, silent, len(pins)))
    return made


def stretches(score: GuitarScore) -> Iterator[tuple[int, int]]:
    """First and last index (exclusive) of the notes around labels, ``AROUND`` onsets wide."""
    onsets = sorted({note.onset for note in score.notes})
    place = {onset: at for at, onset in enumerate(onsets)}
    wanted: set[int] = set()
    for index in label_notes(score):
        at = place[score.notes[index].onset]
        wanted |= set(range(at - AROUND, at + AROUND + 1))
    inside = [place[note.onset] in wanted for note in score.notes]
    first = 0
    for index, (here, after) in enumerate(zip(inside, [*inside[1:], False], strict=True)):
        if here and not after:
            yield first, index + 1
        if not here and after:
            first = index + 1


# Expected counts ----------------------------------------------------------------------


class Counts:
    """Adds up how often each feature is expected."""

    def __init__(self) -> None:
        self._few = np.zeros(TOTAL)
        self._places: list[NDArray[np.int32]] = []
        self._shares: list[Array] = []

    def put(self, places_: NDArray[np.int32], shares: Array) -> None:
        self._places.append(places_.ravel())
        self._shares.append(shares.ravel())

    def total(self) -> Array:
        counts = np.bincount(
            np.concatenate(self._places),
            weights=np.concatenate(self._shares),
            minlength=TOTAL + 1,
        )
        return counts[:TOTAL] + self._few

    def grips(self, stage: Stage, features: Features, shares: Array) -> None:
        position = stage.position
        self.put(places("position", position), shares)
        for suits in stage.suits:
            for plane in suits:
                self.put(plane[position], shares)
        for column, role in enumerate(stage.roles):
            codes = stage.codes[:, column]
            for plane in features.press:
                self.put(plane[codes], shares)
            for plane in features.position:
                self.put(plane[codes, position], shares)
            self.put(features.role[role, codes], shares)
        for column in range(stage.struck, stage.resting):
            self.put(features.held[stage.codes[:, column], position], shares)
        for column in range(stage.resting, stage.codes.shape[1]):
            self.put(features.rest[stage.codes[:, column], position], shares)
        for one in range(stage.struck):
            for other in range(one + 1, stage.codes.shape[1]):
                pair = stage.codes[:, one], stage.codes[:, other]
                for plane in features.pair if other < stage.resting else features.rest_pair:
                    self.put(plane[pair], shares)

    def moves(self, before: Stage, here: Stage, features: Features, shares: Array) -> None:
        known, was = before.sounding
        struck, now = here.begun
        both = np.ix_(known, struck)
        counts = was.T @ shares @ now
        quick, plain, rested = features.move
        for plane in (quick[here.pace], *plain):
            self.put(plane[both], counts)
        if before.resting < before.codes.shape[1]:
            known, was = before.rested
            both, counts = np.ix_(known, struck), was.T @ shares @ now
            for plane in rested:
                self.put(plane[both], counts)
        for column, came in here.lines:
            self._line(before.codes[:, came], here.codes[:, column], features, shares)
        rows = np.eye(POSITIONS)[before.position]
        steps = rows.T @ shares @ np.eye(POSITIONS)[here.position]
        self.put(features.shift[here.pace], steps)
        shifts = shares * (before.position[:, None] != here.position[None, :])
        free = (~before.fretted).astype(np.int32)
        held = here.held_on.astype(np.int32)
        for one in range(2):
            for other in range(2):
                at = START["shift_free"] + one * 2 + other
                self._few[at] += shifts[np.ix_(free == one, held == other)].sum()
        if here.first_finger[1].any():
            kind = barre_change(before, here)
            for one in range(3):
                self._few[START["barre_change"] + one] += shares[kind == one].sum()
        for column, place in here.carried[: here.resting - here.struck]:
            self._released(before.codes[:, place], here, column, shares)

    def _line(
        self,
        was: NDArray[np.int32],
        now: NDArray[np.int32],
        features: Features,
        shares: Array,
    ) -> None:
        """The presses of a line, few and often."""
        old, came = np.unique(was, return_inverse=True)
        new, goes = np.unique(now, return_inverse=True)
        counts = np.eye(len(old))[came].T @ shares @ np.eye(len(new))[goes]
        for plane in features.line:
            self.put(plane[np.ix_(old, new)], counts)

    def _released(
        self, was: NDArray[np.int32], here: Stage, column: int, shares: Array
    ) -> None:
        gone = here.codes[:, column] == RELEASED
        if not gone.any():
            return
        let = shares[:, gone].sum(axis=1) * (was != RELEASED)
        at = START["release"]
        for one, term in enumerate(release_terms(here.lost[column])):
            self._few[at + one] += term * let.sum()
        self._few[at + 3] += let[FRET[was] == 0].sum()


def expected(example: Example, told: Field, free: Field) -> Array:
    """How much oftener each feature is expected where the labels are told."""
    counts = Counts()
    for at, stage in enumerate(example.stages):
        counts.grips(stage, example.features, told.shares(at) - free.shares(at))
        if at:
            shares = told.pair_shares(at) - free.pair_shares(at)
            counts.moves(example.stages[at - 1], stage, example.features, shares)
    return counts.total()


def rivals(chained: Chain, example: Example) -> Chain:
    """The chain in which every grip counts the more, the more labels it misses."""
    return _raised(chained, [MARGIN * missed for missed in example.missed])


def as_told(chained: Chain, example: Example) -> Chain:
    """The chain in which every grip counts the less, the more labels it misses, and by what
    the editor is silent about.
    """
    both = zip(example.silent, example.missed, strict=True)
    return _raised(chained, [silent - TOLD * missed for silent, missed in both])


def _raised(chained: Chain, more: Sequence[Array]) -> Chain:
    own = tuple(
        (scores + here).astype(np.float32)
        for scores, here in zip(chained.own, more, strict=True)
    )
    return Chain(chained.stages, own, chained.moves)


def gradient(piece: Sequence[Example], weights: Array) -> tuple[Array, float]:
    """Of the log-likelihood of the labels of a piece against their rivals, and its value."""
    total, value = np.zeros(TOTAL), 0.0
    habits = Habits(piece[0].features, weights)
    for example in piece:
        chained = chain(example.stages, habits)
        free = field(rivals(chained, example))
        told = field(as_told(chained, example), example.masks, free.moves)
        total += expected(example, told, free)
        value += told.log_sum - free.log_sum
    for name in FIXED:
        of_family(total, name)[...] = 0.0
    return total, value


# Printed fingers told by the others ---------------------------------------------------


@dataclass(frozen=True, eq=False)
class Hidden:
    """A printed finger as the other labels tell it: ``codes`` (presses,) are what may be
    pressed, ``likely`` their log shares, ``features`` (presses, weights) what printed fingers
    speak for.
    """

    finger: int
    codes: NDArray[np.int32]
    likely: Array
    features: Array

    def told(self, printed: Array) -> int:
        """The likeliest finger."""
        scores = self.likely + self.features @ printed
        shares = np.exp(scores - scores.max())
        return int(np.bincount(FINGER[self.codes], weights=shares).argmax())


def mask_of(stage: Stage, pins: dict[int, WrittenNote]) -> NDArray[np.bool_] | None:
    """Grips of the stage that do what is printed, label by label as far as possible."""
    mask = np.ones(len(stage), dtype=np.bool_)
    known = False
    for column in range(stage.struck):
        pin = pins.get(stage.notes[column])
        if pin is None:
            continue
        codes = stage.codes[:, column]
        for said in (
            None if pin.string is None else STRING[codes] == pin.string,
            None if pin.finger is None else FINGER[codes] == pin.finger,
        ):
            if said is not None and (mask & said).any():
                mask &= said
                known = True
    return mask if known else None


def whole_lattice(score: GuitarScore, weights: Array, player: Player) -> tuple[Stage, ...]:
    """The whole piece, labelled ways among the others."""
    habits = Habits(features_of(score.tuning, player), weights)
    return lattice(score.notes, habits, NARROW, labels=label_notes(score)).stages


def hidden(score: GuitarScore, stages: Sequence[Stage], habits: Habits) -> Iterator[Hidden]:
    """Each finger printed (1..4), with all labels of its own onset hidden."""
    pins = label_notes(score)
    chained = chain(stages, habits)
    known = field(chained, [mask_of(stage, pins) for stage in stages])
    fingers = {note: pin.finger for note, pin in pins.items() if pin.finger is not None}
    printed = Printed(score.notes, fingers, stages, known)
    for at, stage in enumerate(stages):
        asked = [c for c in range(stage.struck) if fingers.get(stage.notes[c])]
        if not asked:
            continue
        own = np.exp(chained.own[at].astype(np.float64) - chained.own[at].max())
        shares = (known.alpha[at - 1] @ known.moves[at] if at else 1.0) * own * known.beta[at]
        for column in asked:
            note = stage.notes[column]
            told = likely_presses(stage, shares / shares.sum())[column]
            codes = np.flatnonzero(told > LEAST_SHARE).astype(np.int32)
            speaks = printed.features(at, score.notes[note].midi)[codes]
            yield Hidden(fingers[note], codes, np.log(told[codes]), speaks)


def learnt_printed(
    found: Sequence[tuple[GuitarScore, Sequence[Stage]]], weights: Array
) -> Array:
    """What printed fingers tell of others, by the likelihood of each where it is hidden;
    pieces and slips count as in ``learnt``.
    """
    asked: list[Hidden] = []
    counts: list[float] = []
    for score, stages in found:
        habits = Habits(features_of(score.tuning, trained_hand()), weights)
        new = list(hidden(score, stages, habits))
        asked += new
        counts += [min(1.0, float(np.sqrt(MUCH / max(1, len(new)))))] * len(new)
    first = np.cumsum([0, *(len(one.codes) for one in asked[:-1])])
    sizes = [len(one.codes) for one in asked]
    likely = np.concatenate([one.likely for one in asked])
    features = np.concatenate([one.features for one in asked])
    met = np.concatenate([FINGER[one.codes] == one.finger for one in asked]).astype(np.float64)
    worth_ = np.array(counts)
    printed, sums = np.zeros(WEIGHTS), np.ones(WEIGHTS)
    for _ in range(ROUNDS):
        scores = likely + features @ printed
        shares = np.exp(scores - np.repeat(np.maximum.reduceat(scores, first), sizes))
        shares /= np.repeat(np.add.reduceat(shares, first), sizes)
        right = np.add.reduceat(shares * met, first)
        slips = right + np.exp(-TOLD)
        up = np.repeat(worth_ / slips, sizes) * shares * (met - np.repeat(right, sizes))
        drawn = features.T @ up - BACK_PRINTED * printed
        sums += drawn * drawn
        printed += STEP_PRINTED * drawn / np.sqrt(sums)
    return printed


# Learning -----------------------------------------------------------------------------


@dataclass(frozen=True)
class Rates:
    """``step`` and ``back`` of a weight's own part, and of the parts it shares."""

    epochs: int = 8
    step: float = 0.07
    shared_step: float = 0.02
    back: float = 1.0
    shared_back: float = 0.3
    """How strongly each label draws the weights back to where they began."""


def told(piece: Sequence[Example]) -> int:
    """How many labels a piece has."""
    return sum(example.labels for example in piece)


def worth(piece: Sequence[Example]) -> float:
    """What each label of a piece counts."""
    return min(1.0, float(np.sqrt(MUCH / told(piece))))


def learnt(
    found: Sequence[Sequence[Example]], rates: Rates, begin: Array, *, say: bool = False
) -> Array:
    """Weights after some epochs; the mean over the last half of them."""
    parts = Parts()
    own, sums = np.zeros(parts.count), np.full(parts.count, 1.0)
    mean, times = np.zeros(parts.count), 0
    back = np.where(parts.shared, rates.shared_back, rates.back)
    step = np.where(parts.shared, rates.shared_step, rates.step)
    dice = random.Random(SEED)
    order = list(found)
    total = sum(told(piece) for piece in found)
    counted = sum(told(piece) * worth(piece) for piece in found)
    for epoch in range(rates.epochs):
        dice.shuffle(order)
        likelihood = 0.0
        for piece in order:
            up, value = gradient(piece, begin + parts.weights(own))
            likelihood += value
            share = told(piece) * worth(piece) / counted * len(found)
            drawn = parts.gradient(up * worth(piece)) - back * share * own
            sums += drawn * drawn
            own += step * drawn / np.sqrt(sums)
            if epoch >= rates.epochs // 2:
                mean += own
                times += 1
        if say:
            print(f"epoch {epoch + 1}: {likelihood / total:.4f} a label", flush=True)
    return begin + parts.weights(mean / times)


HEAD = """\
# What guitarists' left hands do rather than not: log-odds by family of features, in the
# order of arranger/neck/habits.py. Learnt by tests/bench/train_fingers.py on
# ../shared/data/guitar/labelled (open data, {scores} scores, {labels} labels), seed {seed},
# {epochs} epochs, each weight's own part and those it shares drawn back ({back}, {shared_back})
# towards weights set by hand, won by a margin of {margin} a label; no label counts more than
# {told}, and notes without one are likely open where a piece has many numbers; what letting a
# note go early costs (release) is set by hand. Agreement with pieces kept back:
# tests/bench/fingers.py.
# agree: how much the likeliest whole counts beside the likeliest finger of each note.
# held, position: what a held note's press and the hand's position count there beside the press
# of a struck note; set by hand.
# open_low, open_position: added for an open string in the lowest positions, because editors
# number notes that a finger plays and seldom open ones. The more, the more open strings
# agree and the less the rest: {open_trials}
# (left fingers, strings printed, open strings printed; five folds kept back).
# around: how many onsets on either side have to be the same for two places to be fingered
# alike. rests, rest_for: how many fingers are followed where their note has ended, and until
# how many quarters after it began; as many as the time for it allows. Set by hand.
# slur: added where a slur of the page is sounded by the left hand, more than the rest of a move
# weighs; slur_frets: the most frets between its two fingers. Set by hand: common practice, no
# source (the labelled scores hold no slurs). Of 329 slurs and slides put at random into 14 of
# them, 6 kept 300 and 12 kept 324; held notes let go early: 156 and 160, 142 without slurs.
agree = {agree}
held = {held}
position = {position}
open_low = {open_low}
open_position = 3
around = {around}
rests = {rests}
rest_for = {rest_for}
slur = {slur}
slur_frets = {slur_frets}
# printed: what a finger printed elsewhere on the page gives to presses like it, learnt from
# each printed finger, told by the others. Its pitch again: in another chord; in the same; with
# 1, 2, .. 6 onsets beside it that are the same. The nearest of them: within 4 onsets, 12,
# farther off. The position of the finger printed 1, 2, 3-4, 5-8 onsets before; after.
printed = [
  {printed},
]
[weights]
"""


def rows(values: Iterable[float]) -> str:
    """Fourteen a line, without a minus before a nought."""
    said = [f"{value:.2f}" for value in values]
    said = ["0" if float(value) == 0 else value for value in said]
    return ",\n  ".join(", ".join(said[at : at + 14]) for at in range(0, len(said), 14))


def table_text(weights: Array, **facts: object) -> str:
    text = HEAD.format(**facts)
    for name in FAMILIES:
        text += f"{name} = [\n  {rows(of_family(weights, name).ravel())},\n]\n"
    return text


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("data", type=Path)
    parser.add_argument("--epochs", type=int, default=Rates.epochs)
    parser.add_argument("--agree", type=float, default=left_habits().agree)
    parser.add_argument(
        "--only-printed", action="store_true", help="by the weights that the table has"
    )
    parser.add_argument("--write", action="store_true")
    args = parser.parse_args()
    started = time.perf_counter()
    player, begin = trained_hand(), start()
    scores = guitar_scores(args.data, "labelled")
    found = [piece for score in scores if (piece := examples(score, begin, player))]
    labels = sum(told(piece) for piece in found)
    onsets = sum(len(example.stages) for piece in found for example in piece)
    print(f"{len(scores)} scores, {labels} labels, {onsets} onsets")
    print(f"{time.perf_counter() - started:.0f} s to the lattices", flush=True)
    rates = Rates(epochs=args.epochs)
    weights = weights_of_table() if args.only_printed else learnt(found, rates, begin, say=True)
    print(f"{time.perf_counter() - started:.0f} s")
    whole = [
        (score, whole_lattice(score, begin, player)) for score in scores if label_notes(score)
    ]
    printed = learnt_printed(whole, with_open_strings(weights))
    print(f"{time.perf_counter() - started:.0f} s with what printed fingers tell of others")
    if args.write:
        facts = {
            "scores": len(scores),
            "labels": labels,
            "seed": SEED,
            "epochs": rates.epochs,
            "back": rates.back,
            "shared_back": rates.shared_back,
            "margin": MARGIN,
            "told": TOLD,
            "agree": args.agree,
            "held": left_habits().held,
            "position": left_habits().position,
            "open_low": left_habits().open_low,
            "around": left_habits().around,
            "rests": left_habits().rests,
            "rest_for": left_habits().rest_for,
            "slur": left_habits().slur,
            "slur_frets": left_habits().slur_frets,
            "open_trials": OPEN_TRIALS,
            "printed": rows(printed),
        }
        TABLE.write_text(table_text(weights, **facts), "utf-8")


if __name__ == "__main__":
    main()
