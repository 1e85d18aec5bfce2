"""What is said of a tab that exists already: how hard, where, and what would ease it."""

from __future__ import annotations

from dataclasses import dataclass

from arranger.music.arrangement import Arrangement
from arranger.music.verdict import Difficulty, Reason, Violation


@dataclass(frozen=True, slots=True, kw_only=True)
class Easing:
    """Something that makes it easier: what to do, and the score it leads to.

    ``points`` are saved of the whole score.
    """

    what: str
    points: float
    score: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Rating:
    """``hardest`` bars have the points of the bar; ``easings`` save most first."""

    arrangement: Arrangement
    difficulty: Difficulty
    violations: tuple[Violation, ...]
    hardest: tuple[Reason, ...]
    easings: tuple[Easing, ...]
