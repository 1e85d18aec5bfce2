"""All ways to hold what sounds, onset by onset: the lattice in which a fingering is chosen.

At each onset a *stage* lists grips: a press for every note struck, for every note held from
before its press or ``RELEASED``, and the position of the hand. A held note stays on its string
and finger until it is let go; it is never let go before the next onset.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from arranger.music.time import Beat
from arranger.music.written_note import WrittenNote
from arranger.neck.habits import POSITIONS, Habits, speed
from arranger.neck.nearby import Nearby, line_columns
from arranger.neck.presses import (
    FINGER,
    FRET,
    FRETTED,
    RELEASED,
    STRING,
    Codes,
    Flags,
    HandTables,
    under_a_barre,
)
from arranger.neck.resting import first_of_each, lifted, rest_columns
from arranger.neck.slurs_written import AskedSlur, slur_scores

Scores = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Widths:
    """How many grips are kept an onset: ``stage`` in the end, ``first`` by their own score,
    ``held`` ways to hold what was there before, ``struck`` ways for the notes struck alone.
    """

    stage: int = 80
    first: int = 150
    held: int = 40
    struck: int = 600


@dataclass(frozen=True, eq=False)
class Stage:
    """``notes`` index the piece's notes: those struck, those held, and from column ``resting``
    those that have ended but whose finger may still rest there. ``codes`` (grips, notes) are
    presses, ``position`` (grips,). ``carried`` pairs a column with its column in the stage
    before; ``lost`` is the share of its length a held note would lose, by column. ``lines``
    pairs a column struck with the column before that its line comes from; ``suits`` holds
    places of features by position, (2, positions) for each window of notes near by.
    """

    notes: tuple[int, ...]
    struck: int
    resting: int
    codes: Codes
    position: Codes
    carried: tuple[tuple[int, int], ...]
    lost: tuple[float, ...]
    roles: tuple[int, ...]
    pace: int
    lines: tuple[tuple[int, int], ...] = ()
    suits: tuple[Codes, ...] = ()

    def __len__(self) -> int:
        return len(self.codes)

    @cached_property
    def sounding(self) -> tuple[Codes, Scores]:
        """The presses that occur, and (grips, presses) how often: all notes."""
        return _counts(self.codes[:, : self.resting])

    @cached_property
    def rested(self) -> tuple[Codes, Scores]:
        """The same for fingers that rest where their note has ended."""
        return _counts(self.codes[:, self.resting :])

    @cached_property
    def begun(self) -> tuple[Codes, Scores]:
        """The same for the notes struck here."""
        return _counts(self.codes[:, : self.struck])

    @cached_property
    def fretted(self) -> Flags:
        """Whether any note of the grip is fretted."""
        return np.asarray(FRETTED[self.codes[:, : self.resting]].any(axis=1))

    @cached_property
    def held_on(self) -> Flags:
        """Whether a fretted note is held on into the grip."""
        return np.asarray(FRETTED[self.codes[:, self.struck : self.resting]].any(axis=1))

    @cached_property
    def first_finger(self) -> tuple[Codes, Codes]:
        """The fret of the first finger (0: nowhere), and that of its barre (0: none)."""
        codes = self.codes[:, : self.resting]
        ones = FINGER[codes] == 1
        where = np.where(ones, FRET[codes], 0).max(axis=1)
        return where, np.where(ones.sum(axis=1) > 1, where, 0)


def _counts(codes: Codes) -> tuple[Codes, Scores]:
    known, place = np.unique(codes, return_inverse=True)
    place = place.reshape(codes.shape)
    counts = np.zeros((len(codes), len(known)), dtype=np.float32)
    rows = np.arange(len(codes))
    for column in range(codes.shape[1]):
        counts[rows, place[:, column]] += 1
    counts[:, known == RELEASED] = 0
    return known.astype(np.int32), counts


# Scores -------------------------------------------------------------------------------


def grip_scores(stage: Stage, habits: Habits) -> Scores:
    """(grips,) what each grip of the stage is worth by itself."""
    codes, position = stage.codes, stage.position
    total: Scores = habits.family("position")[position].astype(np.float32)
    for plane in stage.suits:
        total += habits.at(plane).sum(axis=0)[position]
    for column, role in enumerate(stage.roles):
        total += habits.struck[role, codes[:, column], position]
    for column in range(stage.struck, stage.resting):
        total += habits.held[codes[:, column], position]
    for column in range(stage.resting, codes.shape[1]):
        total += habits.rest[codes[:, column], position]
    for one in range(stage.struck):
        for other in range(one + 1, codes.shape[1]):
            pair = habits.pair if other < stage.resting else habits.rest_pair
            total += pair[codes[:, one], codes[:, other]]
    return total


def move_scores(before: Stage, here: Stage, habits: Habits) -> Scores:
    """(grips before, grips here) what each move is worth; minus infinity: impossible."""
    known, was = before.sounding
    struck, now = here.begun
    total: Scores = was @ habits.move[here.pace][np.ix_(known, struck)] @ now.T
    if before.resting < before.codes.shape[1]:
        known, was = before.rested
        total += was @ habits.rest_move[np.ix_(known, struck)] @ now.T
    for column, came in here.lines:
        rows = habits.line.take(before.codes[:, came], axis=0)
        total += rows.take(here.codes[:, column], axis=1)
    total += habits.shift[here.pace][before.position][:, here.position]
    total += _shift_under(before, here, habits)
    total += _barre_change(before, here, habits)
    held = here.resting - here.struck
    for column, place in here.carried[:held]:
        total += _carried(before.codes[:, place], here, column, habits)
    if here.carried[held:]:
        total[~_rests_on(before, here)] = -np.inf
    return total


def _rests_on(before: Stage, here: Stage) -> Flags:
    """(grips before, grips here) whether every finger that rests stood there, or is lifted."""
    may = np.ones((len(before), len(here)), dtype=np.bool_)
    for column, place in here.carried[here.resting - here.struck :]:
        now = here.codes[:, column]
        may &= (before.codes[:, place][:, None] == now[None, :]) | (now == RELEASED)[None, :]
    return may


def _shift_under(before: Stage, here: Stage, habits: Habits) -> Scores:
    """What holds a hand that shifts: nothing fretted before, a fretted note held on."""
    shifts = before.position[:, None] != here.position[None, :]
    free = (~before.fretted).astype(np.int32)
    held = here.held_on.astype(np.int32)
    weights = habits.family("shift_free").astype(np.float32)[free][:, held]
    return np.asarray(shifts * weights, dtype=np.float32)


def barre_change(before: Stage, here: Stage) -> Codes:
    """(grips before, grips here) 0 a new barre, 1 where the finger lay, 2 kept, 3 none."""
    finger, barre = before.first_finger
    _, now = here.first_finger
    kind = np.where(finger[:, None] == now[None, :], 1, 0)
    kind = np.where(barre[:, None] == now[None, :], 2, kind)
    return np.where(now[None, :] == 0, 3, kind).astype(np.int32)


def _barre_change(before: Stage, here: Stage, habits: Habits) -> Scores | float:
    if not here.first_finger[1].any():
        return 0.0
    weights = np.append(habits.family("barre_change"), 0.0).astype(np.float32)
    return np.asarray(weights[barre_change(before, here)])


def new_barre(habits: Habits) -> np.float32:
    """What a new barre of the first finger is worth."""
    return np.float32(habits.family("barre_change")[0])


def release_terms(lost: float) -> tuple[float, float, float]:
    """Features of letting a note go that would lose this share of its length."""
    return 1.0, lost, float(lost > 0.5)


def _carried(was: Codes, here: Stage, column: int, habits: Habits) -> Scores:
    """A held note stays where it is or is let go, once and for all."""
    now = here.codes[:, column]
    gone = now == RELEASED
    kept = was[:, None] == now[None, :]
    weights = habits.family("release")
    cost = float(np.dot(release_terms(here.lost[column]), weights[:3]))
    letting = np.where(was == RELEASED, 0.0, cost + weights[3] * (FRET[was] == 0))
    return np.where(kept, 0.0, np.where(gone[None, :], letting[:, None], -np.inf)).astype(
        np.float32
    )


# Building -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Unplayable:
    """A note that no hand can play where it stands, and why."""

    note: int
    why: str


@dataclass(frozen=True, eq=False)
class Reached:
    """A stage, what its grips and the moves into it are worth (``moves`` is empty at the
    first), and ``best``, the score of the best way to each grip.
    """

    stage: Stage
    own: Scores
    moves: Scores
    best: Scores


NO_MOVES: Scores = np.zeros((0, 0), dtype=np.float32)


class Holding:
    """Builds the stages of one piece for one hand."""

    def __init__(
        self,
        hand: HandTables,
        habits: Habits,
        widths: Widths,
        *,
        capo: int = 0,
        slurs: Mapping[int, AskedSlur] | None = None,
    ) -> None:
        self.hand = hand
        self.habits = habits
        self.widths = widths
        self.capo = capo
        self.slurs = slurs or {}
        self._nearby = Nearby(hand.neck.tuning, capo)
        self._struck: dict[tuple[tuple[int, ...], ...], Codes] = {}

    def choices(self, note: WrittenNote, pinned: bool = True) -> Codes:
        """Presses for a note; only those it is pinned to, where it can be played so."""
        codes = self.hand.choices(note.midi - self.capo)
        return pinned_presses(codes, note) if pinned else codes

    def grips(self, notes: Sequence[WrittenNote]) -> Codes:
        """(grips, notes) every way to strike these notes at once."""
        options = [tuple(int(code) for code in self.choices(note)) for note in notes]
        key = tuple(options)
        if key not in self._struck:
            self._struck[key] = self._together([np.array(o, dtype=np.int32) for o in options])
        return self._struck[key]

    def _together(self, options: Sequence[Codes]) -> Codes:
        rows = np.zeros((1, 0), dtype=np.int32)
        for codes in options:
            fits = np.ones((len(rows), len(codes)), dtype=np.bool_)
            for column in range(rows.shape[1]):
                fits &= self.hand.fits[np.ix_(rows[:, column], codes)]
            one, other = np.nonzero(fits)
            rows = np.concatenate([rows[one], codes[other][:, None]], axis=1)
        return rows[~under_a_barre(rows)]

    def stage(
        self,
        notes: Sequence[WrittenNote],
        struck: Sequence[int],
        came: Reached | None,
        labels: Mapping[int, WrittenNote] | None = None,
    ) -> Reached:
        """The stage at which ``struck`` begin."""
        onset = notes[struck[0]].onset
        before = came.stage if came else None
        columns = held_columns(notes, before, onset)
        rests = rest_columns(notes, before.notes, struck, len(columns)) if before else []
        held = self._held(columns, rests, came)
        grips = self._narrow(self.grips([notes[index] for index in struck]), struck)
        resting = len(struck) + len(columns)
        codes = self._joined(grips, held, len(columns))
        rows, position = stands(codes[:, :resting])
        codes = codes[rows]
        if rests:
            codes = lifted(codes, position, resting, self.hand)
            rows = first_of_each(codes, position)
            codes, position = codes[rows], position[rows]
        columns += rests
        stage = Stage(
            notes=(*struck, *(before.notes[c] for c in columns)) if before else tuple(struck),
            struck=len(struck),
            resting=resting,
            codes=codes,
            position=position,
            carried=tuple((len(struck) + k, column) for k, column in enumerate(columns)),
            lost=(
                *(0.0 for _ in struck),
                *(_lost(notes[before.notes[c]], onset) for c in columns if before),
            ),
            roles=roles([notes[index].midi for index in struck]),
            pace=speed(float(onset - notes[before.notes[0]].onset)) if before else 2,
            suits=self._nearby.suits(notes, struck),
            lines=tuple(line_columns(notes, before.notes, struck)) if before else (),
        )
        return self._kept(stage, came, labels)

    def _narrow(self, grips: Codes, struck: Sequence[int]) -> Codes:
        """The likeliest ways to strike a big chord, where there are very many."""
        if len(grips) <= self.widths.struck:
            return grips
        total = np.zeros(len(grips), dtype=np.float32)
        for one, other in combinations(range(len(struck)), 2):
            total += self.habits.pair[grips[:, one], grips[:, other]]
        return grips[np.argsort(-total, kind="stable")[: self.widths.struck]]

    def _held(
        self, columns: Sequence[int], rests: Sequence[int], came: Reached | None
    ) -> Codes:
        """The ways to hold or let go columns of the stage before, and what rests with them."""
        if came is None or not (columns or rests):
            return np.zeros((1, 0), dtype=np.int32)
        ways = came.stage.codes[:, [*columns, *rests]].copy()
        ended = ways[:, len(columns) :]
        ended[FRET[ended] == 0] = RELEASED
        order = np.argsort(-came.best, kind="stable")
        first = first_of_each(ways[order])
        ways = ways[order][np.sort(first)[: self.widths.held]]
        ways = np.concatenate(_let_go(ways, len(columns)))
        return ways[first_of_each(ways)]

    def _joined(self, grips: Codes, held: Codes, count: int) -> Codes:
        """Every way to strike with every way to hold that one hand can do together."""
        fits = np.ones((len(grips), len(held)), dtype=np.bool_)
        for one in range(grips.shape[1]):
            for other in range(count):
                fits &= self.hand.fits[grips[:, one][:, None], held[:, other][None, :]]
        rows, ways = np.nonzero(fits)
        codes = np.concatenate([grips[rows], held[ways]], axis=1)
        return codes[~under_a_barre(codes[:, : grips.shape[1] + count])]

    def _slurred(self, before: Stage, here: Stage) -> Scores:
        """(grips before, grips here) what the slurs of the page are worth that a move keeps."""
        places = {note: column for column, note in enumerate(before.notes)}
        struck = {note: column for column, note in enumerate(here.notes[: here.struck])}
        return slur_scores((before.codes, places), (here.codes, struck), self.slurs)

    def _kept(
        self, stage: Stage, came: Reached | None, labels: Mapping[int, WrittenNote] | None
    ) -> Reached:
        """The likeliest grips of the stage, and those that the labels name."""
        own = grip_scores(stage, self.habits)
        rows = _top(own, self.widths.first, _labelled(stage, labels))
        stage, own = taken(stage, rows), own[rows]
        if came is None:  # a barre with which the piece begins is a new one
            own += new_barre(self.habits) * (stage.first_finger[1] > 0)
        moves, best = NO_MOVES, own
        if came is not None:
            moves = move_scores(came.stage, stage, self.habits)
            if any(note in self.slurs for note in stage.notes[: stage.struck]):
                moves = moves + self._slurred(came.stage, stage)
            best = own + (came.best[:, None] + moves).max(axis=0)
        rows = _top(best, self.widths.stage, _labelled(stage, labels))
        rows = rows[np.isfinite(best[rows])]
        if came is not None:
            moves = moves[:, rows]
        return Reached(taken(stage, rows), own[rows], moves, best[rows])


def pinned_presses(codes: Codes, note: WrittenNote) -> Codes:
    """The presses that keep the note's pins; all of them where none does."""
    kept = codes
    if note.string is not None:
        kept = kept[STRING[kept] == note.string]
    if note.finger is not None:
        kept = kept[FINGER[kept] == note.finger]
    return kept if len(kept) else codes


