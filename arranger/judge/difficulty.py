"""How hard an arrangement is for one player: a score, a band, and the reasons.

Conventions
-----------
``load = sum(weight * feature)`` over the features of ``fretting`` and ``plucking``, what
there is to learn, and the hardest moves; ``score = 100 * (1 - exp(-load))``. The
points of the reasons are the shares of the load in the score, so they sum to it. The points
of a bar say where the score would lie if the whole piece were like that bar, what there is
to learn and the hardest moves left out.

Monotone: a slower tempo, a note less, a narrower barre never raise the score.

References
----------
Own model; weights and their origin stand in ``tables/difficulty.toml``.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import exp, log2, sqrt

from arranger.judge import fretting, plucking
from arranger.judge.effort import Effort, Feature, Performance, move_text, perform
from arranger.judge.hearing import bar_index_at, hear
from arranger.music.arrangement import Arrangement
from arranger.music.verdict import BarDifficulty, Difficulty, Reason
from arranger.tables import Level, Player
from arranger.tables.difficulty import DifficultyTable, Scales, Telling, difficulty_table

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
    "moves": "the like",
    "shifts": "shifts",
    "changes": "changes",
    "crossing": "the same",
    "repeats": "the same",
    "independence": "the same",
    "slurs": "the same",
}


@dataclass(frozen=True, slots=True)
class Told:
    """A feature's value over the piece (load = weight * value), told by one place of it.

    ``size`` is that of the place, or how many things there are to learn; see ``Telling``.
    """

    feature: str
    value: float
    size: float
    bar: int
    what: str


def difficulty(arrangement: Arrangement, level: Level, player: Player) -> Difficulty:
    """The difficulty of ``arrangement`` at the student's tempo for ``player``."""
    table = difficulty_table()
    played = perform(hear(arrangement, level, player), table.scales)
    efforts = {name: tuple(feature(played)) for name, feature in FEATURES.items()}
    loads = [
        (_weight(table, told.feature) * told.value, told)
        for told in _told(played, efforts, table)
    ]
    load = sum(part for part, _ in loads)
    score = _score(load)
    share = score / load if load else 0.0
    reasons = [
        Reason(
            bar=told.bar,
            what=told.what,
            points=round(part * share, 2),
            feature=told.feature,
            telling=told.size >= table.telling.least(told.feature),
        )
        for part, told in sorted(
            loads, key=lambda loaded: (loaded[1].feature in LEARNT, -loaded[0])
        )
        if round(part * share, 2) > 0
    ]
    unsure = table.interval.load if load else 0.0
    return Difficulty(
        score=round(score, 1),
        low=round(_score(max(0.0, load - unsure)), 1),
        high=round(_score(load + unsure), 1),
        band=table.bands.of(round(score, 1)),
        bars=_bars(played, efforts, table),
        reasons=tuple(reasons),
    )


def features(arrangement: Arrangement, level: Level, player: Player) -> dict[str, float]:
    """The value of each feature that occurs, the ones that a score weighs and adds up."""
    table = difficulty_table()
    played = perform(hear(arrangement, level, player), table.scales)
    efforts = {name: tuple(feature(played)) for name, feature in FEATURES.items()}
    return {told.feature: told.value for told in _told(played, efforts, table)}


def usual_tempo(arrangement: Arrangement) -> float:
    """Quarters a minute at which plucking comes as often as in most studies.

    For scores that say no tempo: an assumption. Chords are played slower than single notes,
    but not as much slower as they have more notes: strokes and notes a second are held at a
    geometric mean.
    """
    plucked = [note.onset for note in arrangement.notes if note.slur is None]
    if not plucked or not arrangement.bars:
        return arrangement.student_tempo
    quarters = float(arrangement.bars[-1].end - arrangement.bars[0].start)
    often = sqrt(len(set(plucked)) * len(plucked))
    return 60.0 * difficulty_table().unstated.plucked * quarters / often


def _told(
    played: Performance, efforts: Mapping[str, Sequence[Effort]], table: DifficultyTable
) -> Iterator[Told]:
    if played.music.arrangement.bars:
        yield from _done(played, efforts, table.telling)
        yield from _learnt(played, table.scales)
        yield from _hardest(played, table.scales)


def _score(load: float) -> float:
    return 100.0 * (1.0 - exp(-load))


