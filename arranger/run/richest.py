"""The richest arrangement that is no harder than asked for.

Playing is given a price, which is raised step by step; the hardest level whose limits hold
the piece comes first, because it allows the most. At which step a level becomes easy enough is
found by halving. All that was made on the way competes, so that what is found for a difficulty
is never poorer than what was found for a lower one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from arranger.run.pipeline import Result


@dataclass(frozen=True, slots=True)
class Found:
    """An arrangement at a step of the price (0: none); ``fits`` where it suits its level."""

    result: Result
    level: str
    step: int
    richness: float
    fits: bool

    @property
    def score(self) -> float:
        return self.result.verdict.difficulty.score


Make = Callable[[str, int], Found | None]
"""The arrangement at a level and a step of the price; None where a level does not suit."""


class Richest:
    """Arrangements of one piece, each made when it is asked for.

    ``levels`` from the one that allows most to the one that allows least; prices go up to
    step ``steps``.
    """

    def __init__(self, levels: Sequence[str], *, steps: int, make: Make) -> None:
        self._levels = tuple(levels)
        self._steps = steps
        self._make = make
        self._made: dict[tuple[str, int], Found | None] = {}

    def within(self, most: float) -> Found | None:
        """The richest whose score is at most ``most``; None where none was found."""
        harder: list[str] = []
        for level in self._levels:
            first = self._at(level, 0)
            if first is not None and first.score <= most:
                break  # a level that allows less has nothing to add
            harder.append(level)
        for level in reversed(harder):
            self._search(level, most)
        return self.best(most)

    def best(self, most: float) -> Found | None:
        """The richest so far whose score is at most ``most``; of equals the one with the
        lowest price, whose notes were least held back, and then the easiest.
        """
        fit = [one for one in self._made.values() if one is not None and one.fits]
        easy = [one for one in fit if one.score <= most]
        return max(easy, key=lambda one: (one.richness, -one.step, -one.score), default=None)

    def front(self) -> tuple[Found, ...]:
        """All that keep more than every easier one, the easiest first."""
        fit = [one for one in self._made.values() if one is not None and one.fits]
        front: list[Found] = []
        for one in sorted(fit, key=lambda one: (one.score, -one.richness, one.step)):
            if not front or one.richness > front[-1].richness:
                front.append(one)
        return tuple(front)

    def easiest(self) -> Found | None:
        """The easiest of the level that allows least; None where no level suits."""
        for level in reversed(self._levels):
            if self._at(level, 0) is not None:
                self._halved(level, lambda one: one is not None and not one.fits)
                break
        fit = [one for one in self._made.values() if one is not None and one.fits]
        return min(fit, key=lambda one: one.score, default=None)

    def _search(self, level: str, most: float) -> None:
        """Make what a level has to offer at ``most``, unless it is known to be poorer."""
        first, best = self._at(level, 0), self.best(most)
        if first is not None and (best is None or best.richness < first.richness):
            self._halved(
                level,
                lambda one: one is not None and one.score <= most,
                lambda one: self._poorer(one, most),
            )

    def _poorer(self, one: Found | None, most: float) -> bool:
        """Whether ``one`` keeps no more than what is known to be easy enough.

        A higher price keeps no more than a lower one, so none beyond it has to be made.
        """
        best = self.best(most)
        return one is not None and best is not None and one.richness <= best.richness

    def _halved(
        self,
        level: str,
        easy: Callable[[Found | None], bool],
        enough: Callable[[Found | None], bool] = lambda _: False,
    ) -> None:
        """Make the last step that is not yet ``easy`` and the first that is.

        Ends where the last that is not easy is ``enough``. The highest price mostly is far too
        high: it is asked first only where it did not do at another level, else once half of
        the steps do not do.
        """
        low, high = 0, self._steps
        far = any(step == high and not easy(one) for (_, step), one in list(self._made.items()))
        if far and not easy(self._at(level, high)):
            return
        while high - low > 1 and not enough(self._at(level, low)):
            middle = (low + high) // 2
            if easy(self._at(level, middle)):
                high = middle
                continue
            low = middle
            untried = high == self._steps and not enough(self._at(level, low))
            if untried and not easy(self._at(level, high)):
                return

    def _at(self, level: str, step: int) -> Found | None:
        if (level, step) not in self._made:
            self._made[level, step] = self._make(level, step)
        return self._made[level, step]
