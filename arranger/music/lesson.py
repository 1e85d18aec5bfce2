"""What to practise, in order."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class LessonStep:
    """One thing to do. ``bars`` are printed numbers; ``tempo`` in source quarters a minute."""

    kind: str
    title: str
    text: str
    bars: tuple[int, ...] = ()
    shapes: tuple[int, ...] = ()
    tempo: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Lesson:
    steps: tuple[LessonStep, ...]
