"""The hardest bars, each with what makes it hard."""

from __future__ import annotations

from arranger.judge.difficulty import FEATURES, difficulty
from arranger.judge.effort import Effort, perform
from arranger.judge.hearing import hear
from arranger.music.arrangement import Arrangement
from arranger.music.verdict import Reason
from arranger.tables import Level, Player
from arranger.tables.difficulty import difficulty_table

SAID = 2
"""Features that a bar is told by, the ones with most points in it."""


def hardest_bars(
    arrangement: Arrangement, level: Level, player: Player, count: int = 5
) -> tuple[Reason, ...]:
    """The ``count`` hardest bars that are not the same as an earlier one.

    ``points`` are the bar's: where the score would lie if the piece were all like it.
    """
    played = perform(hear(arrangement, level, player), difficulty_table().scales)
    worst: dict[tuple[int, str], Effort] = {}
    for name, feature in FEATURES.items():
        for effort in feature(played):
            before = worst.get((effort.bar, name))
            if before is None or effort.size > before.size:
                worst[effort.bar, name] = effort
    graded = difficulty(arrangement, level, player).bars
    found: dict[tuple[str, float], Reason] = {}
    for index in sorted(range(len(graded)), key=lambda index: -graded[index].points):
        bar = graded[index]
        features = sorted(bar.features, key=lambda feature: -feature[1])
        what = "; ".join(worst[index, name].text for name, _ in features[:SAID])
        if features and arrangement.bars[index].same_as is None:
            reason = Reason(bar=bar.bar, what=what, points=bar.points)
            found.setdefault((what, bar.points), reason)
    return tuple(found.values())[:count]