def _labelled(stage: Stage, labels: Mapping[int, WrittenNote] | None) -> Flags | None:
    """Grips that do what the labels say of the notes struck; None where they say nothing."""
    said = np.ones(len(stage), dtype=np.bool_)
    known = False
    for column in range(stage.struck):
        label = (labels or {}).get(stage.notes[column])
        if label is not None:
            known = True
            codes = stage.codes[:, column]
            if label.string is not None:
                said &= STRING[codes] == label.string
            if label.finger is not None:
                said &= FINGER[codes] == label.finger
    return said if known else None


def _top(scores: Scores, count: int, said: Flags | None) -> NDArray[np.int64]:
    """The ``count`` best rows, and as many again of those that the labels name."""
    order = np.argsort(-scores, kind="stable")
    kept = order[:count]
    if said is not None:
        kept = np.union1d(kept, order[said[order]][:count])
    return np.sort(kept)


def taken(stage: Stage, rows: NDArray[np.int64]) -> Stage:
    """The stage with some of its grips."""
    return Stage(
        notes=stage.notes,
        struck=stage.struck,
        resting=stage.resting,
        codes=stage.codes[rows],
        position=stage.position[rows],
        carried=stage.carried,
        lost=stage.lost,
        roles=stage.roles,
        pace=stage.pace,
        lines=stage.lines,
        suits=stage.suits,
    )


