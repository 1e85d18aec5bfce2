"""Written lengths from played ones: staccato gaps closed, restruck notes ended."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction

from arranger.music.score import Hand
from arranger.read.grid import GridNote
from arranger.read.table import Lengths

# Values a musician writes, in quarters: from the thirty-second to the dotted whole note,
# plain, dotted and as triplets.
SIMPLE = tuple(
    sorted(
        {
            Fraction(value) * factor
            for value in (Fraction(1, 8), Fraction(1, 4), Fraction(1, 2), 1, 2, 4)
            for factor in (Fraction(1), Fraction(3, 2), Fraction(2, 3))
        }
    )
)


def written_lengths(
    notes: Sequence[GridNote], hands: Sequence[Hand], table: Lengths
) -> list[Fraction]:
    """The written length (quarters) of each note, in the order given.

    A note that fills ``table.closed`` of the way to the next onset of its hand is held
    until then; others get the nearest written value; a note struck again in its hand ends
    there. Every length is positive.
    """
    onsets: dict[Hand, list[Fraction]] = {}
    for hand in ("right", "left"):
        onsets[hand] = sorted(
            {n.onset for n, h in zip(notes, hands, strict=True) if h == hand and not n.ornament}
        )
    struck = _struck_again(notes, hands)
    lengths = []
    for place, (note, hand) in enumerate(zip(notes, hands, strict=True)):
        length = _length(note, onsets[hand], table)
        again = struck[place]
        if again is not None and note.onset + length > again:
            length = again - note.onset
        lengths.append(length)
    return lengths


def _length(note: GridNote, onsets: list[Fraction], table: Lengths) -> Fraction:
    """The length before looking at restrikes."""
    if note.ornament == "grace":
        return Fraction(1, 8)
    gate = float(note.gate)
    following = bisect_right(onsets, note.onset)
    best: Fraction | None = None
    for onset in onsets[following : following + 12]:
        gap = onset - note.onset
        if table.closed * float(gap) <= gate <= float(gap) * 1.04 + 0.02:
            best = gap  # the longest gap that is nearly filled
        elif gap > gate * 1.3:
            break
    if best is not None:
        return best
    shortest = Fraction(table.shortest)
    return max(shortest, _simple(gate))


def _simple(gate: float) -> Fraction:
    """The written value nearest to a played length, on a logarithmic scale."""
    if gate > float(SIMPLE[-1]):
        return Fraction(round(gate * 2), 2)
    exact = Fraction(round(gate * 24), 24)
    if exact > 0 and abs(float(exact) - gate) < 0.01:
        return exact
    return min(SIMPLE, key=lambda value: abs(float(value) - gate) / float(value))


def _struck_again(notes: Sequence[GridNote], hands: Sequence[Hand]) -> list[Fraction | None]:
    """For each note the next onset of its pitch in its hand, or None."""
    following: dict[tuple[Hand, int], Fraction] = {}
    result: list[Fraction | None] = [None] * len(notes)
    for place in range(len(notes) - 1, -1, -1):
        note, hand = notes[place], hands[place]
        key = (hand, note.played.midi)
        later = following.get(key)
        if later is not None and later > note.onset:
            result[place] = later
        if later is None or note.onset < later:
            following[key] = note.onset
    return result
