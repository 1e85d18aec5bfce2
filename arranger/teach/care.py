"""Care for the hands, with its sources."""

from __future__ import annotations

from arranger.music.lesson import LessonStep
from arranger.tables.teaching import Care


def care_step(care: Care) -> LessonStep:
    """Warm up, rest, stop at pain.

    Sources: BAPAM guidance (breaks, increase of practice, pain); Marreiro dos Santos and
    Minghelli 2024, n = 105 guitarists (no warm-up is a risk factor).
    """
    text = (
        "Warm up with slow, easy notes: playing without is a known risk (Marreiro dos Santos "
        f"and Minghelli 2024). Rest {care.break_minutes} minutes in every "
        f"{care.every_minutes}; add at most {care.more_minutes} minutes a day; never play in "
        "pain (BAPAM guidance). Stop when it hurts, and if it stays, ask your teacher or a "
        "clinician."
    )
    return LessonStep(kind="care", title="Before you play", text=text)
