"""Answers about a frozen value, kept for whoever asks the same of it right after."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import TypeVar

Value = TypeVar("Value")
Answer = TypeVar("Answer")


def once(function: Callable[[Value], Answer]) -> Callable[[Value], Answer]:
    """``function`` of one frozen value, with the answer it gave last.

    The value is known again by being the same object: to compare an arrangement with another,
    note by note, may cost as much as the answer. One answer is kept, so that a long run of
    pieces does not fill the memory; it has to be such that nobody changes it.
    """
    last: list[tuple[Value, Answer]] = []

    @wraps(function)
    def kept(value: Value) -> Answer:
        known = last[0] if last else None
        if known is None or known[0] is not value:
            known = value, function(value)
            last[:] = [known]
        return known[1]

    return kept
