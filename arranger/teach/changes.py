"""The shapes of the piece, and the changes between them, hardest first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from arranger.music.arrangement import Arrangement, Shape
from arranger.music.lesson import LessonStep
from arranger.tables.teaching import ChangePoints, Teaching
from arranger.teach.bars import TabBar, in_words, listed, seen_once


@dataclass(frozen=True, slots=True)
class Change:
    """From one shape to another (indices into ``Arrangement.shapes``), and in which bars.

    A bar that comes again stands for all the times it does; ``points`` rank it, see the table;
    ``parts`` say what each finger does, finger 1 first.
    """

    start: int
    goal: int
    points: float
    bars: tuple[int, ...]
    parts: tuple[str, ...]


def changes(
    arrangement: Arrangement, bars: Sequence[TabBar], points: ChangePoints
) -> list[Change]:
    """Every change of shape that the piece asks for, hardest first (of equals the first)."""
    marks = [mark for mark in arrangement.chords if mark.shape is not None]
    marks.sort(key=lambda mark: mark.onset)
    found: dict[tuple[int, int], list[int]] = {}
    for before, after in pairwise(marks):
        if before.shape is None or after.shape is None or before.shape == after.shape:
            continue
        number = next((b.number for b in bars if b.bar.start <= after.onset < b.bar.end), None)
        if number is not None:
            found.setdefault((before.shape, after.shape), []).append(number)
    ranked = []
    for (start, goal), numbers in found.items():
        cost, parts = _fingers(arrangement.shapes[start], arrangement.shapes[goal], points)
        ranked.append(Change(start, goal, cost, seen_once(numbers, bars), parts))
    return sorted(ranked, key=lambda change: -change.points)


def _places(shape: Shape) -> dict[str, tuple[int, tuple[int, ...]]]:
    """Fret and strings (6 first) of every finger in a shape."""
    found: dict[str, tuple[int, tuple[int, ...]]] = {}
    for string, fret, finger in zip(range(6, 0, -1), shape.frets, shape.fingers, strict=True):
        if fret and finger:
            strings = found[finger][1] if finger in found else ()
            found[finger] = (fret, (*strings, string))
    return dict(sorted(found.items()))


def _fingers(start: Shape, goal: Shape, points: ChangePoints) -> tuple[float, tuple[str, ...]]:
    """Points of a change, and what each finger does in it."""
    held = _places(start)
    total = 0.0
    parts: list[str] = []
    for finger, (fret, strings) in _places(goal).items():
        name = "the thumb" if finger == "T" else f"finger {finger}"
        where = f"fret {fret}"
        if len(strings) > 1:
            where = f"fret {fret} over strings {strings[0]} to {strings[-1]}"
        if finger not in held:
            total += points.land
            parts.append(f"{name} comes down on string {strings[0]}, {where}")
        elif held[finger] == (fret, strings):
            parts.append(f"{name} stays")
            continue
        else:
            before, on = held[finger]
            way = abs(before - fret) + min(abs(a - b) for a in on for b in strings)
            total += points.step * way
            if on == strings:
                total += points.slide
                parts.append(f"{name} slides to {where}")
            else:
                total += points.jump
                parts.append(f"{name} goes to string {strings[0]}, {where}")
        if len(strings) > 1:
            total += points.barre
    return total, tuple(parts)


def shape_steps(
    arrangement: Arrangement, bars: Sequence[TabBar], table: Teaching
) -> list[LessonStep]:
    """The list of shapes with their changes ranked, then a drill for each of the hardest."""
    if not arrangement.shapes:
        return []
    shapes = arrangement.shapes
    ranked = changes(arrangement, bars, table.change)
    names = [
        name if shape.shorthand in name else f"{name} {shape.shorthand}"
        for shape in shapes
        for name in [shape_name(shape, shapes)]
    ]
    text = (
        f"{listed(names)} (string 6 to string 1). Press each, let go, press again, until every "
        "string sounds clean; then its notes one by one, so that each finger learns its place."
    )
    if ranked:
        first = [f"{_name(c, shapes)} ({in_words(c.bars[:1])})" for c in ranked]
        named = first[: table.changes_named]
        more = len(ranked) - len(named)
        text += f" Changes, hardest first: {', '.join(named)}"
        text += f", and {more} easier." if more else "."
    title = "One shape" if len(shapes) == 1 else f"{len(shapes)} shapes"
    steps = [
        LessonStep(kind="shapes", title=title, text=text, shapes=tuple(range(len(shapes))))
    ]
    return steps + [_drill(both, shapes) for both in _there_and_back(ranked)[: table.drills]]


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
    bars = tuple(sorted({bar for one in both for bar in one.bars}))
    parts = "; ".join(change.parts) or "all fingers lift"
    text = (
        f"{parts[:1].upper()}{parts[1:]}. Place the fingers without playing, "
        "eight times there and back; then pluck the bass and one string on top. Found in "
        f"{in_words(bars)}."
    )
    return LessonStep(
        kind="change",
        title=f"Drill {_name(change, shapes)}{' and back' if len(both) > 1 else ''}",
        text=text,
        bars=bars,
        shapes=(change.start, change.goal),
    )
