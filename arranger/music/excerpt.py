"""Some bars of a score as a score of their own."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace

from arranger.music.score import Bar, KeyMark, Note, Score, TempoMark
from arranger.music.time import Beat


@dataclass(frozen=True, slots=True)
class _Run:
    """Neighbouring bars ``[start, end)`` that are kept; ``moved`` is how far they slide."""

    start: Beat
    end: Beat
    moved: Beat


def excerpt(score: Score, numbers: Collection[int]) -> Score:
    """The bars with these printed numbers, one after the other from beat 0.

    Bars keep their numbers. Notes that begin in them are kept, cut short where the music
    stops or jumps; tempo and key in force are carried along.

    Raises
    ------
    ValueError : the score has none of these bars.
    """
    kept = [bar for bar in score.bars if bar.number in numbers]
    if not kept:
        raise ValueError("no bar is left")
    bars = tuple(_laid_out(kept))
    runs = list(_runs(kept, bars))
    notes = (_within(note, runs) for note in score.notes)
    return replace(
        score,
        bars=bars,
        notes=tuple(
            replace(note, index=index)
            for index, note in enumerate(note for note in notes if note is not None)
        ),
        tempos=tuple(
            replace(score.tempos[index], onset=onset)
            for index, onset in _carried(score.tempos, runs)
        ),
        keys=tuple(
            replace(score.keys[index], onset=onset)
            for index, onset in _carried(score.keys, runs)
        ),
        warnings=tuple(
            warning
            for warning in score.warnings
            if warning.bar is None or warning.bar in numbers
        ),
    )


def _laid_out(kept: Sequence[Bar]) -> Iterator[Bar]:
    start = Beat(0)
    for bar in kept:
        yield replace(bar, start=start)
        start += bar.length


def _runs(kept: Sequence[Bar], laid_out: Sequence[Bar]) -> Iterator[_Run]:
    first = 0
    for index, bar in enumerate(kept):
        last = index + 1 == len(kept)
        if last or bar.end != kept[index + 1].start:
            start = kept[first].start
            yield _Run(start, bar.end, laid_out[first].start - start)
            first = index + 1


def _within(note: Note, runs: Sequence[_Run]) -> Note | None:
    for run in runs:
        if run.start <= note.onset < run.end:
            length = min(note.end, run.end) - note.onset
            return replace(note, onset=note.onset + run.moved, length=length)
    return None


def _carried(
    marks: Sequence[TempoMark | KeyMark], runs: Sequence[_Run]
) -> Iterator[tuple[int, Beat]]:
    """Index and new onset of marks inside a run, and of the one in force where it begins."""
    for run in runs:
        before = [index for index, mark in enumerate(marks) if mark.onset <= run.start]
        for index in before[-1:]:
            yield index, run.start + run.moved
        for index, mark in enumerate(marks):
            if run.start < mark.onset < run.end:
                yield index, mark.onset + run.moved
