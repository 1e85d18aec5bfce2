"""The shapes of the piece, and the changes between them, hardest first."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from arranger.music.arrangement import Arrangement, Shape
from arranger.music.lesson import LessonStep
from arranger.tables.teaching import ChangePoints, Teaching
from arranger.teach.bars import (
    TabBar,
    in_words,
    listed,
    number_word,
    printed_once,
    seen_once,
    times,
)


@dataclass(frozen=True, slots=True)
class Change:
    """From one shape to another (indices into ``Arrangement.shapes``), and in which bars.

    A bar that comes again stands for all the times it does; ``points`` rank it, see the table.
    """

    start: int
    goal: int
    points: float
    bars: tuple[TabBar, ...]


@dataclass(frozen=True, slots=True)
class Finger:
    """Where a finger of a shape lies: its fret, and its strings, 6 first."""

    fret: int
    strings: tuple[int, ...]


def changes(
    arrangement: Arrangement, bars: Sequence[TabBar], points: ChangePoints
) -> list[Change]:
    """Every change of shape that the piece asks for, hardest first (of equals the first).

    Where no shape is held in between, the fingers go their own ways, and there is no change
    to drill.
    """
    marks = sorted(arrangement.chords, key=lambda mark: mark.onset)
    found: dict[tuple[int, int], list[TabBar]] = {}
    for before, after in pairwise(marks):
        if before.shape is None or after.shape is None or before.shape == after.shape:
            continue
        bar = next((b for b in bars if b.bar.start <= after.onset < b.bar.end), None)
        if bar is not None:
            found.setdefault((before.shape, after.shape), []).append(bar)
    held = [fingers_of(shape) for shape in arrangement.shapes]
    ranked = [
        Change(start, goal, _points(held[start], held[goal], points), seen_once(met))
        for (start, goal), met in found.items()
    ]
    return sorted(ranked, key=lambda change: -change.points)


def fingers_of(shape: Shape) -> dict[str, Finger]:
    """Where every finger of a shape lies, finger 1 first."""
    found: dict[str, Finger] = {}
    for string, fret, finger in zip(range(6, 0, -1), shape.frets, shape.fingers, strict=True):
        if fret and finger:
            strings = found[finger].strings if finger in found else ()
            found[finger] = Finger(fret, (*strings, string))
    return dict(sorted(found.items()))


def _points(
    held: Mapping[str, Finger], goal: Mapping[str, Finger], points: ChangePoints
) -> float:
    """What the fingers' ways in a change add up to."""
    total = 0.0
    for name, there in goal.items():
        here = held.get(name)
        if here == there:
            continue
        total += points.barre if len(there.strings) > 1 else 0.0
        if here is None:
            total += points.land
        else:
            total += points.step * _way(here, there)
            total += points.slide if here.strings == there.strings else points.jump
    return total


def _way(here: Finger, there: Finger) -> int:
    """Frets and strings between two places of a finger."""
    across = min(abs(a - b) for a in here.strings for b in there.strings)
    return abs(here.fret - there.fret) + across


# Steps of the lesson ------------------------------------------------------------------


def shape_steps(
    arrangement: Arrangement, bars: Sequence[TabBar], table: Teaching
) -> list[LessonStep]:
    """The list of shapes with their changes ranked, then a drill for each of the hardest."""
    if not arrangement.shapes:
        return []
    shapes = arrangement.shapes
    ranked = changes(arrangement, bars, table.change)
    names = listed([shape_name(shape, shapes) for shape in shapes])
    text = (
        f"{names}. Press, let go, press again, until every string sounds clean; then pluck its "
        "strings one by one, so that each finger learns its place."
    )
    drilled = _there_and_back(ranked)[: table.drills]
    if ranked:
        first = [f"{_name(c, shapes)} ({in_words(c.bars[:1])})" for c in ranked]
        named = first[: table.changes_named]
        more = len(ranked) - len(named)
        text += f" The changes, hardest first: {', '.join(named)}"
        text += f", and {more} easier." if more else "."
        few = "the first" if len(drilled) == 1 else f"the hardest {number_word(len(drilled))}"
        text += (
            f" Drill {few}: place the fingers without plucking, {times(table.drill_times)} "
            "there and back, slowly enough that all land together; then pluck bass and top "
            "string each time you arrive."
        )
    title = "One shape" if len(shapes) == 1 else f"{len(shapes)} shapes"
    steps = [
        LessonStep(kind="shapes", title=title, text=text, shapes=tuple(range(len(shapes))))
    ]
    return steps + [_drill(both, shapes) for both in drilled]


