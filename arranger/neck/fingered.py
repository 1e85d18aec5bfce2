"""A score as written -> strings, frets and left-hand fingers for every note."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from arranger.music.time import Beat
from arranger.music.written_note import WrittenNote
from arranger.neck.chain import Chain, best_path, field
from arranger.neck.fretboard import Neck
from arranger.neck.habits import FAMILIES, TOTAL, Features, Habits, of_family
from arranger.neck.holding import Scores, Stage, Unplayable, Widths
from arranger.neck.lattice import lattice
from arranger.neck.presses import FINGER, FRET, RELEASED, STRING, hand_tables
from arranger.tables import Level, Player, instrument
from arranger.tables.habits import left_habits


@dataclass(frozen=True, slots=True, kw_only=True)
class FingeredNote:
    """A note on the neck; ``length`` is how long it is held, ``finger`` 0 open, 5 thumb."""

    note: int
    string: int
    fret: int
    finger: int
    length: Beat
    position: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Fingering:
    """``notes`` in order of onset; ``let_go`` are notes held shorter than written.

    ``objective`` and ``bound`` are in notes not fingered as expected: exact for the grips
    considered.
    """

    notes: tuple[FingeredNote, ...]
    unplayable: tuple[Unplayable, ...]
    let_go: tuple[int, ...]
    objective: float
    bound: float


@cache
def habits_of(neck: Neck, level: Level, player: Player) -> Habits:
    """The learnt habits, laid out for this hand on this neck."""
    return Habits(Features(hand_tables(neck, level, player)), learnt_weights())


@cache
def learnt_weights() -> NDArray[np.float64]:
    """The long vector of the table."""
    table = left_habits()
    weights = np.zeros(TOTAL)
    for name, shape in FAMILIES.items():
        of_family(weights, name)[...] = np.array(table.weights[name]).reshape(shape)
    weights = with_open_strings(weights)
    weights.setflags(write=False)
    return weights


def with_open_strings(weights: NDArray[np.float64]) -> NDArray[np.float64]:
    """Weights learnt from labels, made up for what the labels do not tell.

    Editors number the notes that a finger plays and seldom the open ones, so that what they
    print tells too little of open strings in low positions.
    """
    table = left_habits()
    low = slice(1, table.open_position + 1)
    made_up = weights.copy()
    of_family(made_up, "open_position")[:, low] += table.open_low
    return made_up


def written_neck(player: Player, tuning: tuple[int, ...], capo: int = 0) -> Neck:
    """The whole neck, as far as the player goes."""
    guitar = instrument()
    return Neck(
        tuning=tuning,
        highest_fret=min(player.highest_fret, guitar.frets - capo),
        scale_length=player.scale_length,
        string_spacing=guitar.string_spacing,
        capo=capo,
    )


def fingered(
    notes: Sequence[WrittenNote],
    habits: Habits,
    *,
    capo: int = 0,
    agree: float | None = None,
    widths: Widths | None = None,
) -> Fingering:
    """The fingering a guitarist would most likely choose; every note as written.

    ``notes`` are sorted by onset. The grips and moves of a conditional random field give how
    likely every press is; chosen is the path that a hand can play with the most presses
    expected to be a guitarist's (Lember & Koloydenko 2014), likelier wholes first by
    ``agree``.
    """
    found = lattice(notes, habits, widths or Widths(), capo=capo)
    if not found.stages:
        return Fingering(
            notes=(), unplayable=found.unplayable, let_go=(), objective=0.0, bound=0.0
        )
    agree = left_habits().agree if agree is None else agree
    path, expected = likeliest(found.chain, agree)
    placed, let_go = _placed(notes, found.stages, path)
    return Fingering(
        notes=placed,
        unplayable=found.unplayable,
        let_go=let_go,
        objective=len(placed) - expected,
        bound=len(placed) - expected,
    )


def likeliest(chained: Chain, agree: float) -> tuple[list[int], float]:
    """The row of each stage, and the sum that the path makes largest."""
    shares = field(chained)
    gains: list[Scores] = []
    for at, stage in enumerate(chained.stages):
        gain = press_gains(stage, shares.shares(at)) + agree * chained.own[at]
        gains.append(gain.astype(np.float32))
    moves = [agree * move if agree else _open(move) for move in chained.moves]
    return best_path(gains, moves)


def _open(move: Scores) -> Scores:
    return np.where(np.isfinite(move), np.float32(0), np.float32(-np.inf))


def press_gains(stage: Stage, shares: NDArray[np.float64]) -> NDArray[np.float64]:
    """(grips,) how many of a grip's presses are expected to be a guitarist's."""
    table = left_habits()
    gain = table.position * np.bincount(stage.position, weights=shares)[stage.position]
    for column in range(stage.codes.shape[1]):
        codes = stage.codes[:, column]
        likely = np.bincount(codes, weights=shares)
        gain += (1.0 if column < stage.struck else table.held) * likely[codes]
    return np.asarray(gain)


def _placed(
    notes: Sequence[WrittenNote], stages: Sequence[Stage], path: Sequence[int]
) -> tuple[tuple[FingeredNote, ...], tuple[int, ...]]:
    """Presses and held lengths along the path."""
    presses: dict[int, tuple[int, int]] = {}
    ends: dict[int, Beat] = {}
    for stage, row in zip(stages, path, strict=True):
        onset = notes[stage.notes[0]].onset
        for column, note in enumerate(stage.notes):
            code = int(stage.codes[row, column])
            if column < stage.struck:
                presses[note] = code, int(stage.position[row])
            elif code == RELEASED:
                ends.setdefault(note, onset)
    placed = tuple(
        FingeredNote(
            note=note,
            string=int(STRING[code]),
            fret=int(FRET[code]),
            finger=int(FINGER[code]),
            length=ends.get(note, notes[note].end) - notes[note].onset,
            position=position,
        )
        for note, (code, position) in sorted(presses.items())
    )
    return placed, tuple(sorted(ends))
