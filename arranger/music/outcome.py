"""What became of one piece at one level when a whole collection was arranged."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from arranger.music.verdict import Fidelity

Status = Literal["done", "refused", "unreadable", "crashed", "over limit", "blocked"]
"""``refused``: the piece does not suit the level; ``unreadable``: no music was found;
``crashed``: a fault of ours; ``over limit``: it took more time or memory than it was given;
``blocked``: files that are not ours lie where the results belong."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """One row of a collection's overview.

    ``piece`` is the file's path within the collection and ``folder`` that of its results
    within the results, both with ``/``; ``folder`` is empty where nothing was written.
    ``reason`` says why there is no result, ``unfit`` in which bars (printed numbers).
    ``key`` is the one the hand plays in, the piece's own where it was refused.
    ``difficulty`` is 0..100, ``gap`` the share by which the fingering may be dearer than the
    best. ``music`` is alike for the same notes, whatever their key, speed or name.
    """

    piece: str
    level: str
    status: Status
    reason: str = ""
    unfit: tuple[int, ...] = ()
    folder: str = ""
    title: str = ""
    composer: str = ""
    key: str = ""
    capo: int = 0
    bars: int = 0
    difficulty: float | None = None
    band: str = ""
    fidelity: Fidelity | None = None
    gap: float | None = None
    warnings: tuple[str, ...] = ()
    music: str = ""

    @property
    def done(self) -> bool:
        return self.status == "done"
