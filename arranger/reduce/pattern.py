"""The right hand's pattern: on which beats of a phrase the fingers add to thumb and tune."""

from __future__ import annotations

from collections import Counter

from arranger.music.analysis import Analysis
from arranger.music.moments import Moments
from arranger.music.time import Beat
from arranger.reduce.equal_bars import EqualBars

Pattern = frozenset[tuple[Beat, Beat]]
"""Places in a bar at which the fingers add: how far after the bar line, in a bar how long."""


def pattern_beats(
    analysis: Analysis, beats: tuple[Beat, ...], inner: frozenset[Beat], *, most: int
) -> frozenset[Beat]:
    """The thumb beats on which inner notes belong to the pattern of their phrase.

    A place in the bar is part of the pattern when the source has inner notes there
    (``inner``: their onsets) in at least half of the phrase's bars: one pattern a phrase, so
    that the hand need not think about every bar, and at most ``most`` in a section: the
    commonest; a phrase with another takes the nearest of them. Common practice, no source.
    Equal bars of different phrases have one pattern, as most of them do.
    """
    phrases = _Phrases(analysis, beats, inner)
    own = phrases.patterns()
    section = phrases.sections()
    kept = _kept(own, section, most)
    taken = {
        phrase: _nearest(pattern, kept[section[phrase]]) for phrase, pattern in own.items()
    }
    alike = EqualBars(analysis).agreed(
        {beat: phrases.place(beat) in taken[phrases.at(beat)] for beat in beats}
    )
    return frozenset(beat for beat, within in alike.items() if within)


class _Phrases:
    """The phrases of a piece by number; 0 is what comes before the first."""

    def __init__(
        self, analysis: Analysis, beats: tuple[Beat, ...], inner: frozenset[Beat]
    ) -> None:
        self._starts = Moments(sorted(phrase.start for phrase in analysis.phrases))
        self._analysis = analysis
        self._beats = beats
        self._inner = inner

    def at(self, beat: Beat) -> int:
        """The phrase of a beat."""
        return self._starts.until(beat)

    def place(self, beat: Beat) -> tuple[Beat, Beat]:
        """Where in its bar a beat falls, and how long that bar is."""
        score = self._analysis.score
        bar = score.bars[score.bar_index_at(beat)]
        return beat - bar.start, bar.length

    def patterns(self) -> dict[int, Pattern]:
        """The places at which at least half of each phrase's bars have inner notes."""
        there = Counter((self.at(beat), self.place(beat)) for beat in self._beats)
        filled = Counter(
            (self.at(beat), self.place(beat)) for beat in self._beats if beat in self._inner
        )
        return {
            phrase: frozenset(
                place
                for (other, place), count in there.items()
                if other == phrase and filled[phrase, place] * 2 >= count
            )
            for phrase in {self.at(beat) for beat in self._beats}
        }

    def sections(self) -> dict[int, int]:
        """The section in which each phrase has its first beat."""
        score = self._analysis.score
        lasts = [section.last for section in self._analysis.sections]
        found: dict[int, int] = {}
        for beat in self._beats:
            bar = score.bar_index_at(beat)
            found.setdefault(self.at(beat), sum(last < bar for last in lasts))
        return found


def _kept(
    patterns: dict[int, Pattern], section: dict[int, int], most: int
) -> dict[int, list[Pattern]]:
    """The commonest patterns of every section, at most so many; ties by first use."""
    uses: dict[int, Counter[Pattern]] = {}
    for phrase in sorted(patterns):
        uses.setdefault(section[phrase], Counter())[patterns[phrase]] += 1
    return {
        number: [pattern for pattern, _ in counts.most_common(most)]
        for number, counts in uses.items()
    }


def _nearest(pattern: Pattern, kept: list[Pattern]) -> Pattern:
    """The kept pattern with the fewest places that only one of the two has."""
    return min(kept, key=lambda other: len(pattern ^ other))
