"""What stands before and after the tab as text: what to know, and what to practise."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from textwrap import wrap

from arranger.music.arrangement import Arrangement
from arranger.music.lesson import Lesson, LessonStep
from arranger.music.pitch import note_name
from arranger.music.repeats import printed_numbers
from arranger.music.time import Beat
from arranger.music.verdict import Verdict
from arranger.render.diagrams import shape_line
from arranger.render.note_values import NoteValue, plain_value
from arranger.render.plain_text import one_line
from arranger.render.written import thumb_beat
from arranger.tables.teaching import teaching

_WIDTH = 80
_BARS = re.compile(r"\bbars? \d+(?:, \d+)*(?: and \d+)?")
_LABEL = 12

_NOTHING_MUCH = "nothing in it asks much of the hands at this tempo"

_KEY_TO_ROWS = (
    "Six lines are the strings, string 1 on top; numbers are frets, 0 is open. Over the tab: "
    "left fingers (1 index to 4 little, T thumb) of the notes that i m a play. Under it: right "
    "hand, i index, m middle, a ring, p thumb, then the left fingers of the thumb's notes, "
    "then the count. h hammer-on, p pull-off, / \\ slide; C barre, ½C over part of the strings."
)

_COPYRIGHT = "Copyright differs by country: check that the piece is free where you are."
CAUTION = (
    "Warm up, rest often, and stop when anything hurts; if pain stays, ask your teacher or a "
    f"clinician. {_COPYRIGHT}"
)
"""What stands at the end of a page without a lesson."""


def caution(lesson: Lesson) -> str:
    """The caution under a lesson: care for the hands only where none of its steps is that."""
    cared_for = any(step.kind == "care" for step in lesson.steps)
    return _COPYRIGHT if cared_for else CAUTION


def head(arrangement: Arrangement, verdict: Verdict) -> str:
    """Title, key, tempo, difficulty, decisions and chord shapes."""
    lines = wrap(one_line(arrangement.title).upper() or "UNTITLED", _WIDTH)
    lines += [*wrap(one_line(arrangement.composer), _WIDTH), ""]
    for label, text in _facts(arrangement, verdict):
        lines += _labelled(label, text)
    for label, said in (
        ("Decided", decision_lines(arrangement)),
        ("The file", warning_lines(arrangement)),
    ):
        for index, text in enumerate(said):
            lines += _labelled("" if index else label, text)
    lines += _shapes(arrangement)
    lines += ["", *wrap(_KEY_TO_ROWS, _WIDTH)]
    return "\n".join(lines)


def decision_lines(arrangement: Arrangement) -> list[str]:
    """What was decided, each with the option that changes it."""
    return [
        one_line(f"{decision.text} — to change: {decision.option}")
        for decision in arrangement.decisions
    ]


def loose_text(arrangement: Arrangement, *, printed: bool) -> str:
    """Which chord names have no diagram of their own, and why; empty where all have one.

    ``printed``: the names of chords that no shape is held for stand in italics.
    """
    shapes = arrangement.shapes
    if not shapes:
        return ""
    held = {
        (mark.name, shapes[mark.shape].name)
        for mark in arrangement.chords
        if mark.shape is not None
    }
    loose = dict.fromkeys(mark.name for mark in arrangement.chords if mark.shape is None)
    said = []
    if loose and printed:
        said.append("Chord names in italics: no shape is held.")
    elif loose:
        at = {name for name, _ in held}
        names = [f"{name} (at times)" if name in at else name for name in loose]
        said.append(f"No shape is held at {_and(names)}: each note has its own finger.")
    under = [f"{name} like {shape}" for name, shape in sorted(held) if _base(name) != shape]
    if under:
        said.append(f"{_and(under)}.".replace(" like ", " is held like ", 1))
    return " ".join(said)


def _base(name: str) -> str:
    """A chord's name without its bass."""
    return name.partition("/")[0]


def _and(names: Sequence[str]) -> str:
    return " and ".join([", ".join(names[:-1]), names[-1]] if names[:-1] else names)


def warning_lines(arrangement: Arrangement) -> list[str]:
    """What was noticed in the source, each with its bar."""
    return [
        one_line(
            f"bar {warning.bar}: {warning.text}" if warning.bar is not None else warning.text
        )
        for warning in arrangement.warnings
    ]


def as_printed(arrangement: Arrangement, lines: Iterable[str]) -> list[str]:
    """Lines that name bars as they are played, with the numbers that a folded sheet prints.

    A bar that a repeat sign brings has the number of its first pass.
    """
    printed = printed_numbers(arrangement)

    def on_the_sheet(found: re.Match[str]) -> str:
        played = [int(number) for number in re.findall(r"\d+", found[0])]
        return bar_list(sorted({printed.get(bar, bar) for bar in played}))

    return [_BARS.sub(on_the_sheet, line) for line in lines]


def hardest_lines(arrangement: Arrangement, verdict: Verdict) -> list[str]:
    """What a teacher would name, the largest share first; a bar by its first number.

    Where nothing in the piece is much, one line says so.
    """
    reasons = verdict.difficulty.told[: teaching().reasons_named]
    if verdict.difficulty.reasons and not reasons:
        return [_NOTHING_MUCH]
    printed = printed_numbers(arrangement)
    return [
        one_line(f"{bar_list([printed.get(reason.bar, reason.bar)])}: {reason.what}")
        for reason in reasons
    ]


def sentence(line: str) -> str:
    """The line with a capital at its beginning and a full stop at its end."""
    return f"{line[:1].upper()}{line[1:]}{'' if line.endswith('.') else '.'}"


