"""What to practise, in which order, computed from this arrangement."""

from __future__ import annotations

from arranger.music.arrangement import Arrangement
from arranger.music.lesson import Lesson
from arranger.music.verdict import Verdict
from arranger.tables.teaching import teaching
from arranger.teach.bars import tab_bars
from arranger.teach.care import care_step
from arranger.teach.changes import shape_steps
from arranger.teach.coordination import coordination_steps
from arranger.teach.loops import day_step, loop_steps, repeat_steps
from arranger.teach.recurring import pair_step
from arranger.teach.right_hand import right_hand_step
from arranger.teach.tempo import closing_step, ladder_step, rungs

__all__ = ["teach"]


def teach(arrangement: Arrangement, verdict: Verdict) -> Lesson:
    """The lesson for an arrangement: its steps in the order to take them.

    The two bars that recur most; the right hand alone; shapes and drills; points of
    coordination; loops and the day's order; the tempo ladder; where repeats differ; the
    ending; care for the hands. A step that this piece has no use for is left out; every bar
    named is printed on the sheet, every shape one of the arrangement's.
    """
    table = teaching()
    bars = tab_bars(arrangement)
    start = round(rungs(arrangement, table)[0], 1)
    pair = pair_step(bars, table)
    shapes = shape_steps(arrangement, bars, table)
    points = coordination_steps(bars, verdict, table)
    watched = [step for step in (*shapes, *points) if step.kind != "shapes"]
    loops = loop_steps(bars, watched, start, table)
    return Lesson(
        steps=(
            *pair,
            *right_hand_step(bars, table, leads=not pair),
            *shapes,
            *points,
            *loops,
            *day_step(len(loops)),
            *ladder_step(arrangement, table),
            *repeat_steps(bars, table),
            *closing_step(bars, table),
            care_step(table.care),
        )
    )
