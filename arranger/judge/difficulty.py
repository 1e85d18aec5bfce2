"""How hard an arrangement is for one player: a score, a band, and the reasons.

Conventions
-----------
``load = sum(weight * feature)`` over the features of ``fretting`` and ``plucking``, what
there is to learn, and the hardest single move; ``score = 100 * (1 - exp(-load))``. The
points of the reasons are the shares of the load in the score, so they sum to it. The points
of a bar say where the score would lie if the whole piece were like that bar, what there is
to learn and the hardest move left out.

Monotone: a slower tempo, a note less, a narrower barre never raise the score.

References
----------
Own model; weights and their origin stand in ``tables/difficulty.toml``.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Sequence
from math import exp

from arranger.judge import fretting, plucking
from arranger.judge.effort import Effort, Feature, Performance, counted, move_text, perform
from arranger.judge.hearing import bar_index_at, hear
from arranger.music.arrangement import Arrangement
from arranger.music.verdict import BarDifficulty, Difficulty, Reason
from arranger.tables import Level, Player
from arranger.tables.difficulty import DifficultyTable, difficulty_table

FEATURES: dict[str, Feature] = {
    "stretch": fretting.stretch,
    "barre": fretting.barre,
    "fingers": fretting.fingers,
    "position": fretting.position,
    "voices": fretting.voices,
    "moves": fretting.moves,
    "shifts": fretting.shifting,
    "changes": fretting.changing,
    "plucking": plucking.plucking,
    "goal": plucking.goal,
    "repeats": plucking.repeats,
    "crossing": plucking.crossing,
    "independence": plucking.independence,
    "slurs": plucking.slurs,
}

# What more there is of a feature: "<the hardest place>; <this> in 11 more bars". Features
# that every bar has are not counted out.
NAMES = {
    "stretch": "stretches",
    "barre": "barres",
    "position": "high frets",
    "moves": "moving fingers",
    "shifts": "shifts",
    "changes": "changes",
    "crossing": "the same",
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
        *_to_learn(played, table),
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


def _to_learn(played: Performance, table: DifficultyTable) -> Iterator[Reason]:
    """The load of what is learnt once, each told where the last new thing of it comes."""
    arrangement = played.music.arrangement
    weights, scales = table.weights, table.scales
    learnt = (
        (_shapes(arrangement), "shape", "to learn", weights.shapes / scales.shapes_span),
        (_places(arrangement), "place", "on the neck", weights.places / scales.places_span),
        (
            _strokes(played),
            "stroke",
            "of the plucking fingers within a bar",
            weights.patterns / scales.patterns_span,
        ),
    )
    for first, thing, where, weight in learnt:
        if first and arrangement.bars:
            last = max(first, key=lambda name: first[name])
            what = f"{counted(len(first), f'different {thing}')} {where}"
            if thing == "shape" and len(first) > 1:
                what = f"{len(first)} shapes to learn, the last of them {last}"
            bar = arrangement.bars[first[last]].bar
            yield Reason(bar=bar, what=what, points=weight * len(first))


def _shapes(arrangement: Arrangement) -> dict[Hashable, int]:
    """The different shapes by a name each, and the bar (index) that first needs it."""
    needed: dict[int, int] = {}
    for mark in arrangement.chords:
        if mark.shape is not None:
            needed.setdefault(mark.shape, bar_index_at(arrangement, mark.onset))
    found: dict[tuple[object, object], tuple[str, int]] = {}
    for number, shape in enumerate(arrangement.shapes):
        bar = needed.get(number, 0)
        found.setdefault((shape.frets, shape.fingers), (shape.name, bar))
    return {f"{name}{' ' * same}": bar for same, (name, bar) in enumerate(found.values())}


def _places(arrangement: Arrangement) -> dict[Hashable, int]:
    """String and fret of every place fretted, and the bar (index) that first needs it."""
    found: dict[Hashable, int] = {}
    for note in arrangement.notes:
        if note.fret > 0:
            bar = bar_index_at(arrangement, note.onset)
            found[note.string, note.fret] = min(bar, found.get((note.string, note.fret), bar))
    return found


def _strokes(played: Performance) -> dict[Hashable, int]:
    """Plucking finger and time within its bar of every stroke, and the first such bar.

    One pattern kept up is few of them, however long the piece.
    """
    arrangement = played.music.arrangement
    found: dict[Hashable, int] = {}
    for note in arrangement.notes:
        if note.slur is None:
            bar = bar_index_at(arrangement, note.onset)
            stroke = note.onset - arrangement.bars[bar].start, note.right
            found[stroke] = min(bar, found.get(stroke, bar))
    return found


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
