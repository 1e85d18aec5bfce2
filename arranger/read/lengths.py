"""Written lengths from played ones: staccato gaps closed, restruck notes ended."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction

from arranger.music.score import Hand
from arranger.read.grid import GridNote
from arranger.read.table import Lengths

# Values a musician writes, in quarters: from the thirty-second to the whole note, plain,
# dotted and as triplets.
SIMPLE = tuple(
    sorted(
        Fraction(value) * factor
        for value in (Fraction(1, 8), Fraction(1, 4), Fraction(1, 2), 1, 2, 4)
        for factor in (Fraction(1), Fraction(3, 2), Fraction(2, 3))
    )
)
WRITTEN_PARTS = (16, 12)  # divisions of a quarter on which a written length may end


def written_lengths(
    notes: Sequence[GridNote], hands: Sequence[Hand], unit: int, table: Lengths
) -> list[int]:
    """The written length (units) of each note, in the order given.

    In a file whose played lengths are written values they are kept. Else a note that fills
    ``table.closed`` of the way to the next onset of its hand is held until then, and others
    get the nearest written value. A note struck again in its hand ends there. Every length
    is positive.
    """
    writer = _Writer(notes, hands, unit, table)
    struck = _struck_again(notes, hands)
    lengths = []
    for note, hand, again in zip(notes, hands, struck, strict=True):
        length = writer.length(note, hand)
        if again is not None:
            length = min(length, again - note.onset)
        lengths.append(length)
    return lengths


class _Writer:
    """Writes the lengths of one piece."""

    def __init__(
        self, notes: Sequence[GridNote], hands: Sequence[Hand], unit: int, table: Lengths
    ) -> None:
        self.unit = unit
        self.table = table
        self.shortest = int(table.shortest * unit)
        self.near = unit // 100
        self.simple = [int(value * unit) for value in SIMPLE]
        self.onsets: dict[Hand, list[int]] = {"right": [], "left": []}
        for note, hand in zip(notes, hands, strict=True):
            own = self.onsets[hand]
            if note.ornament != "grace" and (not own or own[-1] != note.onset):
                own.append(note.onset)
        whole = [note for note in notes if note.ornament is None]
        exact = sum(self._exact(note.gate) is not None for note in whole)
        self.trusted = exact >= self.table.trusted * len(whole)

    def _exact(self, gate: int) -> int | None:
        """The written value that ``gate`` is, within a hundredth of a quarter."""
        for parts in WRITTEN_PARTS:
            step = self.unit // parts
            value = round(gate / step) * step
            if value > 0 and abs(value - gate) <= self.near:
                return value
        return None

    def length(self, note: GridNote, hand: Hand) -> int:
        """The written length before looking at restrikes."""
        if note.ornament == "grace":
            return note.gate
        gap = self._filled_gap(note, self.onsets[hand])
        exact = self._exact(note.gate)
        if gap is not None and (
            exact is None or not self.trusted or gap - note.gate < self.near
        ):
            return gap
        return exact if exact is not None else max(self.shortest, self._simple(note.gate))

    def _filled_gap(self, note: GridNote, onsets: list[int]) -> int | None:
        """The longest way to a later onset of the hand that the note nearly fills."""
        best = None
        following = bisect_right(onsets, note.onset)
        while following < len(onsets):
            gap = onsets[following] - note.onset
            if self.table.closed * gap > note.gate + self.near:
                break
            if note.gate <= gap * 1.04 + 2 * self.near:
                best = gap
            following += 1
        return best

    def _simple(self, gate: int) -> int:
        """The written value nearest to a played length, by proportion."""
        if gate > self.simple[-1]:
            half = self.unit // 2
            return round(gate / half) * half
        return min(self.simple, key=lambda value: abs(value - gate) / value)


def _struck_again(notes: Sequence[GridNote], hands: Sequence[Hand]) -> list[int | None]:
    """For each note the next onset of its pitch in its hand, or None."""
    following: dict[tuple[Hand, int], int] = {}
    result: list[int | None] = [None] * len(notes)
    for place in range(len(notes) - 1, -1, -1):
        note = notes[place]
        key = (hands[place], note.played.midi)
        result[place] = following.get(key)
        following[key] = note.onset
    return result
