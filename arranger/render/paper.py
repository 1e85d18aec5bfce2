"""What the printed sheet is printed on, and how large."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from arranger.music.errors import UsageError

_SMALLEST, _LARGEST = 0.7, 2.5
_WIDTH = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """``size`` of the sheet; ``scale`` 1 is ordinary print, 1.5 large print."""

    size: Literal["a4", "letter"] = "a4"
    scale: float = 1.0

    def __post_init__(self) -> None:
        if not _SMALLEST <= self.scale <= _LARGEST:
            raise UsageError(
                f"a scale of {self.scale:g} leaves nothing to read",
                next_step=f"Choose {_SMALLEST:g} to {_LARGEST:g}; 1 is ordinary print.",
            )

    @property
    def millimetres(self) -> tuple[float, float]:
        """Width and height of a sheet (ISO 216 A4; ANSI letter, 8.5 × 11 inches)."""
        return {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}[self.size]

    @property
    def system_width(self) -> int:
        """Width of a system in units of the engraver: the larger the print, the fewer fit."""
        return round(_WIDTH / self.scale)
