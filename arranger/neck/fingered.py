"""A score as written -> strings, frets and left-hand fingers for every note."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from arranger.music.time import Beat
from arranger.music.written_note import WrittenNote
from arranger.neck.chain import Chain, Shares, best_path, field
from arranger.neck.fretboard import Neck
from arranger.neck.habits import FAMILIES, TOTAL, Features, Habits, of_family
from arranger.neck.holding import Scores, Stage, Unplayable, Widths
from arranger.neck.lattice import lattice
from arranger.neck.presses import FINGER, FRET, PRESSES, RELEASED, STRING, hand_tables
from arranger.neck.printed import as_printed
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
    """The long vector of the table, open strings made up for."""
    weights = with_open_strings(weights_of_table())
    weights.setflags(write=False)
    return weights


def weights_of_table() -> NDArray[np.float64]:
    """The long vector as it was learnt."""
    weights = np.zeros(TOTAL)
    for name, shape in FAMILIES.items():
        of_family(weights, name)[...] = np.array(left_habits().weights[name]).reshape(shape)
    return weights


@cache
def printed_weights() -> NDArray[np.float64]:
    """What printed fingers tell of other notes, see ``printed.py``."""
    weights = np.array(left_habits().printed)
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
    printed: NDArray[np.float64] | None = None,
    widths: Widths | None = None,
) -> Fingering:
    """The fingering a guitarist would most likely choose; every note as written.

    ``notes`` are sorted by onset. The grips and moves of a conditional random field give how
    likely every press is; chosen is the path that a hand can play with the most presses
    expected to be a guitarist's (Lember & Koloydenko 2014), likelier wholes first by
    ``agree``. Where notes come again amid the same neighbours, what is likely is told by all
    such places together, because guitarists finger them alike. What fingers of the page itself
    tell of the notes without one counts by the weights ``printed`` (none: the table's).
    """
    found = lattice(notes, habits, widths or Widths(), capo=capo)
    if not found.stages:
        return Fingering(
            notes=(), unplayable=found.unplayable, let_go=(), objective=0.0, bound=0.0
        )
    agree = left_habits().agree if agree is None else agree
    printed = printed_weights() if printed is None else printed
    chained = as_printed(notes, found.chain, printed)
    path, expected = likeliest(chained, agree, contexts(notes, found.stages))
    placed, let_go = _placed(notes, found.stages, path)
    return Fingering(
        notes=placed,
        unplayable=found.unplayable,
        let_go=let_go,
        objective=len(placed) - expected,
        bound=len(placed) - expected,
    )


def contexts(notes: Sequence[WrittenNote], stages: Sequence[Stage]) -> list[Hashable]:
    """A mark for each stage, the same where pitches struck, held, before and after are."""
    around = left_habits().around
    nothing: list[tuple[int, ...]] = [()] * around
    struck = [tuple(notes[note].midi for note in one.notes[: one.struck]) for one in stages]
    struck = nothing + struck + nothing
    held = [
        tuple(notes[note].midi for note in one.notes[one.struck : one.resting])
        for one in stages
    ]
    width = 2 * around + 1
    return [(*struck[at : at + width], held[at]) for at in range(len(stages))]


def told_together(
    stages: Sequence[Stage], shares: Sequence[Shares], alike: Sequence[Hashable]
) -> list[list[Shares]]:
    """(presses,) for each note struck at each stage, how likely each press is in the mean of
    all stages that are marked alike.
    """
    own = [likely_presses(*one) for one in zip(stages, shares, strict=True)]
    places: dict[Hashable, list[int]] = defaultdict(list)
    for at, mark in enumerate(alike):
        places[mark].append(at)
    together = {
        mark: [
            np.asarray(np.mean(column, axis=0))
            for column in zip(*(own[at] for at in known), strict=True)
        ]
        for mark, known in places.items()
    }
    return [together[mark] for mark in alike]


def likely_presses(stage: Stage, shares: Shares) -> list[Shares]:
    """(presses,) for each note struck, how likely each press is."""
    return [
        np.asarray(
            np.bincount(stage.codes[:, column], weights=shares, minlength=PRESSES), np.float64
        )
        for column in range(stage.struck)
    ]


def likeliest(
    chained: Chain, agree: float, alike: Sequence[Hashable] | None = None
) -> tuple[list[int], float]:
    """The row of each stage, and the sum that the path makes largest; stages marked ``alike``
    (none: each for itself) tell each other what is likely.
    """
    known = field(chained)
    shares = [known.shares(at) for at in range(len(chained.stages))]
    told = told_together(chained.stages, shares, alike or range(len(shares)))
    gains: list[Scores] = []
    for at, stage in enumerate(chained.stages):
        gain = press_gains(stage, shares[at], told[at]) + agree * chained.own[at]
        gains.append(gain.astype(np.float32))
    moves = [agree * move if agree else _open(move) for move in chained.moves]
    return best_path(gains, moves)


def _open(move: Scores) -> Scores:
    return np.where(np.isfinite(move), np.float32(0), np.float32(-np.inf))


def press_gains(
    stage: Stage, shares: Shares, told: Sequence[Shares] | None = None
) -> NDArray[np.float64]:
    """(grips,) how many of a grip's presses are expected to be a guitarist's.

    ``told`` are how likely the presses of the notes struck are, if not as ``shares`` say.
    """
    table = left_habits()
    told = likely_presses(stage, shares) if told is None else told
    gain = table.position * np.bincount(stage.position, weights=shares)[stage.position]
    for column in range(stage.resting):
        codes = stage.codes[:, column]
        if column < stage.struck:
            gain += told[column][codes]
        else:
            gain += table.held * np.bincount(codes, weights=shares)[codes]
    return np.asarray(gain)


def _placed(
    notes: Sequence[WrittenNote], stages: Sequence[Stage], path: Sequence[int]
) -> tuple[tuple[FingeredNote, ...], tuple[int, ...]]:
    """Presses and held lengths along the path."""
    presses: dict[int, tuple[int, int]] = {}
    ends: dict[int, Beat] = {}
    for stage, row in zip(stages, path, strict=True):
        onset = notes[stage.notes[0]].onset
        for column, note in enumerate(stage.notes[: stage.resting]):
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
