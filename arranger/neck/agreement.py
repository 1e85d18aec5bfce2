"""Equal bars brought to agree: a lower bound that knows that they are played alike.

The dynamic program over the piece as played lets equal bars differ. What a grip costs is
therefore shared among the occurrences of its bar. As long as the shares of a grip sum to
its cost, every folded solution keeps its cost, and the shortest path stays a lower bound
on it. The shares are moved until a grip is worth the same wherever its bar occurs; the
step grows while the bound rises, and is halved where it falls.

References
----------
Bounds from shared costs: Wainwright, Jaakkola and Willsky, *MAP estimation via agreement
on trees* (2005). Shares moved to even out min-marginals: Werner, *A linear programming
approach to max-sum problem: a review* (2007), there called diffusion.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from arranger.neck.dynamic import (
    Lattice,
    Place,
    Prices,
    costs_as_played,
    least_marginals,
    prices_as_played,
)
from arranger.neck.grips import IntArray

Shares = dict[Place, NDArray[np.float64]]
"""By (class, slot): occurrences x grips, in tenths; columns sum to zero."""

MOST_TOLD = 300.0
"""Tenths beyond the best path; a grip dearer than that tells no more."""
GROWS, SHRINKS = 1.2, 0.5
SMALLEST_STEP = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class Agreement:
    """A lower bound in tenths, and for every grip what a folded solution with it costs at
    least.
    """

    bound: int
    marginals: dict[Place, IntArray]


def agreement(net: Lattice, once: dict[Place, IntArray], *, goal: int, turns: int) -> Agreement:
    """The best bound within ``turns``, or the first that reaches ``goal`` tenths.

    The tenths of ``once`` are paid once a class.
    """
    costs = costs_as_played(net, once)
    times = _occurrences(net)
    shares: Shares = {
        (kind, slot): np.zeros((len(times[kind]), len(grips)))
        for kind, bar in enumerate(net.grips)
        for slot, grips in enumerate(bar)
    }
    step = 1.0
    best = prices_as_played(net, _shared(net, costs, shares, times))
    known = _Known(best.best, least_marginals(net, best))
    towards = _towards(net, best, times)
    for _ in range(turns):
        if known.bound >= goal or step < SMALLEST_STEP:
            break
        tried = {place: shares[place] + step * towards[place] for place in shares}
        found = prices_as_played(net, _shared(net, costs, tried, times))
        known.learn(found.best, least_marginals(net, found))
        if found.best > best.best:
            best, shares, step = found, tried, step * GROWS
            towards = _towards(net, best, times)
        else:
            step *= SHRINKS
    return Agreement(known.bound, known.marginals)


@dataclass(slots=True)
class _Known:
    """The best of several lower bounds, for the piece and for every grip."""

    bound: int
    marginals: dict[Place, IntArray]

    def learn(self, bound: int, marginals: dict[Place, IntArray]) -> None:
        self.bound = max(self.bound, bound)
        for place, costs in marginals.items():
            self.marginals[place] = np.maximum(self.marginals[place], costs)


def _occurrences(net: Lattice) -> list[list[int]]:
    """For every class the bars, as played, that belong to it."""
    times: list[list[int]] = [[] for _ in net.piece.classes]
    for bar, kind in enumerate(net.piece.order):
        times[kind].append(bar)
    return times


def _shared(
    net: Lattice, costs: list[list[IntArray]], shares: Shares, times: list[list[int]]
) -> list[list[IntArray]]:
    """Costs of every bar as played, moved by shares in whole tenths that sum to nothing."""
    played: list[list[IntArray]] = [[] for _ in net.piece.order]
    for kind, bar in enumerate(net.grips):
        for slot in range(len(bar)):
            whole = np.rint(shares[kind, slot]).astype(np.int32)
            whole[-1] = -whole[:-1].sum(axis=0)
            for row, place in enumerate(times[kind]):
                played[place].append(costs[place][slot] + whole[row])
    return played


def _towards(net: Lattice, found: Prices, times: list[list[int]]) -> Shares:
    """The moves that even out what a grip is worth in the bars of its class.

    Every slot of a bar moves its part, so that together they do not move too far.
    """
    moves: Shares = {}
    for kind, bar in enumerate(net.grips):
        for slot in range(len(bar)):
            worth = np.array([found.marginals(place, slot) for place in times[kind]])
            worth = np.minimum(worth - float(found.best), MOST_TOLD)
            moves[kind, slot] = (worth.mean(axis=0) - worth) / len(bar)
    return moves
