"""Work that falls into tasks of which none needs another: in turn, or as the caller has it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol, TypeVar, cast

T = TypeVar("T")
One = TypeVar("One")
Other = TypeVar("Other")


class Each(Protocol):
    """Does all tasks, in whatever order and wherever, and gives their results in order.

    A task may be done in a copy of this process: what it changes beside its result may be
    lost, and its result has to be such that it can be pickled.
    """

    def __call__(self, tasks: Sequence[Callable[[], T]]) -> list[T]: ...


def in_turn(tasks: Sequence[Callable[[], T]]) -> list[T]:
    """All tasks here, one after another."""
    return [task() for task in tasks]


def both(each: Each, one: Callable[[], One], other: Callable[[], Other]) -> tuple[One, Other]:
    """The results of two tasks of different kinds."""
    tasks: list[Callable[[], One | Other]] = [one, other]
    first, second = each(tasks)
    return cast("One", first), cast("Other", second)
