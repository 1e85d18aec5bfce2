"""How notes of a page are held: where the hand lies, what may be let go, what a barre is.

Expected behaviour: common practice, no source. A held note stays under its finger or is let
go, once and for all; a finger lies in its own fret or one beside it.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from arranger.music.written_note import WrittenNote
from arranger.neck.fingered import habits_of, written_neck
from arranger.neck.habits import POSITIONS
from arranger.neck.holding import (
    Stage,
    _carried,
    _let_go,
    _shift_under,
    barre_change,
    held_columns,
    pinned_presses,
    release_terms,
    roles,
    stands,
)
from arranger.neck.presses import RELEASED, THUMB, press
from arranger.tables import default_player, instrument
from arranger.tables.habits import as_written

LEVEL = as_written()
PLAYER = default_player(LEVEL)
HABITS = habits_of(written_neck(PLAYER, instrument().tuning), LEVEL, PLAYER)
OPEN = press(1, 0, 0)


def stage(*grips: tuple[int, ...], struck: int | None = None, position: int = 1) -> Stage:
    """Grips of the same notes, the first ``struck`` of them struck."""
    columns = len(grips[0])
    return Stage(
        notes=tuple(range(columns)),
        struck=columns if struck is None else struck,
        resting=columns,
        codes=np.array(grips, dtype=np.int32),
        position=np.full(len(grips), position, dtype=np.int32),
        carried=(),
        lost=(0.25,) * columns,
        roles=(0,) * columns,
        pace=1,
    )


def note(onset: float, length: float, **pinned: int) -> WrittenNote:
    return WrittenNote(onset=Fraction(onset), length=Fraction(length), midi=64, **pinned)


@pytest.mark.parametrize(
    ("grip", "positions"),
    [
        ([(2, 1, 1)], [1, 2]),
        ([(2, 5, 1)], [4, 5, 6]),
        ([(5, 3, 3), (4, 2, 2), (2, 1, 1)], [1, 2]),  # C
        ([(4, 2, 1), (3, 2, 2), (2, 2, 3)], [1]),  # A with three fingers in one fret
        ([(6, 1, 1), (1, 6, 4)], [2]),  # as wide as it may be
        ([(6, 1, 1), (1, 5, 2)], [2, 3]),  # wider: as near as it can
        ([(6, 3, THUMB), (1, 3, 1)], [2, 3, 4]),  # the thumb lies over its own fret
        ([(1, 0, 0), (2, 0, 0)], list(range(1, POSITIONS))),  # an open grip is held anywhere
        ([(1, 0, 0), (2, 5, 1)], [4, 5, 6]),
    ],
)
def test_the_hand_lies_where_every_finger_is_in_its_fret_or_beside(
    grip: list[tuple[int, int, int]], positions: list[int]
) -> None:
    codes = np.array([[press(*one) for one in grip] + [RELEASED]], dtype=np.int32)
    rows, found = stands(codes)
    assert found.tolist() == positions
    assert rows.tolist() == [0] * len(positions)


def test_a_barre_is_new_or_grows_from_the_finger_or_is_kept() -> None:
    at = {fret: (press(1, fret, 1), press(2, fret, 1)) for fret in (2, 5)}
    finger = (press(1, 2, 1), press(2, 3, 2))
    before = stage(at[2], at[5], finger, (OPEN, press(2, 0, 0)))
    here = stage(at[2], finger)
    new, finger_lay, kept, none = range(4)
    assert barre_change(before, here).tolist() == [
        [kept, none],
        [new, none],
        [finger_lay, none],
        [new, none],
    ]


@pytest.mark.parametrize(("held", "ways"), [(1, 2), (2, 4), (3, 8), (4, 10), (5, 12)])
def test_any_few_of_three_held_notes_may_go_of_more_one_or_all_but_one_or_all(
    held: int, ways: int
) -> None:
    codes = np.array([[press(6 - n, 1, 1) for n in range(held)] + [OPEN]], dtype=np.int32)
    found = np.concatenate(_let_go(codes, held))
    assert len({tuple(row) for row in found.tolist()}) == len(found) == ways
    assert set(found[:, held].tolist()) == {OPEN}  # what is not held on is not let go
    gone = {int((row == RELEASED).sum()) for row in found}
    assert gone == ({*range(held + 1)} if held <= 3 else {0, 1, held - 1, held})


def test_a_held_note_stays_or_is_let_go_once_and_for_all() -> None:
    """Letting go costs by the share of the length lost, and otherwise for an open string."""
    fretted, elsewhere = press(1, 3, 3), press(1, 3, 4)
    was = np.array([fretted, OPEN, RELEASED], dtype=np.int32)
    here = stage((fretted,), (elsewhere,), (OPEN,), (RELEASED,), struck=0)
    found = _carried(was, here, 0, HABITS)
    weights = HABITS.family("release")
    go = float(np.dot(release_terms(0.25), weights[:3]))
    never = -np.inf
    expected = [
        [0, never, never, go],
        [never, never, 0, go + weights[3]],
        [never, never, never, 0],
    ]
    assert found.tolist() == [pytest.approx(row) for row in expected]


@pytest.mark.parametrize(
    ("lost", "terms"), [(0.25, (1, 0.25, 0)), (0.5, (1, 0.5, 0)), (0.75, (1, 0.75, 1))]
)
def test_more_than_half_a_note_lost_counts_besides(
    lost: float, terms: tuple[float, float, float]
) -> None:
    assert release_terms(lost) == terms


def test_what_a_hand_holds_while_it_shifts() -> None:
    """Nothing fretted before, or a fretted note held on: each counts, in a shift alone."""
    fretted, opened = stage((press(1, 3, 3),)), stage((OPEN,))
    held = stage((OPEN, press(2, 3, 3)), struck=1, position=2)
    free = stage((OPEN, press(2, 0, 0)), struck=1, position=2)
    weights = HABITS.family("shift_free").astype(np.float32)
    for before, nothing in ((fretted, 0), (opened, 1)):
        for here, on in ((held, 1), (free, 0)):
            assert _shift_under(before, here, HABITS).tolist() == [[weights[nothing, on]]]
    assert _shift_under(fretted, stage((press(1, 3, 3),)), HABITS).tolist() == [[0]]


def test_notes_that_go_on_are_held() -> None:
    notes = [note(0, 1), note(0, 2), note(0, 3), note(2, 1)]
    assert held_columns(notes, stage((OPEN,) * 3), Fraction(2)) == [2]
    assert held_columns(notes, None, Fraction(2)) == []


@pytest.mark.parametrize(
    ("pitches", "expected"),
    [((64,), (0,)), ((40, 64), (2, 0)), ((60, 40, 64, 55), (1, 2, 0, 1))],
)
def test_the_highest_note_the_lowest_and_those_between(
    pitches: tuple[int, ...], expected: tuple[int, ...]
) -> None:
    assert roles(pitches) == expected


def test_a_pin_is_kept_where_it_can_be() -> None:
    """E4 open on string 1, by fingers 1 to 4 on fret 5 of string 2; on string 5 never."""
    codes = np.array([OPEN, *(press(2, 5, finger) for finger in (1, 2, 3, 4))], dtype=np.int32)
    assert pinned_presses(codes, note(0, 1, string=2)).tolist() == codes[1:].tolist()
    assert pinned_presses(codes, note(0, 1, finger=3)).tolist() == [press(2, 5, 3)]
    assert pinned_presses(codes, note(0, 1, string=2, finger=1)).tolist() == [press(2, 5, 1)]
    assert pinned_presses(codes, note(0, 1, string=5)).tolist() == codes.tolist()
    assert pinned_presses(codes, note(0, 1)).tolist() == codes.tolist()
