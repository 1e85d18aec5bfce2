"""Other ways to play a bar: in words, as a bar of tab, and as the marks that choose one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import groupby

from arranger.music.arrangement import Arrangement
from arranger.music.others import BarAlternative
from arranger.render.tab import tab_systems
from arranger.render.written import in_written_time
from arranger.tables.marks import marks_lines


@dataclass(frozen=True, slots=True)
class OtherWay:
    """One way for a reader: what is different, what it costs, its tab, its marks."""

    bar: int
    words: str
    cost: str
    tab: str
    marks: str


def other_ways(arrangement: Arrangement) -> tuple[OtherWay, ...]:
    """All other ways of an arrangement, bar by bar, the cheapest of a bar first."""
    return tuple(
        OtherWay(
            bar=way.bar,
            words=f"{way.reason[:1].upper()}{way.reason[1:]}.",
            cost=_cost(way),
            tab="\n".join(_tab(arrangement, way)),
            marks=marks_lines(way.note_marks, (way.bar_mark,) if way.bar_mark else ()),
        )
        for way in arrangement.others
    )


def _cost(way: BarAlternative) -> str:
    """``5.5 points harder for this student (to hold +5.5, to move +0.0)``."""
    parts = f"to hold {way.holding:+.1f}, to move {way.moving:+.1f}"
    if way.points < 0:
        return f"{-way.points:.1f} points easier for this student ({parts})"
    return f"{way.points:.1f} points harder for this student ({parts})"


def _tab(arrangement: Arrangement, way: BarAlternative) -> Iterator[str]:
    """The bar as text, played this way."""
    bar = next(bar for bar in arrangement.bars if bar.bar == way.bar)
    alone = replace(
        arrangement,
        bars=(replace(bar, start=bar.start - bar.start, section=None, same_as=None),),
        notes=tuple(replace(note, onset=note.onset - bar.start) for note in way.notes),
        chords=tuple(
            replace(mark, onset=mark.onset - bar.start, shape=None)
            for mark in arrangement.chords
            if bar.start <= mark.onset < bar.end
        ),
        dropped=(),
    )
    for lines in tab_systems(in_written_time(alone)):
        yield from lines


def other_lines(arrangement: Arrangement) -> Iterator[str]:
    """Other ways as lines for a terminal."""
    for bar, ways in groupby(other_ways(arrangement), key=lambda way: way.bar):
        yield f"other ways to play bar {bar}:"
        for number, way in enumerate(ways, start=1):
            yield f"  {number}. {way.words} {way.cost[:1].upper()}{way.cost[1:]}."
            yield from (f"     {line}" for line in way.tab.splitlines())
            yield "     lines for the marks file that choose it:"
            yield from (f"       {line}".rstrip() for line in way.marks.splitlines())
    if not arrangement.others:
        yield "no clearly different way to play these bars at this level and for this student"
