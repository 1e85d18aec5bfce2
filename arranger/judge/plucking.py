"""What the plucking hand does: one function a feature of difficulty.

See ``effort`` for the conventions that all features keep.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator

from arranger.judge.effort import SHORTEST, Effort, Performance
from arranger.music.arrangement import Placement
from arranger.music.time import Beat


def plucking(played: Performance) -> Iterator[Effort]:
    """Strokes: how many times something is struck in a second; a chord is one stroke.

    A slur is a stroke of the other hand: it has to come in time as well.
    """
    arrangement = played.music.arrangement
    onsets: list[set[Beat]] = [set() for _ in arrangement.bars]
    for note in played.music.notes:
        onsets[played.bar(note.onset)].add(note.onset)
    for bar, strokes in enumerate(onsets):
        if strokes:
            rate = len(strokes) / played.seconds(arrangement.bars[bar].length)
            text = f"{rate:.1f} strokes a second"
            yield Effort(bar, len(strokes) / played.scales.plucking_strokes, rate, text)


def repeats(played: Performance) -> Iterator[Effort]:
    """One plucking finger again and again: the sooner, the harder."""
    last: dict[str, Beat] = {}
    for note in sorted(played.music.notes, key=lambda note: note.onset):
        before = last.get(note.right)
        if note.slur is not None or before == note.onset:
            continue
        last[note.right] = note.onset
        if before is not None:
            seconds = played.seconds(note.onset - before)
            again = played.scales.repeat_seconds / seconds
            text = f"{note.right} plucks twice within {seconds:.2f} s"
            amount = again * played.scales.repeat_seconds
            yield Effort(played.bar(note.onset), amount, again, text)


def independence(played: Performance) -> Iterator[Effort]:
    """Fingers off the beat whose note is held while the thumb strikes."""
    thumb = sorted({note.onset for note in played.music.notes if note.right == "p"})
    for note in played.music.notes:
        if note.right == "p" or note.slur is not None:
            continue
        bar = played.music.arrangement.bars[played.bar(note.onset)]
        if (note.onset - bar.start) % bar.beat == 0:
            continue
        following = bisect_right(thumb, note.onset)
        if following < len(thumb) and (stroke := thumb[following]) < note.end:
            seconds = played.seconds(stroke - note.onset)
            text = f"{note.right} plucks off the beat, the thumb under it {seconds:.2f} s later"
            amount = 1 / played.scales.independence_notes
            yield Effort(played.bar(note.onset), amount, 1 / seconds, text)


def slurs(played: Performance) -> Iterator[Effort]:
    """Slurs while the thumb strikes."""
    for moment in played.music.moments:
        notes = [played.music.notes[index] for index in moment.struck]
        if any(note.right == "p" and note.slur is None for note in notes):
            for note in notes:
                if note.slur is not None:
                    text = f"a {note.slur} on string {note.string} under a thumb note"
                    amount = 1 / played.scales.slurs_notes
                    yield Effort(played.bar(note.onset), amount, 1.0, text)


def crossing(played: Performance) -> Iterator[Effort]:
    """Plucking fingers that go to another string: strings crossed in a second.

    The way around over a third string is never shorter than the straight one.
    """
    last: dict[str, Placement] = {}
    for note in sorted(played.music.notes, key=lambda note: (note.onset, note.string)):
        if note.slur is not None:
            continue
        before = last.get(note.right)
        last[note.right] = note
        if before is not None and (strings := abs(note.string - before.string)):
            seconds = played.seconds(note.onset - before.onset)
            text = f"{note.right} goes from string {before.string} to string {note.string}"
            amount = strings / played.scales.crossing_strings
            size = strings / max(seconds, SHORTEST)
            yield Effort(played.bar(note.onset), amount, size, f"{text} in {seconds:.2f} s")


def goal(played: Performance) -> Iterator[Effort]:
    """Strokes at the tempo to aim at: how many in a second, whatever the tempo now."""
    arrangement = played.music.arrangement
    share = arrangement.student_tempo / arrangement.target_tempo
    for effort in plucking(played):
        rate = effort.size / share
        text = f"{rate:.1f} strokes a second at the tempo to aim at"
        yield Effort(effort.bar, effort.amount / share, rate, text)
