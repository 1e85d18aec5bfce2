"""Where repeats begin, and the measures of a MusicXML part in the order they are played in."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from lxml import etree

_TWICE = 2
_MOST_PASSES = 8
"""A section is played no more often, whatever the file says; common practice, no source."""


def beginnings(
    begins: Sequence[bool], ends: Sequence[bool], endings: Sequence[object]
) -> list[bool]:
    """Whether what is repeated may begin with each measure, whether a sign says so or not.

    ``begins`` and ``ends``: the measure has the sign; ``endings``: it lies in an ending, where
    true. A repeat that begins nowhere begins after the one before it and all its endings, or
    with the piece: common practice, and how most tunes in ABC are written.
    """
    return [
        begun or place == 0 or bool((ends[place - 1] or endings[place - 1]) and not inside)
        for place, (begun, inside) in enumerate(zip(begins, endings, strict=True))
    ]


def as_played(measures: Sequence[etree._Element]) -> tuple[int, ...]:
    """Indices of the measures as played: sections come again, each pass with its endings.

    A repeat begins where ``beginnings`` has it. *Da capo* and *dal segno* are not obeyed.
    Measures without repeats are given back as they stand.
    """
    endings = tuple(_endings(measures))
    ends = [_has_repeat(measure, "backward") for measure in measures]
    begins = beginnings(
        [_has_repeat(measure, "forward") for measure in measures], ends, endings
    )
    order: list[int] = []
    start, turn, here = 0, 1, 0
    while here < len(measures):
        if here > start and begins[here]:
            start, turn = here, 1
        if not endings[here] or turn in endings[here]:
            order.append(here)
            if ends[here] and turn < _turns(measures, endings, here):
                here, turn = start, turn + 1
                continue
        here += 1
    return tuple(order)


def _endings(measures: Sequence[etree._Element]) -> Iterator[frozenset[int]]:
    """Of each measure, the passes that play it; empty outside of endings."""
    now: frozenset[int] = frozenset()
    for measure in measures:
        stops = False
        for ending in measure.iterfind("barline/ending"):
            if ending.get("type") == "start":
                now = frozenset(int(number) for number in _numbers(ending))
            else:
                stops = True
        yield now
        if stops:
            now = frozenset()


def _numbers(ending: etree._Element) -> list[str]:
    """``"1, 2"`` are two; anything that is no small number is none."""
    return re.findall(r"\b[1-9]\b", ending.get("number") or "")


def _has_repeat(measure: etree._Element, direction: str) -> bool:
    return measure.find(f"barline/repeat[@direction='{direction}']") is not None


def _turns(
    measures: Sequence[etree._Element], endings: Sequence[frozenset[int]], here: int
) -> int:
    """How often the section that ends with ``here`` is played."""
    if not endings[here]:
        repeat = measures[here].find("barline/repeat[@direction='backward']")
        times = "" if repeat is None else repeat.get("times") or ""
        return min(int(times) if times.isdecimal() else _TWICE, _MOST_PASSES)
    turns = max(endings[here])
    while here < len(endings) and endings[here]:
        turns = max(turns, *endings[here])
        here += 1
    # A first ending alone is left out the second time.
    return min(max(turns, _TWICE), _MOST_PASSES)