def _done(
    played: Performance, efforts: Mapping[str, Sequence[Effort]], telling: Telling
) -> Iterator[Told]:
    """What the hands hold and do over the piece, told by the hardest place of each.

    Where that place is much, the bars counted with it are those that have as much.
    """
    bars = played.music.arrangement.bars
    seconds = played.seconds(bars[-1].end - bars[0].start)
    for name, done in efforts.items():
        value = sum(effort.amount for effort in done)
        if value > 0:
            worst = max(done, key=lambda effort: effort.size)
            least = telling.least(name)
            much = least if worst.size >= least else 0.0
            touched = len({effort.bar for effort in done if effort.size >= much})
            what = worst.text
            if touched > 1 and name in NAMES:
                more = "1 more bar" if touched == 2 else f"{touched - 1} more bars"
                what += f"; {NAMES[name]} in {more}"
            yield Told(name, value / seconds, worst.size, bars[worst.bar].bar, what)


def _weight(table: DifficultyTable, name: str) -> float:
    weight: float = getattr(table.weights, name)
    return weight


def _learnt(played: Performance, scales: Scales) -> Iterator[Told]:
    """What is learnt once, each told where the last new thing of it comes.

    What a scale calls much counts as 1, three times as much as 2, seven times as much as 3:
    the hundredth bar asks for less than the first.
    """
    bars = played.music.arrangement.bars
    for name, first in to_learn(played).items():
        if first:
            span: float = getattr(scales, f"{name}_span")
            last = max(first, key=lambda thing: first[thing])
            said = ALONE if len(first) == 1 and name in ALONE else LEARNT
            what = said[name].format(len(first))
            if name == "shapes" and len(first) > 1:
                what += f", the last of them {last}".rstrip()
            value = log2(1 + len(first) / span)
            yield Told(name, value, len(first), bars[first[last]].bar, what)


LEARNT = {
    "shapes": "{} shapes to learn",
    "places": "{} different places on the neck, by the finger that plays them",
    "patterns": "{} different strokes of the plucking fingers within a bar",
    "colours": "the last of {} notes foreign to the scale",
    "length": "{} notes in all",
}
"""What is learnt once, in words; the last bar that brings a new one is named."""

ALONE = {"shapes": "1 shape to learn", "colours": "a note foreign to the scale"}
"""Where there is but one."""


def to_learn(played: Performance) -> dict[str, dict[Hashable, int]]:
    """By feature: the different things to learn, each with the bar (index) it first comes in.

    A place on the neck that another finger plays too is known from another position of the
    hand: it is learnt once for each finger. Leaving a note out never makes one more of
    anything.
    """
    arrangement = played.music.arrangement
    places: dict[Hashable, int] = {}
    strokes: dict[Hashable, int] = {}
    classes: dict[Hashable, int] = {}
    length: dict[Hashable, int] = {}
    for index, note in enumerate(arrangement.notes):
        bar = bar_index_at(arrangement, note.onset)
        length[index] = bar
        classes[note.midi % 12] = min(bar, classes.get(note.midi % 12, bar))
        if note.fret > 0:
            place = note.string, note.fret, note.left
            places[place] = min(bar, places.get(place, bar))
        if note.slur is None:
            stroke = note.onset - arrangement.bars[bar].start, note.right
            strokes[stroke] = min(bar, strokes.get(stroke, bar))
    late = sorted(classes, key=lambda name: (classes[name], str(name)))
    return {
        "shapes": _shapes(arrangement),
        "places": places,
        "patterns": strokes,
        "colours": {name: classes[name] for name in late[SCALE:]},
        "length": length,
    }


SCALE = 7
"""Notes of a scale; how many names of notes a piece has beyond them is its colour."""


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


def _hardest(played: Performance, scales: Scales) -> Iterator[Told]:
    """The most pressing moves along the neck, on average; the most pressing one is told.

    A piece has always so many, some of which may be none at all: taking a note out puts one
    move in the place of two that are not easier, and so never raises the average.
    """
    moves = sorted(played.moves, key=lambda move: -move.pressing)[: scales.hardest_moves]
    pressing = sum(move.pressing for move in moves) / scales.hardest_moves
    if pressing > 0:
        move = moves[0]
        bar = played.music.arrangement.bars[played.bar(move.onset)].bar
        what = f"the hardest single move: {move_text(move)}"
        value = log2(1 + pressing / scales.hardest_bits)
        yield Told("hardest", value, move.pressing, bar, what)


def _bars(
    played: Performance, efforts: Mapping[str, Sequence[Effort]], table: DifficultyTable
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
