"""Answers about a frozen value, kept for whoever asks the same of it right after."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from functools import wraps
from typing import TypeVar

Value = TypeVar("Value")
Answer = TypeVar("Answer")

_KEPT = 4
"""Answers: a piece is looked at as it is played, written and folded by turns."""


def once(function: Callable[[Value], Answer]) -> Callable[[Value], Answer]:
    """``function`` of one frozen value, with the answers it gave last.

    The value is known again by being the same object: to compare an arrangement with another,
    note by note, may cost as much as the answer. Only a few answers are kept, so that a long
    run of pieces does not fill the memory; they have to be such that nobody changes them.
    """
    known: deque[tuple[Value, Answer]] = deque(maxlen=_KEPT)

    @wraps(function)
    def kept(value: Value) -> Answer:
        for other, answer in tuple(known):
            if other is value:
                return answer
        answer = function(value)
        known.appendleft((value, answer))
        return answer

    return kept
