"""Which techniques of the hands an arrangement uses, how often, and in which bars."""

from __future__ import annotations

from collections.abc import Iterator

from arranger.judge.grip import Hold, holds
from arranger.judge.hearing import Hearing, bar_index_at, hear
from arranger.judge.position import shifts
from arranger.music.arrangement import Arrangement
from arranger.music.comparison import TechniqueUse
from arranger.music.time import Beat
from arranger.tables import Level, Player
from arranger.tables.hand import hand

ORDER = (
    "full barre",
    "half barre",
    "small barre by a finger other than the first",
    "thumb over the neck",
    "hammer-on",
    "pull-off",
    "slide",
    "slur under a thumb note",
    "shift of position",
)
"""How a table lists them: the left hand's holds, slurs, shifts."""


def techniques(
    arrangement: Arrangement, level: Level, player: Player
) -> tuple[TechniqueUse, ...]:
    """The techniques used, in the order of ``ORDER``; what is not used is left out.

    A barre and a thumb over the neck count once for as long as they stay down.
    """
    music = hear(arrangement, level, player)
    found: dict[str, list[Beat]] = {}
    for name, onset in (*_held(music), *_slurs(music), *_shifts(music)):
        found.setdefault(name, []).append(onset)
    bars = arrangement.bars
    return tuple(
        TechniqueUse(
            name=name,
            times=len(found[name]),
            bars=tuple(dict.fromkeys(bars[bar_index_at(arrangement, at)].bar for at in onsets)),
        )
        for name, onsets in ((name, found.get(name, [])) for name in ORDER)
        if onsets
    )


def _held(music: Hearing) -> Iterator[tuple[str, Beat]]:
    """Barres and thumbs, each when it is put down."""
    before: set[tuple[str, str, int]] = set()
    for moment in music.moments:
        now = {
            (_hold_name(hold), hold.finger, hold.fret)
            for hold in holds(music.grip(moment))
            if hold.is_barre or hold.finger == "T"
        }
        yield from ((name, moment.onset) for name, _, _ in sorted(now - before))
        before = now


def _hold_name(hold: Hold) -> str:
    if hold.finger == "T":
        return "thumb over the neck"
    if hold.finger != "1":
        return "small barre by a finger other than the first"
    return "full barre" if hold.width > hand().half_barre_strings else "half barre"


def _slurs(music: Hearing) -> Iterator[tuple[str, Beat]]:
    for moment in music.moments:
        struck = [music.notes[index] for index in moment.struck]
        thumb = any(note.right == "p" and note.slur is None for note in struck)
        for note in struck:
            if note.slur is not None:
                yield note.slur, note.onset
                if thumb:
                    yield "slur under a thumb note", note.onset


def _shifts(music: Hearing) -> Iterator[tuple[str, Beat]]:
    yield from (("shift of position", shift.onset) for shift in shifts(music))
