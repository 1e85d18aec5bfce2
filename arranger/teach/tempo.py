"""The tempo ladder, and how the piece ends."""

from __future__ import annotations

from collections.abc import Sequence

from arranger.music.arrangement import Arrangement
from arranger.music.lesson import LessonStep
from arranger.music.time import Beat
from arranger.tables.teaching import Teaching
from arranger.teach.bars import TabBar, in_words, printed_once

_CLICKS = {
    Beat(1): "on every beat",
    Beat(2): "twice to a beat",
    Beat(3): "three times to a beat",
    Beat(1, 2): "on every second beat",
    Beat(1, 3): "on every third beat",
}


def rungs(arrangement: Arrangement, table: Teaching) -> list[float]:
    """Tempos from a clean start over the student's tempo to the target, rising.

    In source quarters a minute. The student's tempo is always a rung; so is the target
    where it is faster.
    """
    found = _climb(
        arrangement.student_tempo * table.ladder_start, arrangement.student_tempo, table
    )
    if arrangement.target_tempo > arrangement.student_tempo:
        found += _climb(arrangement.student_tempo, arrangement.target_tempo, table)[1:]
    return found


def _climb(low: float, high: float, table: Teaching) -> list[float]:
    """From ``low`` to ``high`` in even ratios no larger than the table's."""
    count = 1
    while low * table.ladder_ratio**count < high:
        count += 1
    ratio = (high / low) ** (1 / count)
    return [low * ratio**rung for rung in range(count)] + [high]


def ladder_step(arrangement: Arrangement, table: Teaching) -> list[LessonStep]:
    """From slow to fast, one rung at a time, only when it is clean."""
    if not arrangement.notes:
        return []
    beat = thumb_beat(arrangement)
    tempos = rungs(arrangement, table)
    clicks = _clicks(arrangement, tempos, table)
    said = _CLICKS[clicks]
    ladder = " – ".join(str(c) for c in dict.fromkeys(_marks(tempos, beat / clicks)))
    ends = arrangement.student_tempo, arrangement.target_tempo
    student, target = _marks(ends, beat / clicks)
    now, later = (
        f"{mark} ({over} over the music)" if clicks != 1 else str(mark)
        for mark, over in zip((student, target), _marks(ends, beat), strict=True)
    )
    passes = {
        1: "one clean pass",
        2: "two clean passes in a row",
        3: "three clean passes in a row",
    }
    text = (
        f"Set the metronome to click {said} of the thumb: {ladder}. One rung up after "
        f"{passes.get(table.clean_passes, f'{table.clean_passes} clean passes in a row')}, one "
        f"down after two faulty ones. {now} is your goal for now"
    )
    text += f", {later} the tempo of the piece. " if target > student else ". "
    text += (
        "What counts is how many passes are right, not how long you practise "
        "(Duke et al. 2009)."
    )
    start = round(tempos[0], 1)
    return [LessonStep(kind="ladder", title="The tempo ladder", text=text, tempo=start)]


def _clicks(arrangement: Arrangement, tempos: Sequence[float], table: Teaching) -> Beat:
    """Clicks to a beat of the thumb: one, or as many as a metronome can make of it."""
    beat = thumb_beat(arrangement)
    if tempos[0] / float(beat) < table.metronome_slowest:
        return Beat(3 if beat.numerator == 3 else 2)
    if tempos[-1] / float(beat) > table.metronome_fastest:
        beats = max(bar.length for bar in arrangement.bars) / beat
        for group in (2, 3):
            if beats % group == 0 and tempos[0] / float(group * beat) > table.metronome_slowest:
                return Beat(1, group)
    return Beat(1)


def _marks(tempos: Sequence[float], click: Beat) -> list[int]:
    """Source quarters a minute as marks of a metronome that sounds every ``click``."""
    return [round(tempo / float(click)) for tempo in tempos]


def thumb_beat(arrangement: Arrangement) -> Beat:
    """The thumb beat that fills most of the piece, in source quarters."""
    time: dict[Beat, Beat] = {}
    for bar in arrangement.bars:
        time[bar.beat] = time.get(bar.beat, Beat(0)) + bar.length
    return max(time, key=lambda beat: time[beat])


def closing_step(bars: Sequence[TabBar], table: Teaching) -> list[LessonStep]:
    """Slow down over the last bars."""
    played = [bar for bar in bars if bar.tab]
    if not played:
        return []
    marked = [bar for bar in bars if bar.bar.slows]
    if marked:
        text = (
            f"In {in_words(marked)} the page says rit.: let the tempo sink little by little, "
            "the thumb leading. First play it steadily through; the slowing comes last."
        )
        numbers = printed_once(marked)
        return [LessonStep(kind="closing", title="Slowing down", text=text, bars=numbers)]
    last = played[-table.closing_bars :]
    where = in_words(last)
    if any(bar.printed != bar.number for bar in last):
        where += ", the last time through,"
    text = (
        f"In {where} let the tempo sink little by little, the thumb leading, and let the last "
        "notes ring. Only once the piece is steady without it."
    )
    numbers = printed_once(last)
    return [LessonStep(kind="closing", title="The end", text=text, bars=numbers)]