def _facts(arrangement: Arrangement, verdict: Verdict) -> Iterable[tuple[str, str]]:
    yield "Level", f"{arrangement.level} · difficulty {difficulty_text(verdict)}"
    yield "Key", key_text(arrangement)
    yield "Tuning", tuning_text(arrangement.tuning)
    yield "Tempo", tempo_text(arrangement)
    if arrangement.swing != 1.0:
        yield "Swing", swing_text(arrangement.swing)
    if arrangement.written_scale != 1:
        yield (
            "Written",
            f"in note values {arrangement.written_scale} times as long as the source",
        )
    yield "Melody", melody_text(arrangement, verdict)


def difficulty_text(verdict: Verdict) -> str:
    """``32 of 100 (beginner)``."""
    return f"{verdict.difficulty.score:.0f} of 100 ({verdict.difficulty.band})"


def key_text(arrangement: Arrangement) -> str:
    """``G major, capo at fret 2 (sounds in A major)``."""
    if arrangement.capo == 0:
        return f"{arrangement.key.name} · no capo"
    sounds = arrangement.key.transposed(arrangement.capo).name
    return f"{arrangement.key.name} · capo at fret {arrangement.capo}, sounds in {sounds}"


def tuning_text(tuning: Sequence[int]) -> str:
    """The open strings from string 6 to string 1."""
    names = " ".join(note_name(midi, octave=False) for midi in reversed(tuning))
    return f"{names} (strings 6 to 1)"


def tempo_text(arrangement: Arrangement) -> str:
    """Student's and target tempo in the written value that the thumb plays."""
    unit, student, target = tempo_marks(arrangement)
    return f"student: {unit} = {student} · target: {unit} = {target}"


def tempo_marks(arrangement: Arrangement) -> tuple[str, int, int]:
    """The written note value of the thumb's beat, and how many of it fill a minute."""
    value, student, target = tempo_values(arrangement)
    return value.spoken, student, target


def tempo_values(arrangement: Arrangement) -> tuple[NoteValue, int, int]:
    """The thumb's beat as a note value, and how many of it fill a minute: now, and later."""
    beat = thumb_beat(arrangement) * arrangement.written_scale
    value = plain_value(beat)
    if value is None:
        beat, value = Beat(1), NoteValue(length=Beat(1), type="quarter")
    scale = Beat(arrangement.written_scale) / beat
    return (
        value,
        round(arrangement.student_tempo * scale),
        round(arrangement.target_tempo * scale),
    )


def swing_text(swing: float) -> str:
    return f"pairs of eighths long-short, about {swing:.1f} to 1"


def melody_text(arrangement: Arrangement, verdict: Verdict) -> str:
    """``98 % of its notes are kept; 2 are left out, in bars 3–4``."""
    text = f"{percent(verdict.fidelity.melody_kept)} of its notes are kept"
    if not arrangement.dropped:
        return text
    starts = [bar.start for bar in arrangement.bars]
    bars = {
        arrangement.bars[max(0, bisect_right(starts, note.onset) - 1)].bar
        for note in arrangement.dropped
    }
    lost = len(arrangement.dropped)
    are = "one is" if lost == 1 else f"{lost} are"
    printed = printed_numbers(arrangement)
    return f"{text}; {are} left out, in {bar_list(sorted({printed[bar] for bar in bars}))}"


def bar_list(bars: Sequence[int]) -> str:
    """``bar 3``, ``the pick-up and bars 1, 3–5 and 9``: runs drawn together."""
    numbers = [bar for bar in bars if bar]
    runs: list[list[int]] = []
    for bar in numbers:
        if runs and bar == runs[-1][-1] + 1:
            runs[-1].append(bar)
        else:
            runs.append([bar])
    names = [str(run[0]) if len(run) == 1 else f"{run[0]}–{run[-1]}" for run in runs]
    lead = ["the pick-up"] if len(numbers) < len(bars) else []
    if names:
        names[0] = f"{'bar' if len(numbers) == 1 else 'bars'} {names[0]}"
    return _and([*lead, *names])


def percent(share: float) -> str:
    return f"{round(100 * share)} %"


def _shapes(arrangement: Arrangement) -> list[str]:
    if not arrangement.shapes:
        return []
    width = max(len(shape.name) for shape in arrangement.shapes)
    lines = ["", "Chord shapes, string 6 to string 1: frets, then left fingers"]
    lines += [f"  {shape_line(shape, width=width)}" for shape in arrangement.shapes]
    return lines + wrap(loose_text(arrangement, printed=False), _WIDTH)


def foot(arrangement: Arrangement, verdict: Verdict, lesson: Lesson) -> str:
    """The hardest places, the lesson, and the cautions."""
    lines: list[str] = []
    hardest = hardest_lines(arrangement, verdict)
    if hardest:
        lines += ["Hardest places", *(part for line in hardest for part in _item(line)), ""]
    if lesson.steps:
        lines.append("What to practise, in order")
        for number, step in enumerate(lesson.steps, start=1):
            lines += _step(number, step)
        lines.append("")
    return "\n".join([*lines, *wrap(caution(lesson), _WIDTH)])


def _step(number: int, step: LessonStep) -> list[str]:
    opening = f"{number:>3}. "
    text = f"{step.title}. {step.text}" if step.text else step.title
    return wrap(
        one_line(text), _WIDTH, initial_indent=opening, subsequent_indent=" " * len(opening)
    )


def _item(text: str) -> list[str]:
    return wrap(text, _WIDTH, initial_indent="  ", subsequent_indent="    ")


def _labelled(label: str, text: str) -> list[str]:
    return wrap(
        one_line(text),
        _WIDTH,
        initial_indent=f"{label:<{_LABEL}}",
        subsequent_indent=" " * _LABEL,
    )