def _there_and_back(ranked: Sequence[Change]) -> list[tuple[Change, ...]]:
    """Each change with the one back again, where the piece has it: one drill trains both."""
    pairs: dict[frozenset[int], tuple[Change, ...]] = {}
    for change in ranked:
        pair = frozenset((change.start, change.goal))
        pairs[pair] = (*pairs.get(pair, ()), change)
    return list(pairs.values())


def shape_name(shape: Shape, shapes: Sequence[Shape]) -> str:
    """The name of a shape, with its frets or fingers where others of ``shapes`` share it.

    ``G``; ``G 320003`` beside another G; ``G 320003 with 2 1 3`` beside other fingers.
    """
    rivals = [other for other in shapes if other.name == shape.name and other != shape]
    if not rivals:
        return shape.name
    if all(other.frets != shape.frets for other in rivals):
        return f"{shape.name} {shape.shorthand}"
    fingers = " ".join(finger for finger in shape.fingers if finger)
    return f"{shape.name} {shape.shorthand} with {fingers}"


def _name(change: Change, shapes: Sequence[Shape]) -> str:
    """``C → G``."""
    names = [shape_name(shapes[index], shapes) for index in (change.start, change.goal)]
    return " → ".join(names)


def _drill(both: Sequence[Change], shapes: Sequence[Shape]) -> LessonStep:
    """A drill for a change, told from its harder side, and for the change back if there is."""
    change = both[0]
    met = sorted((bar for one in both for bar in one.bars), key=lambda bar: bar.printed)
    words = _in_words(fingers_of(shapes[change.start]), fingers_of(shapes[change.goal]))
    return LessonStep(
        kind="change",
        title=f"Drill {_name(change, shapes)}{' and back' if len(both) > 1 else ''}",
        text=f"{words} It comes in {in_words(met)}.",
        bars=printed_once(met),
        shapes=(change.start, change.goal),
    )


def _in_words(held: Mapping[str, Finger], goal: Mapping[str, Finger]) -> str:
    """What the hand does in a change: as one, or what stays, what guides, what moves."""
    together = _as_one(held, goal)
    if together:
        return together
    stay = [name for name, there in goal.items() if held.get(name) == there]
    guides, moves = [], []
    ways: dict[str, int] = {}
    for name, there in goal.items():
        here = held.get(name)
        if here is not None and here.strings == there.strings and name not in stay:
            guides.append(f"{_fingers([name])} slides to fret {there.fret} and guides the hand")
        elif name not in stay:
            moves.append(f"{_fingers([name])} to {_place(there)}")
            ways[name] = 0 if here is None else _way(here, there)
    said = [f"{_fingers(stay)} {'stay' if len(stay) > 1 else 'stays'} down"] if stay else []
    text = "; ".join([*said, *guides, *moves]) or "all fingers lift"
    if len(ways) > 1 and not stay and not guides:
        text = f"nothing stays down: {text}"
    farthest = [name for name, way in ways.items() if way == max(ways.values())]
    if sum(map(bool, ways.values())) > 1 and len(farthest) == 1:
        text += f". Move {_fingers(farthest)} first, it has the longest way"
    return f"{text[:1].upper()}{text[1:]}."


def _as_one(held: Mapping[str, Finger], goal: Mapping[str, Finger]) -> str:
    """A form that moves as it is; empty where it does not."""
    if len(goal) < 2 or held.keys() != goal.keys():
        return ""
    steps = set(_steps(held, goal))
    if len(steps) != 1:
        return ""
    up, across = steps.pop()
    ways = []
    if across:
        strings = "one string" if abs(across) == 1 else f"{number_word(abs(across))} strings"
        ways.append(f"{strings} towards string {1 if across < 0 else 6}")
    if up:
        frets = "one fret" if abs(up) == 1 else f"{number_word(abs(up))} frets"
        ways.append(f"{frets} {'up' if up > 0 else 'down'}")
    return f"The fingers keep their form and move as one, {' and '.join(ways)}." if ways else ""


def _steps(held: Mapping[str, Finger], goal: Mapping[str, Finger]) -> Iterator[tuple[int, int]]:
    """By how many frets and strings each finger moves."""
    for name, there in goal.items():
        here = held[name]
        yield there.fret - here.fret, there.strings[0] - here.strings[0]
        yield there.fret - here.fret, there.strings[-1] - here.strings[-1]


def _fingers(names: Sequence[str]) -> str:
    """``finger 1``, ``fingers 1 and 2``, ``the thumb``."""
    if names == ["T"]:
        return "the thumb"
    return f"{'finger' if len(names) == 1 else 'fingers'} {listed(names)}"


def _place(finger: Finger) -> str:
    """``string 5, fret 2``, or how a barre lies."""
    if len(finger.strings) == 1:
        return f"string {finger.strings[0]}, fret {finger.fret}"
    return f"fret {finger.fret} over strings {finger.strings[0]} to {finger.strings[-1]}"
