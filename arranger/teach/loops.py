"""Sections in loops of a few bars, the order of a day, and where repeats differ."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from arranger.music.lesson import LessonStep
from arranger.tables.teaching import Teaching
from arranger.teach.bars import TabBar, counted, in_words, listed, printed_once

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
    start, pick_up = 0, int(part.bars[0].picks_up)
    while start < len(part.bars):
        end = start + table.loop_bars + (pick_up if start == 0 else 0)
        if len(part.bars) - end < table.loop_bars_least:
            end = len(part.bars)
        yield part.bars[start:end]
        start = end


@dataclass(frozen=True, slots=True)
class NewLoop:
    """A loop that is new: its section's letter, its bars, and where it comes again.

    ``again`` are exact returns (a pick-up makes no difference), ``nearly`` those with another
    bar or two, often a second ending.
    """

    letter: str
    bars: Loop
    again: list[Loop]
    nearly: list[Loop]


def different_loops(bars: Sequence[TabBar], table: Teaching) -> list[NewLoop]:
    """Every loop that is new, in order."""
    found: list[NewLoop] = []
    for part in parts(bars):
        for loop in loops(part, table):
            if not any(bar.tab for bar in loop):
                continue
            like = [new for new in found if len(_body(new.bars)) == len(_body(loop))]
            apart = [len(_differing_bars(new.bars, loop)) for new in like]
            least = min(apart, default=len(loop))
            if least <= min(table.loop_differs, len(loop) // 2):
                new = like[apart.index(least)]
                (new.nearly if least else new.again).append(loop)
            else:
                found.append(NewLoop(part.letter, loop, [], []))
    return found


def loop_steps(
    bars: Sequence[TabBar], watched: Sequence[LessonStep], tempo: float, table: Teaching
) -> list[LessonStep]:
    """One step for every loop that is new, told with the loops that are the same.

    ``watched``: steps practised out of context before, which the loop meets again; ``tempo``:
    where to begin, source quarters a minute.
    """
    steps: list[LessonStep] = []
    for new in different_loops(bars, table):
        numbers = printed_once(new.bars)
        text = (
            "In the same way."
            if steps
            else "Both hands, round and round, the end leading back into the beginning."
        )
        more = [*_returns(new), *_watch(new.bars, watched)]
        if more:
            said = "; ".join(more)
            text += f" {said[0].upper()}{said[1:]}."
        steps.append(
            LessonStep(
                kind="loop", title=f"Loop {_named(new)}", text=text, bars=numbers, tempo=tempo
            )
        )
    return steps


def _named(new: NewLoop) -> str:
    """``bars 1–8 of part A with the pick-up``, ``bars 1–4 of the intro``.

    No number stands over a pick-up.
    """
    body = _body(new.bars) or new.bars
    name = in_words(body)
    if len(new.letter) == 1:
        name += f" of part {new.letter}"
    elif new.letter:
        name += f" of the {new.letter.lower()}"
    return name if body == new.bars else f"{name} with the pick-up"


def _returns(new: NewLoop) -> Iterator[str]:
    """Where a loop is printed again, and what is new there; a repeat sign needs no word."""
    again = [loop for loop in new.again if not _is_repeat(new.bars, loop)]
    if again:
        yield f"it comes again in {in_words(bar for loop in again for bar in loop)}"
    for loop in new.nearly:
        differs = in_words(other for _, other in _differing_bars(new.bars, loop))
        if _is_repeat(new.bars, loop):
            yield f"the second time with {differs}"
        else:
            yield f"{in_words(loop)} are the same but for {differs}"


def _is_repeat(before: Loop, loop: Loop) -> bool:
    """Whether a repeat sign brings the loop: where it does not differ it is not printed."""
    pairs = zip(_body(before), _body(loop), strict=True)
    return any(other.printed != other.number for _, other in pairs)


def _watch(loop: Loop, watched: Sequence[LessonStep]) -> Iterator[str]:
    """What was drilled before and is met here: ``watch for G → C in bar 11``."""
    met = []
    for step in watched:
        here = [bar for bar in loop if bar.printed in step.bars]
        if here:
            name = step.title.removeprefix("Drill ").partition(":")[0]
            name = name[0].lower() + name[1:] if step.kind == "coordination" else name
            met.append(f"{name} in {in_words(here)}")
    if met:
        yield f"watch for {listed(met)}"


def day_step(loop_count: int) -> list[LessonStep]:
    """In which order to practise on one day."""
    if loop_count == 0:
        return []
    text = "Warm up; the right hand alone; one drill; "
    if loop_count > 1:
        text += (
            "yesterday's loop; a new one only when that one is clean; last, all that you know, "
            "slowly and without stopping."
        )
    else:
        text += "the loop; last, the piece slowly and without stopping."
    return [LessonStep(kind="day", title="The order of a day", text=text)]


def repeat_steps(bars: Sequence[TabBar], table: Teaching) -> list[LessonStep]:
    """For loops that nearly come again: in which bars, and how, they differ.

    A loop is told against the one it nearly is; a new one against the earlier one that it is
    most like, if no more than a bar in four is another: what differs more is new music.
    """
    steps: list[LessonStep] = []
    known: list[Loop] = []
    for new in different_loops(bars, table):
        like = [
            (_differing_bars(before, new.bars), before)
            for before in known
            if len(_body(before)) == len(_body(new.bars))
        ]
        known.append(new.bars)
        if like:
            differs, before = min(like, key=lambda pair: len(pair[0]))
            if table.repeat_differs * len(differs) <= len(new.bars):
                steps.append(_differences(before, new.bars, differs, table))
        for loop in new.nearly:
            differs = _differing_bars(new.bars, loop)
            steps.append(_differences(new.bars, loop, differs, table))
    return steps[: table.repeats_named]


def _body(loop: Loop) -> Loop:
    """A loop without the pick-up."""
    return loop[1:] if loop[0].picks_up else loop


def _differing_bars(before: Loop, loop: Loop) -> list[tuple[TabBar, TabBar]]:
    pairs = zip(_body(before), _body(loop), strict=True)
    return [(one, other) for one, other in pairs if one.tab != other.tab]


def _differences(
    before: Loop, loop: Loop, differs: Sequence[tuple[TabBar, TabBar]], table: Teaching
) -> LessonStep:
    there = in_words(_body(before))
    if _is_repeat(before, loop):
        title = f"Where the repeat of {there} differs"
        told = [
            f"{in_words([other])} stands for {in_words([one])}: "
            f"{_difference(one, other, table)}"
            for one, other in differs
        ]
        text = f"The second time {'; '.join(told)}."
    else:
        title = f"Where {in_words(loop)} differ"
        told = [
            f"{in_words([other])}: {_difference(one, other, table)}" for one, other in differs
        ]
        text = f"They are {there} again, but for "
        if len(differs) <= table.differences_told:
            text += f"{'; and '.join(told)}."
        else:
            text += f"{in_words(bar for _, bar in differs)}."
    return LessonStep(
        kind="repeats",
        title=title,
        text=text,
        bars=printed_once(other for _, other in differs),
    )


def _difference(one: TabBar, other: TabBar, table: Teaching) -> str:
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
    if len(touched) > table.new_share * len(onsets):
        return "most of it is new, so learn it as a bar of its own"
    beats = listed([counted(other.count(at)) for at in touched])
    return f"{max(len(ours - theirs), len(theirs - ours))} notes are different, on {beats}"