def _let_go(ways: Codes, count: int) -> list[Codes]:
    """The ways themselves, and with some of the first ``count`` notes let go: any few of up
    to three, else one or all.
    """
    sizes = range(1, count + 1) if count <= 3 else (1, count - 1, count)
    found = [ways]
    for size in sizes:
        for gone in combinations(range(count), size):
            fewer = ways.copy()
            fewer[:, list(gone)] = RELEASED
            found.append(fewer)
    return found


def held_columns(notes: Sequence[WrittenNote], before: Stage | None, onset: Beat) -> list[int]:
    """Columns of the stage before whose notes are held on."""
    known = enumerate(before.notes) if before else ()
    return [column for column, note in known if notes[note].end > onset]


def stands(codes: Codes) -> tuple[NDArray[np.int64], Codes]:
    """Rows of grips once for each position of the hand they can be held in, with the position.

    A finger stands at most one fret off its own, or as little more as the grip asks for.
    An open grip may be held anywhere.
    """
    fretted = FRETTED[codes]
    own = np.where(FINGER[codes] == 5, FRET[codes], FRET[codes] - FINGER[codes] + 1)
    low = np.where(fretted, own, 99).min(axis=1)
    high = np.where(fretted, own, -99).max(axis=1)
    position = np.arange(1, POSITIONS)[None, :]
    off = np.maximum(np.abs(low[:, None] - position), np.abs(high[:, None] - position))
    least = off.min(axis=1)
    near = off <= np.maximum(1, least).reshape(-1, 1)
    anywhere = np.asarray(~fretted.any(axis=1)).reshape(-1, 1)
    rows, places = np.nonzero(near | anywhere)
    return rows, (places + 1).astype(np.int32)


def roles(pitches: Sequence[int]) -> tuple[int, ...]:
    """0 the highest, 2 the lowest, 1 between; a note alone counts as the highest."""
    top, bottom = max(pitches), min(pitches)
    return tuple(0 if midi == top else 2 if midi == bottom else 1 for midi in pitches)


def _lost(note: WrittenNote, onset: Beat) -> float:
    return float((note.end - onset) / note.length)
