"""The measures of a MusicXML part in the order in which they are played."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from lxml import etree

_TWICE = 2
_MOST_PASSES = 8
"""A section is played no more often, whatever the file says; common practice, no source."""


def as_played(measures: Sequence[etree._Element]) -> tuple[int, ...]:
    """Indices of the measures as played: sections come again, each pass with its endings.

    A repeat that begins nowhere begins after the one before it, or with the piece. *Da capo*
    and *dal segno* are not obeyed. Measures without repeats are given back as they stand.
    """
    endings = tuple(_endings(measures))
    order: list[int] = []
    start, turn, here = 0, 1, 0
    while here < len(measures):
        begins = _has_repeat(measures[here], "forward")
        if here > start and (begins or (endings[here - 1] and not endings[here])):
            start, turn = here, 1
        if not endings[here] or turn in endings[here]:
            order.append(here)
            if _has_repeat(measures[here], "backward"):
                if turn < _turns(measures, endings, here):
                    here, turn = start, turn + 1
                    continue
                start, turn = here + 1, 1
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
