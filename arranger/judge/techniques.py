"""Which techniques of the hands an arrangement uses, how often, and in which bars."""

from __future__ import annotations

from collections.abc import Iterator

from arranger.judge.grip import Hold, holds
from arranger.judge.hearing import Hearing, bar_index_at, hear
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
    yield from (("shift of position", onset) for onset, _, _ in shifts(music))


def shifts(music: Hearing) -> Iterator[tuple[Beat, int, int]]:
    """The fewest shifts that explain the fingers: onset, position before and after.

    A position is the fret at which the first finger lies or would lie. A finger may stretch
    one fret out of it to either side without moving the hand; a shift comes where no one
    position explains all that was fretted since the last. Leaving a note out never makes
    one more.
    """
    lowest, highest = -STRETCHED, _HIGHEST
    for onset, finger, fret in _fretted(music):
        natural = fret - finger + 1
        low, high = natural - STRETCHED, natural + STRETCHED
        if low <= highest and high >= lowest:
            lowest, highest = max(low, lowest), min(high, highest)
            continue
        before = highest if low > highest else lowest
        yield onset, max(1, before), max(1, natural)
        lowest, highest = low, high


STRETCHED = 1
"""Frets that a finger lies out of its own fret while the hand stays; common practice."""
_HIGHEST = 99


def _fretted(music: Hearing) -> Iterator[tuple[Beat, int, int]]:
    """Onset, finger 1 to 4, and fret of everything fretted, in order."""
    for moment in music.moments:
        for note in sorted(
            (music.notes[index] for index in moment.struck), key=lambda note: note.left
        ):
            if note.fret > 0 and note.left in "1234":
                yield moment.onset, int(note.left), note.fret
