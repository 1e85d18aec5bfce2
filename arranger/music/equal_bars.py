"""Equal bars, and what most of them agree on."""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Iterable, Sequence
from typing import TypeVar

Key = TypeVar("Key", bound=Hashable)
Choice = TypeVar("Choice", bound=Hashable)


def heads(same_as: Sequence[int | None]) -> list[int]:
    """For every bar the first of its kind, or itself; ``same_as`` as in an Analysis."""
    return [bar if head is None else head for bar, head in enumerate(same_as)]


def agreed(choices: Iterable[tuple[Key, Choice]]) -> dict[Key, Choice]:
    """For every key the commonest of its choices; of two as common the one met first."""
    votes: dict[Key, Counter[Choice]] = {}
    for key, choice in choices:
        votes.setdefault(key, Counter())[choice] += 1
    return {key: counts.most_common(1)[0][0] for key, counts in votes.items()}
