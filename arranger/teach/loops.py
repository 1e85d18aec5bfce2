"""Sections in loops of a few bars, the order of a day, and where repeats differ."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from arranger.music.lesson import LessonStep
from arranger.tables.teaching import Teaching
from arranger.teach.bars import Tab, TabBar, in_words, listed

Loop = tuple[TabBar, ...]
"""Neighbouring bars that are practised round and round."""


@dataclass(frozen=True, slots=True)
class Part:
    """A section as played: its letter ("" when the piece has none) and its bars."""

    letter: str
    bars: tuple[TabBar, ...]


def parts(bars: Sequence[TabBar]) -> list[Part]:
    """The sections in the order played; bars before the first letter join it."""
    begins = [place for place, bar in enumerate(bars) if bar.bar.section]
    if not begins:
        return [Part("", tuple(bars))] if bars else []
    begins[0] = 0
    ends = [*begins[1:], len(bars)]
    letters = [bar.bar.section or "" for bar in bars if bar.bar.section]
    return [
        Part(letter, tuple(bars[begin:end]))
        for letter, begin, end in zip(letters, begins, ends, strict=True)
    ]


def loops(part: Part, table: Teaching) -> Iterator[Loop]:
    """A section cut into loops.

    A pick-up goes with the first loop, a rest too short for a loop with the one before.
    """
    start, pick_up = 0, int(part.bars[0].number == 0)
    while start < len(part.bars):
        end = start + table.loop_bars + (pick_up if start == 0 else 0)
        if len(part.bars) - end < table.loop_bars_least:
            end = len(part.bars)
        yield part.bars[start:end]
        start = end


def different_loops(
    bars: Sequence[TabBar], table: Teaching
) -> list[tuple[str, Loop, tuple[Loop, ...]]]:
    """Every loop that is new, in order: its section's letter, its bars, its exact returns.

    A pick-up makes no difference.
    """
    found: dict[tuple[Tab, ...], list[tuple[str, Loop]]] = {}
    for part in parts(bars):
        for loop in loops(part, table):
            if any(bar.tab for bar in loop):
                tabs = tuple(bar.tab for bar in _body(loop))
                found.setdefault(tabs, []).append((part.letter, loop))
    return [
        (same[0][0], same[0][1], tuple(loop for _, loop in same[1:])) for same in found.values()
    ]


def loop_steps(bars: Sequence[TabBar], tempo: float, table: Teaching) -> list[LessonStep]:
    """One step for every loop that is new, told with the loops that are the same.

    ``tempo``: where to begin, source quarters a minute.
    """
    steps: list[LessonStep] = []
    for letter, loop, again in different_loops(bars, table):
        numbers = [bar.number for bar in loop]
        text = (
            "In the same way."
            if steps
            else "Round and round, hands together, the end leading back into the beginning."
        )
        if again:
            returns = in_words(bar.number for other in again for bar in other)
            text += f" It comes again in {returns}."
        of = f" of part {letter}" if letter else ""
        title = f"Loop {in_words(numbers)}{of}"
        steps.append(
            LessonStep(kind="loop", title=title, text=text, bars=tuple(numbers), tempo=tempo)
        )
    return steps


def day_step(loop_count: int) -> list[LessonStep]:
    """In which order to practise on one day."""
    if loop_count == 0:
        return []
    text = "Warm up; the right hand alone; one drill; "
    if loop_count > 1:
        text += (
            "yesterday's loop; today's new loop, one a day; then everything you know, slowly "
        )
        text += "and without stopping."
    else:
        text += "the loop; then the piece without stopping."
    return [LessonStep(kind="day", title="The order of a day", text=text)]


def repeat_steps(bars: Sequence[TabBar], table: Teaching) -> list[LessonStep]:
    """For loops that nearly come again: in which bars, and how, they differ.

    A loop is told against the earlier one that it is most like, if at least half of its
    bars are the same.
    """
    steps: list[LessonStep] = []
    known: list[Loop] = []
    for _, loop, _again in different_loops(bars, table):
        like = [
            (_differing_bars(before, loop), before)
            for before in known
            if len(_body(before)) == len(_body(loop))
        ]
        known.append(loop)
        if like:
            differs, before = min(like, key=lambda pair: len(pair[0]))
            if 2 * len(differs) <= len(loop):
                steps.append(_differences(before, loop, differs))
    return steps[: table.repeats_named]


def _body(loop: Loop) -> Loop:
    """A loop without the pick-up."""
    return loop[1:] if loop[0].number == 0 else loop


def _differing_bars(before: Loop, loop: Loop) -> list[tuple[TabBar, TabBar]]:
    pairs = zip(_body(before), _body(loop), strict=True)
    return [(one, other) for one, other in pairs if one.tab != other.tab]


def _differences(
    before: Loop, loop: Loop, differs: Sequence[tuple[TabBar, TabBar]]
) -> LessonStep:
    here, there = (
        in_words(bar.number for bar in loop),
        in_words(b.number for b in _body(before)),
    )
    told = [f"bar {other.number}: {_difference(one, other)}" for one, other in differs]
    text = f"They are {there} again, but for {listed(told)}."
    return LessonStep(
        kind="repeats",
        title=f"Where {here} differ",
        text=text,
        bars=tuple(other.number for _, other in differs),
    )


def _difference(one: TabBar, other: TabBar) -> str:
    """How a bar differs from the bar it repeats, in words."""
    ours, theirs = set(one.tab), set(other.tab)
    changed = (ours ^ theirs) or ours
    onsets = sorted({at for at, _, _ in ours | theirs})
    touched = sorted({at for at, _, _ in changed})
    if len(touched) == 1:
        if touched[0] == onsets[-1]:
            return "its last note is different"
        if touched[0] == onsets[0]:
            return "its first note is different"
        return "one note is different"
    return f"{max(len(ours - theirs), len(theirs - ours))} notes are different"
