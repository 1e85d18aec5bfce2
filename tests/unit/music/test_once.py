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


def test_another_value_is_asked_anew_and_then_stands_for_the_first() -> None:
    asked: list[int] = []

    @once
    def first(value: list[int]) -> int:
        asked.append(value[0])
        return value[0]

    one, equal = [1], [1]
    assert [first(one), first(equal), first(equal), first(one)] == [1, 1, 1, 1]
    assert len(asked) == 3


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
