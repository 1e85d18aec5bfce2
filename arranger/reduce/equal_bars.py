"""Equal bars are reduced alike: a student meets a bar again and finds it as it was."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import TypeVar

from arranger.music.analysis import Analysis
from arranger.music.equal_bars import agreed, heads
from arranger.music.time import Beat

Choice = TypeVar("Choice", bound=Hashable)


class EqualBars:
    """Places in bars, the same for bars that hold the same notes."""

    def __init__(self, analysis: Analysis) -> None:
        self._score = analysis.score
        self._heads = heads(analysis.same_as)
        self._places: dict[Beat, tuple[int, Beat]] = {}

    def place(self, onset: Beat) -> tuple[int, Beat]:
        """The first bar of its kind, and how far after the bar line."""
        known = self._places.get(onset)
        if known is None:
            bar = self._score.bar_index_at(onset)
            known = self._heads[bar], onset - self._score.bars[bar].start
            self._places[onset] = known
        return known

    def agreed(self, choices: Mapping[Beat, Choice]) -> dict[Beat, Choice]:
        """One choice for each place: what most of the equal bars have there.

        Of two that are as common the one heard first wins.
        """
        found = agreed((self.place(onset), choice) for onset, choice in sorted(choices.items()))
        return {onset: found[self.place(onset)] for onset in choices}
