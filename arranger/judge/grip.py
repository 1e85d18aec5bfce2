"""One static grip: what the fretting hand holds at one moment, and what is wrong with it.

Conventions
-----------
A grip is a set of sounding strings. Frets count from the capo; distances are in mm along
the neck (fret wire to fret wire, ``L * (1 - 2 ** (-n / 12))`` from the nut, the capo's
frets added) and across it (string spacing). A finger on several strings of one fret is a
barre; it lies over every string from its lowest to its highest.

This is the guitarist's view of the hand, written without a look at the solver's.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import hypot

from arranger.tables import Level, Player, Reach, instrument
from arranger.tables.hand import Hand, hand

FRETTING = ("1", "2", "3", "4", "T")


@dataclass(frozen=True, slots=True)
class Press:
    """A sounding string: ``finger`` "1".."4", "T", or "0" for an open one."""

    string: int
    fret: int
    finger: str


@dataclass(frozen=True, slots=True)
class Fault:
    """A rule that a grip breaks; ``strings`` are the ones to blame."""

    rule: str
    text: str
    strings: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class HandLimits:
    """What one hand may do. Lengths in mm; strings and frets are counts."""

    reach: Reach
    scale_length: float
    string_spacing: float
    capo: int
    barre_strings: int
    barre_max_fret: int
    small_barres: bool
    thumb_over: bool
    common: Hand

    def along(self, fret: int) -> float:
        """Distance in mm from the nut to the wire of ``fret`` (counted from the capo)."""
        return self.scale_length * (1 - 2 ** (-(fret + self.capo) / 12))


def limits_of(level: Level, player: Player, capo: int = 0) -> HandLimits:
    """The limits of this player's hand at this level, behind a capo.

    The first finger's barre is as wide as both the level and the player's techniques
    allow.
    """
    common = hand()
    return HandLimits(
        reach=player.reach,
        scale_length=player.scale_length,
        string_spacing=instrument().string_spacing,
        capo=capo,
        barre_strings=player.barre_strings,
        barre_max_fret=player.barre_max_fret,
        small_barres=level.small_barres,
        thumb_over="thumb over" in player.techniques,
        common=common,
    )


def any_hand(reach: Reach) -> HandLimits:
    """The limits of a trained hand that knows every technique, on the usual guitar."""
    guitar = instrument()
    common = hand()
    return HandLimits(
        reach=reach,
        scale_length=guitar.scale_length,
        string_spacing=guitar.string_spacing,
        capo=0,
        barre_strings=common.full_barre_strings,
        barre_max_fret=guitar.frets,
        small_barres=True,
        thumb_over=True,
        common=common,
    )


@dataclass(frozen=True, slots=True)
class Hold:
    """What one finger holds: one fret, and the strings of it that sound, 6 first."""

    finger: str
    fret: int
    strings: tuple[int, ...]

    @property
    def is_barre(self) -> bool:
        return len(self.strings) > 1

    @property
    def width(self) -> int:
        """Strings from end to end, those between that do not sound included."""
        return self.strings[0] - self.strings[-1] + 1


def holds(grip: Sequence[Press]) -> list[Hold]:
    """The fretted part of a grip by finger and fret, in that order."""
    found: dict[tuple[str, int], set[int]] = {}
    for press in grip:
        if press.fret > 0 and press.finger in FRETTING:
            found.setdefault((press.finger, press.fret), set()).add(press.string)
    return [
        Hold(finger, fret, tuple(sorted(strings, reverse=True)))
        for (finger, fret), strings in sorted(found.items())
    ]


def apart(one: Hold, other: Hold, limits: HandLimits) -> float:
    """Euclidean mm between two fingers; a barre counts from its nearest string."""
    highest_one, highest_other = one.strings[-1], other.strings[-1]
    across = max(0, highest_one - other.strings[0], highest_other - one.strings[0])
    along = limits.along(one.fret) - limits.along(other.fret)
    return hypot(along, across * limits.string_spacing)


GripRule = Callable[[Sequence[Press], HandLimits], Iterator[Fault]]


def open_means_no_finger(grip: Sequence[Press], _: HandLimits) -> Iterator[Fault]:
    """An open string has no finger on it; a fretted string always has one."""
    for press in grip:
        if press.fret == 0 and press.finger != "0":
            text = f"string {press.string} is open, yet finger {press.finger} is on it"
            yield Fault("open means no finger", text, (press.string,))
        if press.fret > 0 and press.finger not in FRETTING:
            text = f"string {press.string} at fret {press.fret} has no finger on it"
            yield Fault("open means no finger", text, (press.string,))


def one_place_for_a_finger(grip: Sequence[Press], _: HandLimits) -> Iterator[Fault]:
    """A finger is never on two frets at once."""
    for one, other in combinations(holds(grip), 2):
        if one.finger == other.finger:
            text = f"finger {one.finger} would be on frets {one.fret} and {other.fret} at once"
            yield Fault("one place for a finger", text, one.strings + other.strings)


def barre_allowed(grip: Sequence[Press], limits: HandLimits) -> Iterator[Fault]:
    """A finger lies across strings only as widely and as high as this player may barre."""
    for hold in holds(grip):
        if not hold.is_barre:
            continue
        if hold.finger == "T":
            most, where = 1, "the thumb holds one string"
        elif hold.finger == "1":
            most = limits.barre_strings
            where = f"the first finger may lie on {most} strings"
        else:
            most = limits.common.small_barre_strings if limits.small_barres else 0
            where = f"finger {hold.finger} may lie on {most} strings"
        if most == 0:
            where = "no barre here"
        text = f"barre by finger {hold.finger} over {hold.width} strings at fret {hold.fret}"
        if hold.width > most:
            yield Fault("barre allowed", f"{text}: {where}", hold.strings)
        elif hold.finger == "1" and hold.fret > limits.barre_max_fret:
            high = f"barres go up to fret {limits.barre_max_fret}"
            yield Fault("barre allowed", f"{text}: {high}", hold.strings)


def nothing_lower_under_a_barre(grip: Sequence[Press], _: HandLimits) -> Iterator[Fault]:
    """Between the ends of a barre no string sounds open or from a lower fret."""
    for hold in holds(grip):
        for press in grip:
            inside = hold.strings[-1] < press.string < hold.strings[0]
            if inside and press.fret < hold.fret:
                below = "open" if press.fret == 0 else f"at fret {press.fret}"
                text = (
                    f"string {press.string} cannot sound {below} under the barre at "
                    f"fret {hold.fret}"
                )
                yield Fault("nothing lower under a barre", text, (*hold.strings, press.string))


def fingers_in_order(grip: Sequence[Press], _: HandLimits) -> Iterator[Fault]:
    """A higher finger is never on a lower fret than a lower finger."""
    fingers = [hold for hold in holds(grip) if hold.finger != "T"]
    for one, other in combinations(fingers, 2):
        if one.finger < other.finger and one.fret > other.fret:
            text = (
                f"finger {other.finger} at fret {other.fret} lies behind finger "
                f"{one.finger} at fret {one.fret}"
            )
            yield Fault("fingers in order", text, one.strings + other.strings)


def within_reach(grip: Sequence[Press], limits: HandLimits) -> Iterator[Fault]:
    """No two fingers lie farther apart than this hand stretches."""
    fingers = [hold for hold in holds(grip) if hold.finger != "T"]
    for one, other in combinations(fingers, 2):
        if one.finger == other.finger:
            continue
        most = limits.reach.between(int(one.finger), int(other.finger))
        distance = apart(one, other, limits)
        if distance > most:
            text = (
                f"fingers {one.finger} (fret {one.fret}) and {other.finger} (fret "
                f"{other.fret}) would lie {distance:.0f} mm apart; this hand reaches "
                f"{most:.0f} mm"
            )
            yield Fault("within reach", text, one.strings + other.strings)


def thumb_over(grip: Sequence[Press], limits: HandLimits) -> Iterator[Fault]:
    """The thumb comes over the neck on string 6 only, low on the neck, near the fingers."""
    held = holds(grip)
    common = limits.common
    for thumb in (hold for hold in held if hold.finger == "T"):
        if not limits.thumb_over:
            yield Fault("thumb over", "this player keeps the thumb behind", thumb.strings)
        if set(thumb.strings) != {common.thumb_string}:
            text = f"the thumb reaches string {common.thumb_string} only"
            yield Fault("thumb over", text, thumb.strings)
        if thumb.fret > common.thumb_fret_most:
            text = f"the thumb at fret {thumb.fret}: it goes up to {common.thumb_fret_most}"
            yield Fault("thumb over", text, thumb.strings)
        for other in (hold for hold in held if hold.finger != "T"):
            beyond = limits.along(other.fret) - limits.along(thumb.fret)
            if not -common.thumb_ahead <= beyond <= common.thumb_behind:
                text = (
                    f"thumb at fret {thumb.fret} and finger {other.finger} at fret "
                    f"{other.fret} are {abs(beyond):.0f} mm apart along the neck"
                )
                yield Fault("thumb over", text, thumb.strings + other.strings)


GRIP_RULES: tuple[GripRule, ...] = (
    open_means_no_finger,
    one_place_for_a_finger,
    barre_allowed,
    nothing_lower_under_a_barre,
    fingers_in_order,
    within_reach,
    thumb_over,
)


def grip_faults(grip: Sequence[Press], limits: HandLimits) -> tuple[Fault, ...]:
    """Everything that is wrong with a grip, in the order of the rules."""
    return tuple(fault for rule in GRIP_RULES for fault in rule(grip, limits))


def hand_faults(
    frets: Sequence[int | None],
    fingers: Sequence[str | None],
    barres: Sequence[int] | None = None,
    *,
    limits: HandLimits,
) -> tuple[Fault, ...]:
    """What keeps a hand from holding a chord shape; empty when it can.

    Parameters
    ----------
    frets :
        six entries, string 6 first; None is a string that is not played.
    fingers :
        six entries, "1".."4", "T", or None ("0" also) where no finger is.
    barres :
        frets at which the diagram draws a barre; None when nothing is known, so that a
        finger on several strings of one fret is taken for one.
    limits :
        what the hand may do: ``limits_of`` a player, or ``any_hand``.
    """
    if len(frets) != 6 or len(fingers) != 6:
        return (Fault("six strings", "a shape has six strings, string 6 first", ()),)
    faults: list[Fault] = []
    grip: list[Press] = []
    for string, fret, finger in zip(range(6, 0, -1), frets, fingers, strict=True):
        if fret is not None:
            grip.append(Press(string, fret, finger or "0"))
        elif finger not in (None, "0"):
            text = f"finger {finger} lies on string {string}, which is not played"
            faults.append(Fault("open means no finger", text, (string,)))
    if barres is not None:
        for hold in holds(grip):
            if hold.is_barre and hold.fret not in barres:
                text = f"finger {hold.finger} is on {len(hold.strings)} strings, no barre drawn"
                faults.append(Fault("barre drawn", text, hold.strings))
    return (*faults, *grip_faults(grip, limits))
