"""What playing asks of the student, priced: the harder is left out where the music allows it.

The judge's difficulty of a whole piece has averages, logarithms and a maximum; a sum over
moments and moves stands for it here, with slopes of its own (``tables/burden.toml``). Its
price is a Lagrangian multiplier (Everett 1963): with the price at which a piece is as easy as
it has to be, what is found keeps the most of the music for that much.

Every different place on the neck is learnt once, which no sum over notes can tell. A place is
therefore paid for by each note on it, the less the more often an earlier arrangement plays
there (majorisation of a concave cost; Candès, Wakin and Boyd 2008). Shapes are not priced:
the hand would play the same notes without naming a shape, and there would be no less to learn.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from math import log

from arranger.music.arrangement import Arrangement
from arranger.music.reduction import Reduction
from arranger.neck.fretboard import Spot
from arranger.neck.grips import tenths
from arranger.tables.burden import burden_table
from arranger.tables.fingering import HoldCosts, MoveCosts


@dataclass(frozen=True, slots=True)
class Priced:
    """``price``: points a unit of load; ``like``: the arrangement found without a price."""

    price: float
    like: Arrangement


@dataclass(frozen=True, slots=True)
class Burden:
    """Tenths for what is plucked, and factors on what holding and moving cost anyway.

    ``strike``: a moment at which something is plucked; ``note``: a note begun; ``place``: more
    for a note on a place that is seldom used; ``elsewhere``: on one that never is.
    """

    strike: int = 0
    note: int = 0
    place: Mapping[tuple[int, int], int] = field(default_factory=dict)
    elsewhere: int = 0
    held: float = 1.0
    moved: float = 1.0

    def begun(self, spot: Spot) -> int:
        """Tenths for a note that begins on ``spot``."""
        if not spot.fret:
            return self.note
        return self.note + self.place.get((spot.string, spot.fret), self.elsewhere)

    def hold(self, costs: HoldCosts) -> HoldCosts:
        """What holding costs, with its share of the burden."""
        return costs.model_copy(
            update={
                name: value * self.held
                for name, value in costs.model_dump().items()
                if name not in (*SHAPED, *POWERS)
            }
        )

    def moves(self, costs: MoveCosts) -> MoveCosts:
        """What moving costs, with its share of the burden."""
        return costs.model_copy(
            update={name: getattr(costs, name) * self.moved for name in MOVES}
        )


MOVES = ("place", "guide", "hop", "legato_hop", "legato_slide", "shift", "shift_fret")
"""The move costs that are points; the others are factors and times."""
SHAPED = ("not_in_shape", "melody_roams")
"""The hold costs that tell how far a note lies from the shape: no work of the hand."""
POWERS = ("stretch_power", "far_power")
"""The hold costs that are exponents, no points."""
NO_BURDEN = Burden()


def burden_of(reduction: Reduction, priced: Priced | None) -> Burden:
    """The burden of a piece at a price; none without one."""
    if priced is None:
        return NO_BURDEN
    loads, price = burden_table().load, priced.price
    seconds = reduction.seconds(reduction.analysis.score.end)
    moments = max(1, len(reduction.slots))
    notes = priced.like.notes
    uses = Counter((note.string, note.fret) for note in notes if note.fret)
    length = loads.note / (log(2) * (loads.length_span + len(notes)))
    return Burden(
        strike=tenths(price * loads.strike / seconds),
        note=tenths(price * (length + loads.sound / moments)),
        place={spot: tenths(price * loads.place / count) for spot, count in uses.items()},
        elsewhere=tenths(price * loads.place),
        held=1.0 + price * loads.held / moments,
        moved=1.0 + price * loads.moved / seconds,
    )
