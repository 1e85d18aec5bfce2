"""The bars of an arrangement, and which of them have the tab of an earlier one."""

from __future__ import annotations

from collections.abc import Collection, Hashable, Sequence

from arranger.music.analysis import Analysis
from arranger.music.arrangement import ArrangedBar


def arranged_bars(
    analysis: Analysis,
    played: Sequence[Hashable],
    chords: Sequence[str | None],
    slows: Collection[int] = (),
) -> tuple[ArrangedBar, ...]:
    """The bars of the score, in order.

    ``played`` says for each what is played in it, so that bars with the same tab are equal;
    ``chords`` names its harmony. ``slows`` holds printed numbers of bars that slow down.
    """
    letters = {section.first: section.letter for section in analysis.sections}
    first_of: dict[Hashable, int] = {}
    bars = analysis.score.bars
    arranged = []
    for place, bar in enumerate(bars):
        first = first_of.setdefault(played[place], place)
        arranged.append(
            ArrangedBar(
                bar=bar.number,
                start=bar.start,
                length=bar.length,
                beat=analysis.texture_at(bar.start).thumb_beat,
                written_bar=bar.number,
                numerator=bar.numerator,
                denominator=bar.denominator,
                chord=chords[place],
                same_as=bars[first].number if first != place else None,
                section=letters.get(place),
                slows=bar.number in slows,
            )
        )
    return tuple(arranged)
