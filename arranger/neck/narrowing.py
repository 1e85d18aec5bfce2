"""A lower bound on every folded solution, over fewer and fewer grips.

What a folded solution through a grip costs at least tells which grips cannot belong to
anything better than the best known (fixing by reduced cost). A few thousand of them become a
few hundred, over which the prices of shapes are soon at their best, and the shapes in doubt
few. What is left is parted by these.
"""

from __future__ import annotations

from dataclasses import dataclass

from arranger.neck.best_known import BestKnown
from arranger.neck.folding import Folded, Rows
from arranger.neck.shape_branches import Parting, ShapeBranches


@dataclass(frozen=True, slots=True)
class Narrowing:
    """How hard to try: ``rounds`` of pricing shapes before each time that rows are left out,
    after so many turns ``before``. A graph is made anew where less than the share ``shrunk``
    of its rows is left. ``width`` is in tenths; ``parting`` is for what is left.
    """

    before: int
    rounds: tuple[int, ...]
    shrunk: float
    width: int
    parting: Parting


def lower_bound(best: BestKnown, rows: Rows, effort: Narrowing) -> tuple[int, bool]:
    """Tenths that no solution over ``rows`` can go below, at most what the best known costs,
    and whether elimination was exact over the rows that were left in the end.

    Better solutions are offered on the way.
    """
    folded: Folded | None = None
    turn = effort.before
    for rounds in effort.rounds:
        if not _lead_on(rows):
            return best.objective, True
        if folded is None or _count(rows) < effort.shrunk * _count(folded.rows):
            folded = Folded(best.net, rows, best.priced.priced_in(rows))
        rows, bound = _narrowed(folded, best, range(turn, turn + rounds), effort.width)
        if not folded.exact and _count(rows) >= effort.shrunk * _count(folded.rows):
            return min(best.objective, bound), False
        turn += rounds
    if not _lead_on(rows):
        return best.objective, True
    objective = best.objective
    last = Folded(best.net, rows, best.priced.priced_in(rows))
    branches = ShapeBranches(last, best.budget, best.priced, effort.parting)
    found, exact = branches.bound(objective, best.offer)
    return min(objective, found), exact


def _narrowed(folded: Folded, best: BestKnown, turns: range, width: int) -> tuple[Rows, int]:
    """The rows that could belong to something better than the best known, and the bound on
    what does. In ``turns`` the prices of shapes come nearer to their use.
    """
    priced = best.priced
    highest, kept = best.price_shapes(folded, turns)
    priced.restore(kept)
    marginals = folded.marginals(priced.by_row())
    if not folded.exact:
        best.offer_near(folded, marginals, width)
    most = best.objective - priced.slack()
    rows = {place: keep[marginals[place] < most] for place, keep in folded.rows.items()}
    return rows, highest


def _lead_on(rows: Rows) -> bool:
    """Whether any row is left at every place."""
    return all(len(keep) for keep in rows.values())


def _count(rows: Rows) -> int:
    return sum(len(keep) for keep in rows.values())
