"""The two bars to learn first: the pair that comes back most."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from arranger.music.lesson import LessonStep
from arranger.tables.teaching import Teaching
from arranger.teach.bars import TabBar, differing, in_words


@dataclass(frozen=True, slots=True)
class Pair:
    """Two neighbouring bars (indices of the first of each pair) and where they return.

    ``times`` do not overlap and begin with the pair itself; ``near`` are places that
    differ from it by no more notes than the table calls alike.
    """

    times: tuple[int, ...]
    near: tuple[int, ...]


def recurring_pair(bars: Sequence[TabBar], near_notes: int) -> Pair | None:
    """The pair of neighbouring bars that fills most of the piece; of equals the first.

    None when no pair comes twice. Bars without notes belong to no pair.
    """
    places: dict[tuple[object, object], list[int]] = {}
    for first in range(len(bars) - 1):
        one, other = bars[first], bars[first + 1]
        if one.tab and other.tab:
            seen = places.setdefault((one.tab, other.tab), [])
            if not seen or first >= seen[-1] + 2:
                seen.append(first)
    if not places:
        return None
    times = max(places.values(), key=len)
    if len(times) < 2:
        return None
    return Pair(tuple(times), tuple(_near(bars, times, near_notes)))


def _near(bars: Sequence[TabBar], times: Sequence[int], near_notes: int) -> list[int]:
    taken = {place + k for place in times for k in (0, 1)}
    found: list[int] = []
    for first in range(len(bars) - 1):
        if {first, first + 1} & taken:
            continue
        apart = sum(differing(bars[times[0] + k], bars[first + k]) for k in (0, 1))
        if 0 < apart <= near_notes:
            found.append(first)
            taken |= {first, first + 1}
    return found


def pair_step(bars: Sequence[TabBar], table: Teaching) -> list[LessonStep]:
    """Learn these two bars first: they are so much of the piece."""
    pair = recurring_pair(bars, table.near_notes)
    if pair is None:
        return []
    first = (bars[pair.times[0]].number, bars[pair.times[0] + 1].number)
    again = [bars[place + k].number for place in pair.times[1:] for k in (0, 1)]
    played = [bar for bar in bars if bar.tab]
    share = 2 * len(pair.times) / len(played)
    text = (
        f"They come back in {in_words(again)}: with them you know {share:.0%} of the piece. "
        "Play them slowly until you know them by heart, before anything else."
    )
    if pair.near:
        near = [bars[place + k].number for place in pair.near for k in (0, 1)]
        text += f" Then look at {in_words(near)}: the same but for one note."
    title = f"Learn {in_words(first)} first"
    return [LessonStep(kind="pair", title=title, text=text, bars=(*first, *again))]
