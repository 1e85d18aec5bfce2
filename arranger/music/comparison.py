"""One piece arranged several times, side by side: levels, or players, or both."""

from __future__ import annotations

from dataclasses import dataclass

from arranger.music.arrangement import Arrangement
from arranger.music.verdict import Fidelity, Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class TechniqueUse:
    """A technique of the hands in words, how often, and in which bars (printed numbers)."""

    name: str
    times: int
    bars: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Version:
    """The piece at one level for one player, as judged."""

    arrangement: Arrangement
    verdict: Verdict
    techniques: tuple[TechniqueUse, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """Why the piece does not suit a level, and the bars (printed numbers) that do not fit."""

    why: str
    bars: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One side of a comparison; ``name`` heads it: a level, a player, or both."""

    name: str
    outcome: Version | Refusal

    @property
    def version(self) -> Version | None:
        """The version, or None where the piece was refused."""
        return self.outcome if isinstance(self.outcome, Version) else None


@dataclass(frozen=True, slots=True, kw_only=True)
class CurvePoint:
    """The richest arrangement found that scores at most ``limit``.

    ``level`` is the one whose limits it keeps, ``score`` its own, ``richness`` the share of
    the piece that it keeps.
    """

    limit: float
    level: str
    score: float
    richness: float
    fidelity: Fidelity


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """The columns in the order asked for, from one reading of the piece.

    ``curve``: what can be kept at difficulties of 10 to 90 in tens, those left out for which
    nothing was found; ``front``: every arrangement found that keeps more than all easier
    ones, the easiest first. Both are empty where the curve was not asked for.
    """

    title: str
    composer: str
    columns: tuple[Column, ...]
    curve: tuple[CurvePoint, ...] = ()
    front: tuple[CurvePoint, ...] = ()
