"""Note values: how a length is written as notes, dots, ties and triplets.

Lengths are exact fractions of a written quarter.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from arranger.music.time import Beat

# The names MusicXML gives to note values, longest first, with their length in quarters.
TYPES: tuple[tuple[str, Beat], ...] = (
    ("breve", Beat(8)),
    ("whole", Beat(4)),
    ("half", Beat(2)),
    ("quarter", Beat(1)),
    ("eighth", Beat(1, 2)),
    ("16th", Beat(1, 4)),
    ("32nd", Beat(1, 8)),
    ("64th", Beat(1, 16)),
    ("128th", Beat(1, 32)),
    ("256th", Beat(1, 64)),
    ("512th", Beat(1, 128)),
    ("1024th", Beat(1, 256)),
)
_MOST_DOTS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteValue:
    """A notated value: ``type`` with ``dots``; ``actual`` of them in the time of ``normal``."""

    length: Beat
    type: str
    dots: int = 0
    actual: int = 1
    normal: int = 1

    @property
    def spoken(self) -> str:
        """``dotted quarter note``."""
        dotted = ("", "dotted ", "double-dotted ")[self.dots]
        return f"{dotted}{self.type} note"


_PLAIN = {
    value.length: value
    for value in (
        NoteValue(length=base * (2 - Beat(1, 2**dots)), type=name, dots=dots)
        for name, base in TYPES
        for dots in range(_MOST_DOTS + 1)
    )
}


def plain_value(length: Beat) -> NoteValue | None:
    """The one undivided note value (up to two dots) of this length, if there is one."""
    return _PLAIN.get(length)


def tuplet_value(length: Beat) -> NoteValue | None:
    """The value of this length inside a tuplet whose division its denominator names.

    A third of a quarter is an eighth, three in the time of two; a fifth a sixteenth, five
    in the time of four.
    """
    odd = length.denominator
    while odd % 2 == 0:
        odd //= 2
    if odd == 1:
        return None
    normal = 1
    while normal * 2 < odd:
        normal *= 2
    value = plain_value(length * odd / normal)
    if value is None:
        return None
    return NoteValue(length=length, type=value.type, dots=value.dots, actual=odd, normal=normal)


def value_of(length: Beat) -> NoteValue | None:
    """The single note value of this length, plain or in a tuplet, or None."""
    return plain_value(length) or tuplet_value(length)


@lru_cache(maxsize=4096)
def split(start: Beat, end: Beat, *, pulse: Beat, compound: bool) -> tuple[NoteValue, ...]:
    """The note values, to be tied, that write ``[start, end)`` of one bar.

    ``start`` and ``end`` count from where the bar's first beat lies or would lie; ``pulse`` is
    the meter's beat. A value may cross a beat only when it starts on one, or when it is the
    plain syncopation short-long-short around one beat that every reader knows; otherwise
    it is cut at the beat so that the beats can be seen.
    """
    return tuple(_pieces(start, end, pulse, compound))


def _pieces(start: Beat, end: Beat, pulse: Beat, compound: bool) -> Iterator[NoteValue]:
    while start < end:
        stop = _longest(start, end, pulse, compound)
        value = value_of(stop - start)
        if value is None:
            yield from _by_division(stop - start)
        else:
            yield value
        start = stop


def _longest(start: Beat, end: Beat, pulse: Beat, compound: bool) -> Beat:
    """The latest point up to which one value written from ``start`` stays readable."""
    next_beat = (start // pulse + 1) * pulse
    on_beat = start % pulse == 0
    if end <= next_beat:
        stop = end
    elif on_beat:
        stop = end if _readable_from_beat(start, end, pulse, compound) else end // pulse * pulse
        while stop > next_beat and not _readable_from_beat(start, stop, pulse, compound):
            stop -= pulse
    elif _is_syncopation(start, end, pulse, compound):
        stop = end
    else:
        stop = next_beat
    if value_of(stop - start) is not None:
        return stop
    return _inner_stop(start, stop, pulse)


def _readable_from_beat(start: Beat, end: Beat, pulse: Beat, compound: bool) -> bool:
    """On a beat: whole beats, or beat and a half, as long as one value can say it."""
    length = end - start
    value = plain_value(length)
    if value is None or value.dots > 1:
        return False
    if compound:
        return length % pulse == 0
    return length % pulse == 0 or length == pulse * 3 / 2


def _is_syncopation(start: Beat, end: Beat, pulse: Beat, compound: bool) -> bool:
    """One beat long, begun half a beat late, not across the middle of an even bar."""
    across = (start // pulse + 1) * pulse
    return (
        not compound
        and start % pulse == pulse / 2
        and end - start == pulse
        and (across / pulse) % 2 == 1
    )


def _inner_stop(start: Beat, stop: Beat, pulse: Beat) -> Beat:
    """A cut inside a beat, for a length no single value has: at the half, else the quarter."""
    for division in (pulse / 2, pulse / 3, pulse / 4, pulse / 8):
        cut = (start // division + 1) * division
        if start < cut < stop and value_of(cut - start) is not None:
            return cut
    return stop


def _by_division(length: Beat) -> Iterator[NoteValue]:
    """Equal small values that add up to an awkward length (a last resort, still exact)."""
    unit = Beat(1, length.denominator)
    value = value_of(unit)
    if value is None:
        raise ValueError(f"no note value for a length of {length} quarters")
    for _ in range(length.numerator):
        yield value
