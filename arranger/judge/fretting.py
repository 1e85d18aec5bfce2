"""What the fretting hand holds and does: one function a feature of difficulty.

See ``effort`` for the conventions that all features keep.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from math import hypot, inf

from arranger.judge.effort import (
    SHORTEST,
    Effort,
    Performance,
    Sounding,
    Spot,
    counted,
    move_text,
)
from arranger.judge.grip import Hold, Press, holds
from arranger.judge.position import shifts
from arranger.music.arrangement import Placement, Shape


def _grip(notes: Sequence[Placement]) -> list[Hold]:
    return holds([Press(note.string, note.fret, note.left) for note in notes])


# What is held -------------------------------------------------------------------------


def stretch(played: Performance) -> Iterator[Effort]:
    """Fingers far apart: the widest pair, as a share of its reach, cubed.

    A barre counts from its farthest string, so that a narrower one is never a wider grip.
    """
    reach = played.music.limits.reach
    for part in played.soundings:
        widest: tuple[float, Hold, Hold] | None = None
        for one, other in combinations(_fingers(part.notes), 2):
            if one.finger == other.finger:
                continue
            share = _span(played, one, other) / reach.between(
                int(one.finger), int(other.finger)
            )
            if widest is None or share > widest[0]:
                widest = share, one, other
        if widest is not None:
            share, one, other = widest
            size = share**played.scales.stretch_power
            text = _stretch_text(played, part, one, other)
            yield Effort(part.bar, size * part.seconds, size, text)


def _fingers(notes: Sequence[Placement]) -> list[Hold]:
    return [hold for hold in _grip(notes) if hold.finger != "T"]


def _span(played: Performance, one: Hold, other: Hold) -> float:
    """Euclidean mm between the strings of two fingers that lie farthest apart."""
    limits = played.music.limits
    across = max(abs(a - b) for a in one.strings for b in other.strings)
    along = limits.along(one.fret) - limits.along(other.fret)
    return hypot(along, across * limits.string_spacing)


FRETS = ("", "", "two", "three", "four", "five", "six", "seven", "eight")


def _stretch_text(played: Performance, part: Sounding, one: Hold, other: Hold) -> str:
    """``a five-fret stretch, fingers 1 and 4, while the thumb plays, 0.3 s to get there``."""
    frets = abs(one.fret - other.fret) + 1
    wide = f"{FRETS[frets]}-fret stretch" if 1 < frets < len(FRETS) else "stretch"
    if frets == 1:
        wide = f"stretch across the strings in fret {one.fret}"
    text = f"a {wide}, fingers {one.finger} and {other.finger}"
    text += f", {_span(played, one, other):.0f} mm"
    if any(note.right == "p" and note.onset == part.start for note in part.notes):
        text += ", while the thumb plays"
    arrived = [played.arrivals.get((hold.finger, part.start)) for hold in (one, other)]
    times = [move.seconds for move in arrived if move and move.before != move.after]
    if min(times, default=inf) < played.scales.leisure_seconds:
        text += f", {min(times):.2f} s to get there"
    return text


def barre(played: Performance) -> Iterator[Effort]:
    """A finger across several strings: by its width, more for fingers 2 to 4."""
    for part in played.soundings:
        for hold in _grip(part.notes):
            if hold.is_barre:
                size = (hold.width - 1) / 5
                size *= 1.0 if hold.finger == "1" else played.scales.small_barre
                text = (
                    f"a barre by finger {hold.finger} over {hold.width} strings at fret "
                    f"{hold.fret}"
                )
                yield Effort(part.bar, size * part.seconds, size, text)


def fingers(played: Performance) -> Iterator[Effort]:
    """Fingers down at once, as a share of four."""
    for part in played.soundings:
        down = len({hold.finger for hold in _grip(part.notes)})
        if down:
            text = f"{counted(down, 'finger')} down at once"
            yield Effort(part.bar, down / 4 * part.seconds, down / 4, text)


def position(played: Performance) -> Iterator[Effort]:
    """High frets: how far the highest lies above the first position."""
    for part in played.soundings:
        high = max(note.fret for note in part.notes)
        size = max(0, high - played.scales.position_from) / played.scales.position_span
        if size:
            yield Effort(part.bar, size * part.seconds, size, f"up to fret {high}")


def voices(played: Performance) -> Iterator[Effort]:
    """Notes at once beyond the first."""
    for part in played.soundings:
        size = (len(part.notes) - 1) / played.scales.voices_span
        if size:
            text = f"{len(part.notes)} notes at once"
            yield Effort(part.bar, size * part.seconds, size, text)


def moves(played: Performance) -> Iterator[Effort]:
    """Fretting fingers that move: bits of movement."""
    for move in played.moves:
        amount = move.bits / played.scales.moves_bits
        size = 0.0 if move.before == move.after else move.bits / move.seconds
        yield Effort(played.bar(move.onset), amount, size, move_text(move))


def shifting(played: Performance) -> Iterator[Effort]:
    """Shifts of the hand along the neck: how many in a second."""
    starts = [moment.onset for moment in played.music.moments]
    for shift in shifts(played.music):
        place = bisect_left(starts, shift.onset)
        seconds = played.seconds(shift.onset - starts[max(0, place - 1)])
        text = f"a shift from position {shift.before} to position {shift.after}"
        text += f", {seconds:.2f} s for it" if seconds else ""
        size = abs(shift.after - shift.before) / max(seconds, SHORTEST)
        amount = 1 / played.scales.shifts_rate
        yield Effort(played.bar(shift.onset), amount, size, text)


def changing(played: Performance) -> Iterator[Effort]:
    """Changes of the chord shape from bar to bar: fingers that go elsewhere in a second.

    Only a shape that the tab holds counts, and only fingers of it that play: a chord named
    over other notes is no shape to go to or to come from.
    """
    held = _held_shapes(played)
    for bar, (before, after) in enumerate(pairwise(held), start=1):
        ways = [
            (len(_fingers_that_move(one.shape, other)), one.shape, other.shape)
            for one in before
            for other in after
        ]
        moving, start, goal = max(ways, key=lambda way: way[0], default=(0, None, None))
        if moving and start and goal:
            text = f"from {start.name} to {goal.name} {counted(moving, 'finger')} "
            text += "moves" if moving == 1 else "move"
            yield Effort(bar, moving / played.scales.changes_rate, moving, text)


@dataclass(frozen=True, slots=True)
class _Held:
    """A shape in a bar, and the fingers of it that play there."""

    shape: Shape
    playing: frozenset[str]


def _held_shapes(played: Performance) -> list[list[_Held]]:
    """By bar: the shapes its chord is named by of which two fingers play, or the only one.

    Mostly one or none; two of a name may share their fingers.
    """
    bars = played.music.arrangement.bars
    pressed: list[set[tuple[Spot, str]]] = [set() for _ in bars]
    for note in played.music.notes:
        if note.fret:
            pressed[played.bar(note.onset)].add(((note.string, note.fret), note.left))
    found = []
    for bar, spots in zip(bars, pressed, strict=True):
        named = [shape for shape in played.music.arrangement.shapes if shape.name == bar.chord]
        held = [_Held(shape, _playing(shape, spots)) for shape in named]
        found.append([one for one in held if len(one.playing) >= min(2, len(_lie(one.shape)))])
    return found


def _playing(shape: Shape, pressed: set[tuple[Spot, str]]) -> frozenset[str]:
    """Fingers of the shape that press at least one string of theirs."""
    return frozenset(
        finger
        for finger, spots in _lie(shape).items()
        if any((spot, finger) in pressed for spot in spots)
    )


def _fingers_that_move(before: Shape, after: _Held) -> set[str]:
    """Fingers that play in the second shape and lie elsewhere, or nowhere, in the first."""
    there, here = _lie(before), _lie(after.shape)
    return {finger for finger in after.playing if here[finger] != there.get(finger)}


def _lie(shape: Shape) -> dict[str, set[Spot]]:
    """Where each finger of a shape lies."""
    found: dict[str, set[Spot]] = {}
    for string, fret, finger in zip(range(6, 0, -1), shape.frets, shape.fingers, strict=True):
        if finger and fret:
            found.setdefault(finger, set()).add((string, fret))
    return found
