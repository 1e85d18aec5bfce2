"""Open bass strings ring on: the page writes what is heard, not when the hand may let go."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import replace

from arranger.music.arrangement import Arrangement, Placement
from arranger.music.time import Beat


def ringing(written: Arrangement) -> Arrangement:
    """The arrangement with the thumb's open strings written until its next stroke.

    They end with their bar at the latest, and where their string is needed again. Nothing is
    held for it, so that no rule of the left hand is touched (common practice of engraving).
    """
    ends = [bar.end for bar in written.bars]
    strokes = [note.onset for note in written.notes if note.right == "p"]
    by_string: dict[int, list[Beat]] = {}
    for note in written.notes:
        by_string.setdefault(note.string, []).append(note.onset)

    def rung(note: Placement) -> Placement:
        if note.fret or note.right != "p":
            return note
        bar_end = ends[bisect_right(ends, note.onset)]
        again = _next(by_string[note.string], note.onset)
        stops = [bar_end, *again, *_next(strokes, note.onset)]
        return replace(note, length=max(note.length, min(stops) - note.onset))

    return replace(written, notes=tuple(rung(note) for note in written.notes))


def _next(onsets: list[Beat], moment: Beat) -> list[Beat]:
    """The first of the (sorted) onsets after a moment, if there is one."""
    place = bisect_right(onsets, moment)
    return onsets[place : place + 1]
