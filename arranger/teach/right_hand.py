"""The right hand alone: the pattern of the piece on open strings."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from arranger.music.lesson import LessonStep
from arranger.music.time import Beat
from arranger.teach.bars import TabBar, counted

Pattern = tuple[tuple[Beat, str], ...]
"""When (in counted beats from the start of the bar) which fingers pluck, p first."""


def pattern_of(bar: TabBar) -> Pattern:
    """What the right hand does in a bar; slurred notes are not plucked."""
    strokes: dict[Beat, set[str]] = {}
    for note in bar.notes:
        if note.slur is None:
            at = bar.count(note.onset - bar.bar.start)
            strokes.setdefault(at, set()).add(note.right)
    return tuple(
        (at, "".join(finger for finger in "pima" if finger in fingers))
        for at, fingers in sorted(strokes.items())
    )


def right_hand_step(bars: Sequence[TabBar]) -> list[LessonStep]:
    """The pattern that most bars share (of equals the first), to play on open strings."""
    patterns = [pattern_of(bar) for bar in bars]
    counts = Counter(
        pattern for pattern in patterns if "p" in {f for _, f in pattern for f in f}
    )
    if not counts:
        return []
    best = max(counts, key=lambda pattern: counts[pattern])  # the first of equals
    first = bars[patterns.index(best)]
    played = sum(1 for bar in bars if bar.tab)
    thumb = [n.string for n in first.notes if n.right == "p" and n.slur is None]
    text = (
        f"Left hand at rest. {_thumb_in_words(thumb)}, first by itself; then i, m and a on "
        f"strings 3, 2 and 1 with it. Count and pluck: {_strokes_in_words(best)}. Round and "
        "round, until it runs by itself."
    )
    if counts[best] > 1:
        text += f" {counts[best]} of {played} bars go like this."
    title = f"The right hand of bar {first.number} alone, on open strings"
    return [LessonStep(kind="right-hand", title=title, text=text, bars=(first.number,))]


def _thumb_in_words(strings: Sequence[int]) -> str:
    if len(set(strings)) == 1:
        return f"Thumb (p) on string {strings[0]}"
    return f"Thumb (p) on strings {', '.join(str(string) for string in strings)}"


def _strokes_in_words(pattern: Pattern) -> str:
    """``1 p+m, 1& i, 2 p``."""
    return ", ".join(f"{counted(at)} {'+'.join(fingers)}" for at, fingers in pattern)
