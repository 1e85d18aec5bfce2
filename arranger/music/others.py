"""Other ways to play a bar."""

from __future__ import annotations

from dataclasses import dataclass

from arranger.music.arrangement import Placement
from arranger.music.marks import BarMark, NoteMark


@dataclass(frozen=True, slots=True, kw_only=True)
class BarAlternative:
    """A clearly different way to play a bar (a printed number).

    ``points``: what it costs more than the way chosen, for this student; of these
    ``holding`` for its grips and ``moving`` for the ways between them (and new shapes).
    ``reason`` says in words how it differs. ``notes`` are those of the bar. ``note_marks``
    and ``bar_mark`` are the teacher's marks that choose it.
    """

    bar: int
    points: float
    holding: float
    moving: float
    reason: str
    notes: tuple[Placement, ...]
    note_marks: tuple[NoteMark, ...]
    bar_mark: BarMark | None
