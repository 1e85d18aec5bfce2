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
        "Warm up with slow, easy notes: guitarists who do not are hurt more often (Marreiro "
        f"dos Santos and Minghelli 2024). Rest {care.break_minutes} minutes in every "
        f"{care.every_minutes}, and practise at most {care.more_minutes} minutes more than the "
        "day before (BAPAM guidance). Pain means stop; if it stays, ask your teacher or a "
        "clinician."
    )
    return LessonStep(kind="care", title="Take care of your hands", text=text)
