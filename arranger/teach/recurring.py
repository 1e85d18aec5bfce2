"""The two bars to learn first: the pair that comes back most."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from arranger.music.lesson import LessonStep
from arranger.tables.teaching import Teaching
from arranger.teach.bars import TabBar, differing, full_bars, in_words, printed_once, times


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

    None when no pair comes twice. Bars without notes, and the pick-up, belong to no pair.
    """
    places: dict[tuple[object, object], list[int]] = {}
    for first in range(len(bars) - 1):
        one, other = bars[first], bars[first + 1]
        if one.tab and other.tab and not one.picks_up:
            seen = places.setdefault((one.tab, other.tab), [])
            if not seen or first >= seen[-1] + 2:
                seen.append(first)
    if not places:
        return None
    most = max(places.values(), key=len)
    if len(most) < 2:
        return None
    return Pair(tuple(most), tuple(_near(bars, most, near_notes)))


def _near(bars: Sequence[TabBar], most: Sequence[int], near_notes: int) -> list[int]:
    taken = {place + k for place in most for k in (0, 1)}
    found: list[int] = []
    for first in range(len(bars) - 1):
        if {first, first + 1} & taken or bars[first].picks_up:
            continue
        apart = sum(differing(bars[most[0] + k], bars[first + k]) for k in (0, 1))
        if 0 < apart <= near_notes:
            found.append(first)
            taken |= {first, first + 1}
    return found


def pair_step(bars: Sequence[TabBar], table: Teaching) -> list[LessonStep]:
    """Learn these two bars first: they are so much of the piece.

    Nothing where they are less of it than the table asks for: then it is not these two bars
    that a student knows the piece by.
    """
    pair = recurring_pair(bars, table.near_notes)
    if pair is None:
        return []
    played = len(full_bars(bars))
    share = 2 * len(pair.times) / played
    share_near = 2 * (len(pair.times) + len(pair.near)) / played
    if share_near < table.lead_share:
        return []
    own = _bars_at(bars, pair.times[:1])
    here = printed_once(own)
    again = [bar for bar in _bars_at(bars, pair.times[1:]) if bar.printed not in here]
    where = f"again in {in_words(again)}" if again else "by the repeat"
    text = f"They come {times(len(pair.times))} ({where}): {share:.0%} of the piece."
    if pair.near:
        near = in_words(_bars_at(bars, pair.near))
        text += f" In {near} one note is different; with those it is {share_near:.0%}."
    text += " Learn them slowly, and by heart, before anything else."
    return [
        LessonStep(
            kind="pair",
            title=f"Learn {in_words(own)} first",
            text=text,
            bars=(*here, *printed_once(again)),
        )
    ]


def _bars_at(bars: Sequence[TabBar], places: Sequence[int]) -> list[TabBar]:
    """Both bars of the pairs that begin at ``places``."""
    return [bars[place + k] for place in places for k in (0, 1)]
