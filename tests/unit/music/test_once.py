"""Answers kept: given once for the same value, anew for another one, equal as it may be."""

from __future__ import annotations

import pytest

from arranger.music.once import once


def test_the_same_value_is_asked_of_once() -> None:
    asked = []

    @once
    def length(value: tuple[int, ...]) -> int:
        asked.append(value)
        return len(value)

    one = (1, 2)
    assert [length(one), length(one)] == [2, 2]
    assert asked == [one]


def test_an_equal_value_is_another_one() -> None:
    asked: list[int] = []

    @once
    def first(value: list[int]) -> int:
        asked.append(value[0])
        return value[0]

    one, equal = [1], [1]
    assert [first(one), first(equal), first(equal), first(one)] == [1, 1, 1, 1]
    assert len(asked) == 2


def test_only_a_few_answers_are_kept() -> None:
    asked: list[int] = []

    @once
    def first(value: list[int]) -> int:
        asked.append(value[0])
        return value[0]

    values = [[number] for number in range(100)]
    assert [first(value) for value in values] == list(range(100))
    first(values[-1])
    assert len(asked) == 100
    first(values[0])
    assert len(asked) == 101


def test_an_error_is_no_answer() -> None:
    calls = []

    @once
    def fails(value: str) -> str:
        calls.append(value)
        raise ValueError(value)

    for _ in range(2):
        with pytest.raises(ValueError, match="a"):
            fails("a")
    assert calls == ["a", "a"]
