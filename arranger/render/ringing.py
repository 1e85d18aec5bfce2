"""Bass notes ring on: the page writes what is meant, not the first moment a hand may let go."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import replace
from math import ceil

from arranger.music.arrangement import Arrangement, Placement
from arranger.music.once import once
from arranger.music.time import Beat
from arranger.render.voices import voices_of_hands
from arranger.render.written import WrittenBar, written_bars
from arranger.tables.engraving import engraving


@once
def ringing(written: Arrangement) -> Arrangement:
    """The arrangement with the thumb's notes written until its next stroke, where they ring.

    Open strings ring of themselves; a fretted note does where its finger has nothing else to
    do and the others stay near it. They end with their bar at the latest, and where their
    string is needed again (common practice of engraving: no rest where nothing stops). A
    finger that has to leave earlier takes its note to the end of the beat in writing: a
    steady bass is read as one (common practice, no source).

    An inner note plucked with the thumb under a tune that is held over is written as long as
    the thumb's note, where it rings as well: both share one stem then.
    """
    bars = _Ringing(written)
    alone = voices_of_hands(written.notes)
    return replace(
        written,
        notes=tuple(
            bars.with_the_thumb(note) if voice == "inner" else bars.rung(note)
            for note, voice in zip(written.notes, alone, strict=True)
        ),
    )


class _Ringing:
    def __init__(self, written: Arrangement) -> None:
        self.span = engraving().hands.easy_span
        self.notes = written.notes
        self.onsets = [note.onset for note in written.notes]
        self.bars = written_bars(written)
        self.bar_ends = [bar.end for bar in written.bars]
        self.strokes = [note.onset for note in written.notes if note.right == "p"]
        self.thumb = {note.onset: note for note in written.notes if note.right == "p"}
        self.by_string: dict[int, list[Beat]] = {}
        for note in written.notes:
            self.by_string.setdefault(note.string, []).append(note.onset)

    def rung(self, note: Placement) -> Placement:
        if note.right != "p" or note.slur is not None:
            return note
        bar = self.bars[bisect_right(self.bar_ends, note.onset)]
        stops = [
            bar.end,
            *_next(self.by_string[note.string], note.onset),
            *_next(self.strokes, note.onset),
        ]
        end = min(stops)
        if end <= note.end:
            return note
        if not self._stays(note, end):
            end = min(end, _beat_end(bar, note.end))
        return replace(note, length=end - note.onset)

    def with_the_thumb(self, note: Placement) -> Placement:
        """An inner note as long as the thumb's that begins with it, where it rings so long."""
        thumb = self.thumb.get(note.onset)
        if note.right == "p" or note.slur is not None or thumb is None:
            return self.rung(note)
        end = self.rung(thumb).end
        needed = any(at < end for at in _next(self.by_string[note.string], note.onset))
        if end <= note.end or needed or not self._stays(note, end):
            return note
        return replace(note, length=end - note.onset)

    def _stays(self, note: Placement, end: Beat) -> bool:
        """Whether a finger can stay on its note until ``end``; an open string needs none."""
        if note.fret == 0:
            return True
        first, last = bisect_right(self.onsets, note.onset), bisect_left(self.onsets, end)
        return all(
            other.fret == 0
            or (other.left != note.left and abs(other.fret - note.fret) <= self.span)
            for other in self.notes[first:last]
        ) and self._comes_back(note, end, self.notes[last:])

    def _comes_back(self, note: Placement, end: Beat, later: Sequence[Placement]) -> bool:
        """Whether the finger has time: it is not needed elsewhere the moment the note ends."""
        for other in later:
            if other.onset > end:
                return True
            if other.left == note.left:
                return (other.string, other.fret) == (note.string, note.fret)
        return True


def _beat_end(bar: WrittenBar, moment: Beat) -> Beat:
    """The first end of a beat of the meter at or after a moment."""
    origin = bar.start - bar.missing
    return origin + ceil((moment - origin) / bar.pulse) * bar.pulse


def _next(onsets: Sequence[Beat], moment: Beat) -> Sequence[Beat]:
    """The first of the (sorted) onsets after a moment, if there is one."""
    place = bisect_right(onsets, moment)
    return onsets[place : place + 1]
