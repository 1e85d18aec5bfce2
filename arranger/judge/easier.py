"""What would make a tab easier under the same fingers: carried out and graded anew."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import replace

from arranger.judge.difficulty import difficulty
from arranger.judge.hearing import bar_index_at
from arranger.music.arrangement import Arrangement, Placement
from arranger.music.rating import Easing
from arranger.tables import LEVEL_NAMES, Level, Player
from arranger.tables.difficulty import difficulty_table


def easier(
    arrangement: Arrangement, level: Level, player: Player, bars: Sequence[int]
) -> tuple[Easing, ...]:
    """Slower tempos, and inner notes of ``bars`` (printed numbers) left out.

    What saves less than the table's least is not worth saying. Most saved first.
    """
    before = difficulty(arrangement, level, player).score
    found = [
        Easing(what=what, points=round(before - score, 1), score=score)
        for what, changed in (
            *_slower(arrangement, level, player),
            *_thinner(arrangement, bars),
        )
        for score in [difficulty(changed, level, player).score]
        if before - score >= difficulty_table().easier.least_points
    ]
    return tuple(sorted(found, key=lambda easing: -easing.points))


def _slower(
    arrangement: Arrangement, level: Level, player: Player
) -> Iterator[tuple[str, Arrangement]]:
    """A step slower, and as slow as the band below asks for, if that is still a tempo."""
    table = difficulty_table()
    tempo = arrangement.student_tempo
    tempos = {round(tempo * table.easier.tempo_step): ""}
    band = table.bands.of(difficulty(arrangement, level, player).score)
    slowest = round(tempo * table.easier.tempo_least)

    def as_hard(slower: int) -> bool:
        return difficulty(_at(arrangement, slower), level, player).band == band

    if band != LEVEL_NAMES[0] and not as_hard(slowest):
        # A slower tempo never raises the score, so halving finds the quickest that will do.
        first = bisect_left(range(slowest, round(tempo)), True, key=as_hard)
        quickest = slowest + first - 1
        graded = difficulty(_at(arrangement, quickest), level, player)
        tempos[quickest] = f", which makes it {graded.band}"
    for slower, then in tempos.items():
        what = f"slower, {slower} quarter notes a minute in place of {tempo:.0f}{then}"
        yield what, _at(arrangement, slower)


def _at(arrangement: Arrangement, tempo: int) -> Arrangement:
    return replace(arrangement, student_tempo=float(tempo))


def _thinner(
    arrangement: Arrangement, bars: Sequence[int]
) -> Iterator[tuple[str, Arrangement]]:
    """An inner note left out, and all inner notes of a bar."""
    for bar in bars:
        inner = [
            note
            for note in arrangement.notes
            if note.bar == bar and note.voice == "inner" and not _slurred_on(arrangement, note)
        ]
        for note in inner:
            where = arrangement.bars[bar_index_at(arrangement, note.onset)]
            beat = 1 + float((note.onset - where.start) / where.beat)
            what = f"bar {bar}: leave out the inner note on string {note.string}, beat {beat:g}"
            yield what, _without(arrangement, [note])
        if len(inner) > 1:
            yield (
                f"bar {bar}: leave out all {len(inner)} inner notes",
                _without(arrangement, inner),
            )


def _slurred_on(arrangement: Arrangement, note: Placement) -> bool:
    """Whether a slur goes on from the note, which then must not go."""
    return any(
        other.slur is not None and other.string == note.string and other.onset == note.end
        for other in arrangement.notes
    )


def _without(arrangement: Arrangement, notes: Sequence[Placement]) -> Arrangement:
    gone = set(notes)
    return replace(
        arrangement, notes=tuple(note for note in arrangement.notes if note not in gone)
    )
