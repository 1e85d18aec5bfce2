"""The richest that is easy enough, looked for among stand-ins of arrangements."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arranger.run.richest import Found, Richest

HARD, EASY = "advanced", "beginner"
STEPS = 8


class Piece:
    """Scores and shares by level and step of the price, and what was made of them."""

    def __init__(self, made: dict[str, list[tuple[float, float]]], fit: int = STEPS) -> None:
        self.table = made
        self.fit = fit
        self.asked: list[tuple[str, int]] = []

    def make(self, level: str, step: int) -> Found | None:
        self.asked.append((level, step))
        if level not in self.table:
            return None
        score, richness = self.table[level][step]
        result: Any = SimpleNamespace(
            verdict=SimpleNamespace(difficulty=SimpleNamespace(score=score))
        )
        return Found(
            result=result, level=level, step=step, richness=richness, fits=step <= self.fit
        )

    def levels(self) -> Richest:
        return Richest((HARD, EASY), steps=STEPS, make=self.make)


def falling(score: float, richness: float) -> list[tuple[float, float]]:
    return [(score - 3 * step, richness - step / 20) for step in range(STEPS + 1)]


def test_a_piece_easy_enough_is_taken_as_it_is() -> None:
    piece = Piece({HARD: falling(60, 1.0), EASY: falling(40, 0.8)})
    found = piece.levels().within(60)
    assert found is not None
    assert (found.level, found.step) == (HARD, 0)
    assert piece.asked == [(HARD, 0)]


def test_the_lowest_price_that_is_easy_enough_is_found_by_halving() -> None:
    piece = Piece({HARD: falling(60, 1.0), EASY: falling(40, 0.5)})
    found = piece.levels().within(50)
    assert found is not None
    assert (found.level, found.step, found.score) == (HARD, 4, 48)
    assert len(piece.asked) < STEPS


def test_the_highest_price_is_asked_only_where_half_of_the_steps_do_not_do() -> None:
    piece = Piece({EASY: falling(48, 0.8)})
    piece.levels().within(46)
    assert (EASY, STEPS) not in piece.asked
    piece.levels().within(30)
    assert (EASY, STEPS) in piece.asked


def test_no_price_is_asked_beyond_one_that_keeps_no_more_than_what_is_found() -> None:
    """The easy level keeps .75 at 48; the hard one .9 at 60, but .5 at 56."""
    piece = Piece({HARD: [(60 - step, 0.9 - step / 10) for step in range(STEPS + 1)]})
    piece.table[EASY] = falling(48, 0.75)
    found = piece.levels().within(53)
    assert found is not None
    assert (found.level, found.step) == (EASY, 0)
    assert [step for level, step in piece.asked if level == HARD] == [0, 4]


def test_a_level_that_keeps_more_at_the_same_score_is_taken() -> None:
    piece = Piece({HARD: falling(60, 0.9), EASY: falling(48, 0.8)})
    found = piece.levels().within(48)
    assert found is not None
    assert (found.level, found.step) == (EASY, 0)


def test_a_level_that_does_not_suit_is_passed_over() -> None:
    piece = Piece({EASY: falling(48, 0.8)})
    found = piece.levels().within(45)
    assert found is not None
    assert (found.level, found.step) == (EASY, 1)


def test_what_is_no_longer_the_piece_is_not_taken() -> None:
    piece = Piece({EASY: falling(48, 0.8)}, fit=2)
    levels = piece.levels()
    assert levels.within(40) is None
    easiest = levels.easiest()
    assert easiest is not None
    assert (easiest.step, easiest.score) == (2, 42)


def test_where_no_level_suits_there_is_nothing() -> None:
    levels = Piece({}).levels()
    assert levels.within(100) is None
    assert levels.easiest() is None


values = st.lists(
    st.tuples(st.floats(1, 99), st.floats(0, 1)), min_size=STEPS + 1, max_size=STEPS + 1
)


@given(values, values, st.integers(0, STEPS))
def test_more_difficulty_never_keeps_less(
    hard: list[tuple[float, float]], easy: list[tuple[float, float]], fit: int
) -> None:
    """Whatever scores and shares a piece has, even where a price makes it harder."""
    levels = Piece({HARD: hard, EASY: easy}, fit=fit).levels()
    limits = list(range(90, 0, -10))
    for limit in limits:
        levels.within(limit)
    kept = [one.richness if (one := levels.best(limit)) else -1.0 for limit in limits]
    assert kept == sorted(kept, reverse=True)
    for limit in limits:
        if (one := levels.best(limit)) is not None:
            assert one.score <= limit
            assert one.fits


@pytest.mark.parametrize("limit", [57, 51, 39])
def test_what_is_found_is_the_best_there_is_where_prices_do_what_they_should(
    limit: float,
) -> None:
    piece = Piece({HARD: falling(60, 1.0), EASY: falling(48, 0.75)})
    every = [one for level in (HARD, EASY) for one in piece.table[level]]
    found = piece.levels().within(limit)
    assert found is not None
    assert found.richness == max(kept for score, kept in every if score <= limit)
