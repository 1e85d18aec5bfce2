"""A guitar score as it stands on the page: what ``read`` gives to be fingered as written."""

from __future__ import annotations

from dataclasses import dataclass

from arranger.music.arrangement import Decision
from arranger.music.score import Score
from arranger.music.written_note import WrittenNote


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """``notes`` are those of ``score`` in its order, with voices and pins; octave marks
    are played out, so that ``midi`` sounds.

    ``elements[i]`` are the places, in document order, of the MusicXML notes that note ``i``
    was read from; empty for other formats.
    """

    score: Score
    notes: tuple[WrittenNote, ...]
    elements: tuple[tuple[int, ...], ...] = ()
    decisions: tuple[Decision, ...] = ()
