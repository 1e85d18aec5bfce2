"""Bass notes ring on: the page writes what is meant, not the first moment a hand may let go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import ceil

from arranger.music.arrangement import Arrangement, Placement
from arranger.music.moments import Moments
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
        self.onsets = Moments([note.onset for note in written.notes])
        self.bars = written_bars(written)
        self.bar_ends = Moments([bar.end for bar in written.bars])
        self.strokes = _Onsets([note for note in written.notes if note.right == "p"])
        self.thumb = {note.onset: note for note in written.notes if note.right == "p"}
        by_string: dict[int, list[Placement]] = {}
        for note in written.notes:
            by_string.setdefault(note.string, []).append(note)
        self.by_string = {string: _Onsets(notes) for string, notes in by_string.items()}

    def rung(self, note: Placement) -> Placement:
        if note.right != "p" or note.slur is not None:
            return note
        bar = self.bars[self.bar_ends.until(note.onset)]
        stops = [
            bar.end,
            *self.by_string[note.string].after(note.onset),
            *self.strokes.after(note.onset),
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
        needed = any(at < end for at in self.by_string[note.string].after(note.onset))
        if end <= note.end or needed or not self._stays(note, end):
            return note
        return replace(note, length=end - note.onset)

    def _stays(self, note: Placement, end: Beat) -> bool:
        """Whether a finger can stay on its note until ``end``; an open string needs none."""
        if note.fret == 0:
            return True
        first, last = self.onsets.until(note.onset), self.onsets.before(end)
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


class _Onsets:
    """When notes begin, in order."""

    def __init__(self, notes: Sequence[Placement]) -> None:
        self._notes = notes
        self._moments = Moments([note.onset for note in notes])

    def after(self, moment: Beat) -> list[Beat]:
        """The first onset after a moment, if there is one."""
        place = self._moments.until(moment)
        return [note.onset for note in self._notes[place : place + 1]]
