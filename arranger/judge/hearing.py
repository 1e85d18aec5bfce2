"""The arrangement as it sounds in time: which notes are held at every moment."""

from __future__ import annotations

from dataclasses import dataclass

from arranger.judge.grip import HandLimits, Press, limits_of
from arranger.music.arrangement import ArrangedBar, Arrangement, Placement
from arranger.music.moments import Moments
from arranger.music.once import once
from arranger.music.time import Beat
from arranger.tables import Level, Player


@dataclass(frozen=True, slots=True)
class Moment:
    """A point in time where something starts; both tuples index ``Arrangement.notes``."""

    onset: Beat
    sounding: tuple[int, ...]
    struck: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Hearing:
    """What the rules look at: the notes, who plays them, and what sounds when."""

    arrangement: Arrangement
    level: Level
    player: Player
    limits: HandLimits
    moments: tuple[Moment, ...]

    @property
    def notes(self) -> tuple[Placement, ...]:
        return self.arrangement.notes

    def grip(self, moment: Moment) -> list[Press]:
        """What the fretting hand holds at a moment."""
        held = (self.notes[index] for index in moment.sounding)
        return [Press(note.string, note.fret, note.left) for note in held]


@once
def moments(arrangement: Arrangement) -> tuple[Moment, ...]:
    """Every onset with the notes that sound there, those struck there among them.

    A note sounds over ``[onset, end)``; between two onsets notes only stop, so no more
    than this ever sounds at once.
    """
    order = sorted(range(len(arrangement.notes)), key=lambda i: arrangement.notes[i].onset)
    found: list[Moment] = []
    sounding: list[int] = []
    at = 0
    while at < len(order):
        onset = arrangement.notes[order[at]].onset
        struck: list[int] = []
        while at < len(order) and arrangement.notes[order[at]].onset == onset:
            struck.append(order[at])
            at += 1
        sounding = [i for i in sounding if arrangement.notes[i].end > onset] + struck
        found.append(Moment(onset, tuple(sounding), tuple(struck)))
    return tuple(found)


def hear(arrangement: Arrangement, level: Level, player: Player) -> Hearing:
    return Hearing(
        arrangement=arrangement,
        level=level,
        player=player,
        limits=limits_of(level, player, arrangement.capo),
        moments=moments(arrangement),
    )


def bar_index_at(arrangement: Arrangement, onset: Beat) -> int:
    """Index of the bar that holds ``onset``; before or after the piece its first or last."""
    return max(0, _starts(arrangement.bars).until(onset) - 1)


@once
def _starts(bars: tuple[ArrangedBar, ...]) -> Moments:
    return Moments([bar.start for bar in bars])


def bar_at(arrangement: Arrangement, onset: Beat) -> ArrangedBar | None:
    """The bar that holds ``onset``, or None outside the piece."""
    if not arrangement.bars:
        return None
    bar = arrangement.bars[bar_index_at(arrangement, onset)]
    return bar if bar.start <= onset < bar.end else None
