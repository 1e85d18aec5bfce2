"""From the notes of a score to the lattice of its fingerings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from arranger.music.written_note import WrittenNote
from arranger.neck.chain import Chain
from arranger.neck.habits import Habits
from arranger.neck.holding import Holding, Reached, Stage, Unplayable, Widths
from arranger.neck.slurs_written import asked_slurs


@dataclass(frozen=True, eq=False)
class Lattice:
    """``chain`` has a stage an onset, scored; ``unplayable`` notes are in none of them."""

    chain: Chain
    unplayable: tuple[Unplayable, ...]

    @property
    def stages(self) -> tuple[Stage, ...]:
        return self.chain.stages


def lattice(
    notes: Sequence[WrittenNote],
    habits: Habits,
    widths: Widths,
    *,
    capo: int = 0,
    labels: Mapping[int, WrittenNote] | None = None,
) -> Lattice:
    """All grips worth a thought for ``notes`` (sorted by onset).

    ``labels`` are what an editor printed, by index: grips that do so are kept in the lattice
    beside the others.
    """
    slurs = asked_slurs(notes)
    holding = Holding(habits.features.hand, habits, widths, capo=capo, slurs=slurs)
    found: list[Reached] = []
    unplayable: list[Unplayable] = []
    for _, group in groupby(range(len(notes)), key=lambda index: notes[index].onset):
        struck, lost = playable(notes, list(group), holding)
        unplayable += lost
        if struck:
            found.append(holding.stage(notes, struck, found[-1] if found else None, labels))
    chain = Chain(
        stages=tuple(one.stage for one in found),
        own=tuple(one.own for one in found),
        moves=tuple(one.moves for one in found),
    )
    return Lattice(chain, tuple(unplayable))


def playable(
    notes: Sequence[WrittenNote], struck: list[int], holding: Holding
) -> tuple[list[int], list[Unplayable]]:
    """The notes of an onset that a hand can strike at once, and those that have to go.

    The fewest go, an inner note rather than the top or the bass, a short one rather than a
    long one.
    """
    gone = []
    for index in list(struck):
        if not len(holding.choices(notes[index])):
            low = notes[index].midi - holding.capo < min(holding.hand.neck.tuning)
            where = "below the lowest string" if low else "above the last fret of the hand"
            gone.append(Unplayable(index, f"it lies {where}"))
            struck.remove(index)
    while struck and not len(holding.grips([notes[index] for index in struck])):
        lost = _to_go(notes, struck, holding)
        struck.remove(lost)
        gone.append(Unplayable(lost, "no hand holds it together with the notes it begins with"))
    return struck, gone


def _to_go(notes: Sequence[WrittenNote], struck: Sequence[int], holding: Holding) -> int:
    """The note without which the others can be struck, if one is enough."""

    def dear(index: int) -> tuple[bool, int, float]:
        others = [notes[other] for other in struck if other != index]
        pitches = [notes[other].midi for other in struck]
        outer = {max(pitches): 2, min(pitches): 1}.get(notes[index].midi, 0)
        return not len(holding.grips(others)), outer, float(notes[index].length)

    return min(struck, key=dear)
