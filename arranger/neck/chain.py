"""The likeliest fingering of a lattice, and how likely every grip is.

Forward-backward and Viterbi over the stages (Rabiner 1989); scores are log-odds. All are
exact for the grips that the lattice holds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from arranger.neck.habits import Habits
from arranger.neck.holding import Scores, Stage, grip_scores, move_scores

Shares = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Chain:
    """``own[t]`` (grips,) and ``moves[t]`` (grips of t-1, grips of t; ``moves[0]`` unused)."""

    stages: tuple[Stage, ...]
    own: tuple[Scores, ...]
    moves: tuple[Scores, ...]


def chain(stages: Sequence[Stage], habits: Habits) -> Chain:
    own = tuple(grip_scores(stage, habits) for stage in stages)
    empty = np.zeros((0, 0), dtype=np.float32)
    moves = [move_scores(before, here, habits) for before, here in pairwise(stages)]
    return Chain(tuple(stages), own, (empty, *moves))


def best_path(own: Sequence[Scores], moves: Sequence[Scores]) -> tuple[list[int], float]:
    """The rows of the best path and its score; ties go to the first row."""
    score = own[0].astype(np.float64)
    back: list[NDArray[np.int64]] = []
    for here, move in zip(own[1:], moves[1:], strict=True):
        ways = score[:, None] + move
        came = ways.argmax(axis=0)
        back.append(came)
        score = ways[came, np.arange(len(here))] + here
    last = int(score.argmax())
    path = [last]
    for came in reversed(back):
        path.append(int(came[path[-1]]))
    return path[::-1], float(score[last])


@dataclass(frozen=True, eq=False)
class Field:
    """Scaled forward (alpha) and backward (beta) shares, and exp of moves and grips."""

    alpha: tuple[Shares, ...]
    beta: tuple[Shares, ...]
    own: tuple[Shares, ...]
    moves: tuple[Shares, ...]
    log_sum: float

    def shares(self, at: int) -> Shares:
        """(grips,) how likely each grip of a stage is."""
        found = self.alpha[at] * self.beta[at]
        return np.asarray(found / found.sum())

    def pair_shares(self, at: int) -> Shares:
        """(grips before, grips) how likely each move into stage ``at`` is."""
        found = self.alpha[at - 1][:, None] * self.moves[at]
        found = found * (self.own[at] * self.beta[at])[None, :]
        return np.asarray(found / found.sum())


def field(
    chained: Chain,
    masks: Sequence[NDArray[np.bool_] | None] | None = None,
    moves: Sequence[Shares] | None = None,
) -> Field:
    """Forward and backward over the chain.

    ``masks`` (a stage each) allow some grips alone; a mask that would leave nothing is
    passed over. ``moves`` are those of an earlier field, to save their exp.
    """
    if moves is None:
        moves = [np.exp(move.astype(np.float64)) for move in chained.moves]
    own: list[Shares] = []
    alpha: list[Shares] = []
    log_sum = 0.0
    goes_on = _goes_on(chained.own, moves)
    for at, scores in enumerate(chained.own):
        top = float(scores.max())
        here = np.exp(scores.astype(np.float64) - top) * goes_on[at]
        before = np.ones(len(here)) if at == 0 else alpha[-1] @ moves[at]
        mask = masks[at] if masks is not None else None
        if mask is not None and (before * here * mask).sum() > 0:
            here = here * mask
        reached = before * here
        size = reached.sum()
        own.append(here)
        alpha.append(reached / size)
        log_sum += top + float(np.log(size))
    beta = [np.ones(len(own[-1]))]
    for at in range(len(own) - 1, 0, -1):
        back = moves[at] @ (own[at] * beta[-1])
        beta.append(back / back.sum())
    return Field(tuple(alpha), tuple(beta[::-1]), tuple(own), tuple(moves), log_sum)


def _goes_on(own: Sequence[Scores], moves: Sequence[Shares]) -> list[NDArray[np.bool_]]:
    """Grips from which a way leads to the end."""
    alive = [np.ones(len(own[-1]), dtype=np.bool_)]
    for at in range(len(own) - 1, 0, -1):
        alive.append(moves[at] @ alive[-1].astype(np.float64) > 0)
    return alive[::-1]
