"""What a move from grip to grip costs, said in words for one pair: the oracle of the fast sums.

Costs are whole tenths of a point, as in the models; what they stand for and their source are in
the tables.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from arranger.neck.fretboard import Neck, Spot
from arranger.neck.grips import NONE, Grip, tenths
from arranger.neck.hands import Hand
from arranger.neck.moves import Fold, Step
from arranger.tables.arranging import BassCosts, MelodyCosts
from arranger.tables.fingering import MoveCosts, ShapeCosts

OCTAVE, FIFTH, TONE = 12, 7, 2  # semitones


@dataclass(frozen=True, slots=True)
class PlainMover:
    """Prices of single moves for the hands of one piece."""

    neck: Neck
    hands: tuple[Hand, ...]
    moves: MoveCosts
    shapes: ShapeCosts
    melody: MelodyCosts
    bass: BassCosts
    octaves: tuple[int, ...]
    shift_factor: float
    change: int

    def price(self, before: Grip, after: Grip, step: Step) -> int:
        """Tenths for going on from one grip to the next."""
        return (
            self._fingers(before, after, self._pace(step))
            + self._shift(before, after, self._pace(step))
            + self._hand(before, after, step)
            + self._octave(before, after, step)
            + self._legato(before, after, step)
            + self._thumb(before, after, step)
        )

    def _pace(self, step: Step) -> float:
        """In a hurry everything is dearer, with time on one's hands a little cheaper."""
        if step.seconds < self.moves.fast_seconds:
            return self.moves.fast
        return self.moves.slow if step.seconds > self.moves.slow_seconds else 1.0

    # The left hand -------------------------------------------------------------------

    def _fingers(self, before: Grip, after: Grip, pace: float) -> int:
        """A finger that lies already, or is only lifted, costs nothing; else it is put down
        from the air, slides along its string, or leaves it for another, in its fret or not.
        """
        total = 0
        for was, now in zip(before.planted, after.planted, strict=True):
            if now in (NONE, was):
                continue
            if was == NONE:
                points = self.moves.place
            elif was // 32 == now // 32:
                points = self.moves.guide
            else:
                same_fret = was % 32 == now % 32
                points = self.moves.hop + (0 if same_fret else self.moves.hop_fret)
            total += tenths(points * pace)
        return total + self._crossing(before.planted, after.planted)

    def _crossing(self, before: Sequence[int], after: Sequence[int]) -> int:
        """Neighbouring fingers that come to stand in one fret, the higher on the next string
        down.
        """
        total = 0
        for finger in range(3):
            pair = after[finger : finger + 2]
            if pair[0] != NONE and pair[1] - pair[0] == 32:
                stood = before[finger : finger + 2] == pair
                total += 0 if stood else tenths(self.moves.crossed)
        return total

    def _shift(self, before: Grip, after: Grip, pace: float) -> int:
        """The hand goes no further than it has to, freely where it holds no note."""
        one, other = self.hands[before.hand], self.hands[after.hand]
        frets = max(other.low - one.high, one.low - other.high, 0)
        if not frets:
            return 0
        pace *= self.shift_factor
        price = tenths(self.moves.shift * pace) + self.moves.shift_fret * pace * 10 * frets
        return round(price if _presses(before) else price * self.moves.shift_free)

    def _hand(self, before: Grip, after: Grip, step: Step) -> int:
        """A harmony pays for the hand that serves it; a shape taken up for a brief one is a
        hurry, and one taken up while the harmony stays is a change more.
        """
        hand, changed = self.hands[after.hand], before.hand != after.hand
        hurried = self.change if step.brief and changed and hand.shape is not None else 0
        if step.chord_begins:
            return tenths(hand.cost) + hurried
        if step.may_change and changed:
            return tenths(hand.cost) + hurried + tenths(self.shapes.change_within)
        return 0

    # The tune ------------------------------------------------------------------------

    def _octave(self, before: Grip, after: Grip, step: Step) -> int:
        """What it costs the tune to be moved by octaves from one note to the next."""
        change = self.octaves[after.octave] - self.octaves[before.octave]
        if not step.may_fold or not change:
            return 0
        return round(self._fold(change, step.fold) * step.fold.weight)

    def _fold(self, change: int, fold: Fold) -> int:
        price = fold.cost
        if abs(change) > OCTAVE:
            price += tenths(self.melody.two_octaves)
        if not fold.intervals:
            return price
        meant = fold.intervals[0]
        taken = meant + change
        if (taken > 0, taken < 0) != (meant > 0, meant < 0):
            price += tenths(self.melody.contour_broken)
        if abs(meant) <= self.melody.close:
            price += tenths(self.melody.close_interval)
        if taken in fold.intervals[1:]:
            price = min(price, tenths(self.melody.octave_doubled))
        return price

    def _legato(self, before: Grip, after: Grip, step: Step) -> int:
        """One finger for two tune notes in a row cuts the first off, on another string more;
        two fingers go with the frets, and do not cross.
        """
        was, now = before.tune, after.tune
        if step.tune != "new" or was is None or now is None or not now.fret or was == now:
            return 0
        if before.tune_finger == after.tune_finger:
            same_string = was.string == now.string
            points = self.moves.legato_slide if same_string else self.moves.legato_hop
            return tenths(points * self._pace(step))
        if was.string != now.string:
            return self._crossed((was, before.tune_finger), (now, after.tune_finger))
        (_, lower), (_, higher) = sorted(
            [(was.fret, before.tune_finger), (now.fret, after.tune_finger)]
        )
        against = was.fret and abs(now.fret - was.fret) == 1 and higher < lower
        return tenths(self.moves.against * self._pace(step)) if against else 0

    # The thumb -----------------------------------------------------------------------

    def _thumb(self, before: Grip, after: Grip, step: Step) -> int:
        """A new thumb note cuts no finger's string off; it alternates, or leads on."""
        was, now = before.bass, after.bass
        if step.bass != "new" or now is None:
            return 0
        fingers = [before.tune] if before.tune else []
        fingers += [spot for spot, _ in before.fills]
        cut = now.string in {spot.string for spot in fingers}
        total = tenths(self.bass.cuts_off) if cut else 0
        if was is None:
            return total
        total += self._crossed((was, before.bass_finger), (now, after.bass_finger))
        taken = self.neck.midi(now) - self.neck.midi(was)
        if step.alternates:
            total += tenths(self.bass.same_string) if was.string == now.string else 0
            total += tenths(self.bass.same_pitch) if not taken else 0
        if step.bass_step is not None:
            total += self._line(taken, step.bass_step)
        follows = 0 < abs(taken) <= TONE
        if self.neck.midi(was) % 12 in step.led_by and not follows:
            total += tenths(self.bass.leading_missed)
        return total

    def _crossed(self, *pair: tuple[Spot, int]) -> int:
        """Of two neighbouring fingers on two strings in one fret the higher finger has the
        lower string.
        """
        (high, upper), (low, lower) = sorted(pair, key=lambda one: one[0].string)
        if not (1 <= upper <= 4 and 1 <= lower <= 4) or high.fret != low.fret:
            return 0
        neighbours = low.string - high.string == 1 and lower - upper == 1
        return tenths(self.moves.crossed) if neighbours else 0

    def _line(self, taken: int, wanted: int) -> int:
        """A bass line keeps its near steps; a wide leap may be inverted."""
        off, turned = abs(taken - wanted), False
        if abs(wanted) <= self.bass.near:
            turned = (taken > 0, taken < 0) != (wanted > 0, wanted < 0)
        else:
            off = min(off, abs(taken - wanted + (OCTAVE if wanted > 0 else -OCTAVE)))
        far = round(max(off - FIFTH, 0) * self.bass.leap * 10)
        return far + (tenths(self.bass.direction) if turned else 0)


def _presses(grip: Grip) -> bool:
    """Whether a fretted note sounds."""
    spots: list[Spot | None] = [grip.tune, *(spot for spot, _ in grip.fills)]
    spots += [grip.bass] if grip.bass_active else []
    return any(spot.fret for spot in spots if spot is not None)
