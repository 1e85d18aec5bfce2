"""A note of a guitar score as it stands on the page, before strings and fingers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from arranger.music.time import Beat


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenNote:
    """``midi`` is what sounds.

    ``voice`` counts from 1 (stems up, the highest) as the page has it; 0 is unknown.
    ``string`` (1..6) and ``finger`` (0 open, 1..4, 5 the thumb) are pins, None where free.
    ``slur``: the page asks the left hand to sound it from the note that ends where it begins,
    hammered or pulled ("slur") or with the finger gliding along ("slide").
    ``source`` holds indices of the notes it was read from.
    """

    onset: Beat
    length: Beat
    midi: int
    voice: int = 0
    string: int | None = None
    finger: int | None = None
    slur: Literal["slur", "slide"] | None = None
    source: tuple[int, ...] = ()

    @property
    def end(self) -> Beat:
        return self.onset + self.length
