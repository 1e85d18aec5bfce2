"""What a teacher may ask for beside the usual documents."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Extras:
    """``tab_only``: sheets without notation; ``spoken``: every bar in words, as text.

    ``wave``: the practice file as sound; ``tempos``: practice files slow and at the target
    as well.
    """

    tab_only: bool = False
    spoken: bool = False
    wave: bool = False
    tempos: bool = False


NO_EXTRAS = Extras()
