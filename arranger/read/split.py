"""Two hands out of one stream of notes."""

from __future__ import annotations

from collections.abc import Sequence

from arranger.music.score import Hand
from arranger.read.piece import PlayedNote

OCTAVE = 12


def split_hands(notes: Sequence[PlayedNote]) -> tuple[Hand, ...]:
    """The hand of each note (``notes`` sorted by start, then from high to low).

    At each onset one split point: the notes above go to the right hand. The split is the
    one that lies nearest to the two hands' running centres and that both hands span.
    """
    hands: list[Hand] = []
    right, left = 72.0, 48.0
    place = 0
    while place < len(notes):
        stop = place
        while stop < len(notes) and notes[stop].start == notes[place].start:
            stop += 1
        pitches = [note.midi for note in notes[place:stop]]
        count = min(
            range(len(pitches) + 1),
            key=lambda split: _strain(pitches[:split], right) + _strain(pitches[split:], left),
        )
        hands += ["right" if above < count else "left" for above in range(len(pitches))]
        if count:
            right += 0.2 * (sum(pitches[:count]) / count - right)
        if count < len(pitches):
            left += 0.2 * (sum(pitches[count:]) / (len(pitches) - count) - left)
        place = stop
    return tuple(hands)


def _strain(pitches: Sequence[int], centre: float) -> float:
    """How far a hand stretches and moves for these pitches, in semitones."""
    if not pitches:
        return 0.0
    span = pitches[0] - pitches[-1]
    return sum(abs(pitch - centre) for pitch in pitches) + 5.0 * max(0, span - OCTAVE)
