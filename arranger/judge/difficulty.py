"""How hard an arrangement is for one player: a score, a band, and the reasons.

Conventions
-----------
``load = sum(weight * feature)`` over the features of ``effort``, the number of different
shapes and the hardest single move; ``score = 100 * (1 - exp(-load))``. The points of the
reasons are the shares of the load in the score, so they sum to it. The points of a bar
say where the score would lie if the whole piece were like that bar, shapes and hardest
move left out.

Monotone: a slower tempo, a note less, a narrower barre never raise the score.

References
----------
Own model, first version; weights and their origin stand in ``tables/difficulty.toml``.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import exp

from arranger.judge.effort import (
    FEATURES,
    Effort,
    Performance,
    move_text,
    perform,
)
from arranger.judge.hearing import hear
from arranger.music.arrangement import Arrangement
from arranger.music.verdict import BarDifficulty, Difficulty, Reason
from arranger.tables import Level, Player
from arranger.tables.difficulty import DifficultyTable, difficulty_table

# What more there is of a feature: "<the hardest place>; <this> in 11 more bars". Features
# that every bar has are not counted out.
NAMES = {
    "stretch": "stretches",
    "barre": "barres",
    "position": "high frets",
    "moves": "moving fingers",
    "repeats": "the same",
    "independence": "the same",
    "slurs": "the same",
}


def difficulty(arrangement: Arrangement, level: Level, player: Player) -> Difficulty:
    """The difficulty of ``arrangement`` at the student's tempo for ``player``."""
    table = difficulty_table()
    played = perform(hear(arrangement, level, player), table.scales)
    efforts = {name: tuple(feature(played)) for name, feature in FEATURES.items()}
    loads = [
        *_features(played, efforts, table),
        *_shapes(arrangement, table),
        *_hardest(played, table),
    ]
    load = sum(reason.points for reason in loads)
    score = _score(load)
    share = score / load if load else 0.0
    reasons = [
        Reason(bar=reason.bar, what=reason.what, points=round(reason.points * share, 2))
        for reason in sorted(loads, key=lambda reason: -reason.points)
        if round(reason.points * share, 2) > 0
    ]
    return Difficulty(
        score=round(score, 1),
        band=table.bands.of(round(score, 1)),
        bars=_bars(played, efforts, table),
        reasons=tuple(reasons),
    )


def _score(load: float) -> float:
    return 100.0 * (1.0 - exp(-load))


def _features(
    played: Performance, efforts: dict[str, tuple[Effort, ...]], table: DifficultyTable
) -> list[Reason]:
    """The load of each feature over the piece, told by its hardest place."""
    bars = played.music.arrangement.bars
    seconds = played.seconds(bars[-1].end - bars[0].start) if bars else 0.0
    found = []
    for name, done in efforts.items():
        load = _weight(table, name) * sum(effort.amount for effort in done)
        if load > 0:
            worst = max(done, key=lambda effort: effort.size)
            touched = len({effort.bar for effort in done})
            what = worst.text
            if touched > 1 and name in NAMES:
                more = "1 more bar" if touched == 2 else f"{touched - 1} more bars"
                what += f"; {NAMES[name]} in {more}"
            found.append(Reason(bar=bars[worst.bar].bar, what=what, points=load / seconds))
    return found


def _weight(table: DifficultyTable, name: str) -> float:
    weight: float = getattr(table.weights, name)
    return weight


def _shapes(arrangement: Arrangement, table: DifficultyTable) -> list[Reason]:
    """The load of learning the shapes, told where the last new one comes."""
    first: dict[int, int] = {}
    for mark in arrangement.chords:
        if mark.shape is not None and mark.shape < len(arrangement.shapes):
            place = sum(bar.start <= mark.onset for bar in arrangement.bars) - 1
            first.setdefault(mark.shape, arrangement.bars[max(0, place)].bar)
    different = {(shape.frets, shape.fingers) for shape in arrangement.shapes}
    if not different or not arrangement.bars:
        return []
    last = max(first, key=lambda shape: first[shape], default=0)
    what = f"{len(different)} shapes to learn"
    if last in first and len(different) > 1:
        what += f", the last of them {arrangement.shapes[last].name}"
    load = table.weights.shapes * len(different) / table.scales.shapes_span
    return [Reason(bar=first.get(last, arrangement.bars[0].bar), what=what, points=load)]


def _hardest(played: Performance, table: DifficultyTable) -> list[Reason]:
    """The load of the most pressing single move along the neck."""
    move = max(played.moves, key=lambda move: move.pressing, default=None)
    if move is None or move.pressing == 0:
        return []
    load = table.weights.hardest * move.pressing / table.scales.hardest_bits
    bar = played.music.arrangement.bars[played.bar(move.onset)].bar
    return [Reason(bar=bar, what=f"the hardest single move: {move_text(move)}", points=load)]


def _bars(
    played: Performance, efforts: dict[str, tuple[Effort, ...]], table: DifficultyTable
) -> tuple[BarDifficulty, ...]:
    bars = played.music.arrangement.bars
    loads: list[dict[str, float]] = [{} for _ in bars]
    for name, done in efforts.items():
        for effort in done:
            loads[effort.bar][name] = loads[effort.bar].get(name, 0.0) + effort.amount
    found = []
    for bar, amounts in zip(bars, loads, strict=True):
        seconds = played.seconds(bar.length)
        parts = [
            (name, _weight(table, name) * amount / seconds) for name, amount in amounts.items()
        ]
        found.append(_bar(bar.bar, parts))
    return tuple(found)


def _bar(number: int, loads: Sequence[tuple[str, float]]) -> BarDifficulty:
    load = sum(part for _, part in loads)
    points = _score(load)
    share = points / load if load else 0.0
    return BarDifficulty(
        bar=number,
        points=round(points, 1),
        features=tuple((name, round(part * share, 2)) for name, part in loads if part > 0),
    )
