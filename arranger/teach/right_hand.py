"""The right hand alone: the pattern of the piece on open strings."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass

from arranger.music.lesson import LessonStep
from arranger.music.time import Beat
from arranger.tables.teaching import Teaching
from arranger.teach.bars import TabBar, counted, full_bars, in_words, listed

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


def rhythm_of(pattern: Pattern) -> Hashable:
    """When the thumb plucks in a bar, and when the fingers, whichever they are."""
    return tuple((at, "p" in hand, hand != "p") for at, hand in pattern)


def thumb_of(pattern: Pattern) -> tuple[Beat, ...]:
    """When the thumb plucks in a bar."""
    return tuple(at for at, hand in pattern if "p" in hand)


@dataclass(frozen=True, slots=True)
class Model:
    """A bar that shows what most bars do, and in how many of the full bars it is so."""

    bar: TabBar
    count: int
    of: int


def most_like(
    bars: Sequence[tuple[TabBar, Pattern]], view: Callable[[Pattern], Hashable]
) -> Model | None:
    """The first of the bars that are most alike in one view, among those with a thumb."""
    seen = Counter(view(pattern) for _, pattern in bars if thumb_of(pattern))
    if not seen:
        return None
    best = max(seen, key=lambda one: seen[one])  # the first of equals
    first = next(bar for bar, pattern in bars if view(pattern) == best)
    return Model(first, seen[best], len(bars))


def right_hand_step(
    bars: Sequence[TabBar], table: Teaching, *, leads: bool
) -> list[LessonStep]:
    """What the right hand does in most bars, to play on open strings.

    Its pattern where a good part of the piece is plucked by it, else the rhythm that most
    bars share, else the thumb alone. ``leads``: no pair of bars was told to be learnt first.
    """
    first = "No two bars make up much of this piece; begin with the right hand. "
    lead = first if leads else ""
    full = [(bar, pattern_of(bar)) for bar in full_bars(bars)]
    pattern = most_like(full, lambda known: known)
    rhythm = most_like(full, rhythm_of)
    thumb = most_like(full, thumb_of)
    if pattern is None or rhythm is None or thumb is None:
        return []
    if _much(pattern, table):
        said = f"{lead}{pattern.count} of {pattern.of} bars are plucked like this. "
        said = said if pattern.of > 1 else ""
        return [_step(pattern.bar, said + _with_fingers(pattern.bar, table))]
    if _much(rhythm, table):
        said = (
            f"{lead}{rhythm.count} of {rhythm.of} bars have this rhythm, often with other "
            "fingers or strings. "
        )
        return [_step(rhythm.bar, said + _with_fingers(rhythm.bar, table))]
    beats = listed([counted(at) for at in thumb_of(pattern_of(thumb.bar))])
    said = f"{lead}In {thumb.count} of {thumb.of} bars the thumb plucks on {beats}. "
    how = (
        f"{_thumb_in_words(thumb.bar)}, as here. Tap your foot with it and go on until you can "
        "talk over it: when the tune comes, the thumb has to go by itself."
    )
    return [_step(thumb.bar, said + how, "The thumb")]


def _much(model: Model, table: Teaching) -> bool:
    """Whether a bar stands for a good part of the piece, and not for itself among others."""
    return model.count >= table.lead_share * model.of and (model.count > 1 or model.of == 1)


def _step(bar: TabBar, text: str, who: str = "The right hand") -> LessonStep:
    return LessonStep(
        kind="right-hand",
        title=f"{who} of {in_words([bar])} alone, on open strings",
        text=text,
        bars=(bar.printed,),
    )


def _with_fingers(bar: TabBar, table: Teaching) -> str:
    """How to practise a bar's pattern: the thumb, then the fingers that have a part in it."""
    used = [finger for finger in "ima" if any(finger in hand for _, hand in pattern_of(bar))]
    text = f"{_thumb_in_words(bar)}, until it is even"
    if used:
        where = "string" if len(used) == 1 else "strings"
        strings = table.open_strings.model_dump()
        waiting = listed([str(strings[finger]) for finger in used])
        text += f"; then add {listed(used)} on {where} {waiting}"
    return (
        f"{text}. Count aloud and pluck: {_strokes(bar)}. Round and round, until you can "
        "talk while it goes on."
    )


def _thumb_in_words(bar: TabBar) -> str:
    """``The left hand rests. The thumb (p) alone on strings 6, 4``."""
    strings = [note.string for note in bar.notes if note.right == "p" and note.slur is None]
    one = len(set(strings)) == 1
    named = f"string {strings[0]}" if one else f"strings {', '.join(map(str, strings))}"
    return f"The left hand rests. The thumb (p) alone on {named}"


def _strokes(bar: TabBar) -> str:
    """``1 p+m, 1& i, 2 p``."""
    return ", ".join(f"{counted(at)} {'+'.join(hand)}" for at, hand in pattern_of(bar))
