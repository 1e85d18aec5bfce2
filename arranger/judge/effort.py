"""What the hands do, in seconds and millimetres: what every feature of difficulty reads.

Conventions
-----------
A feature (``fretting``, ``plucking``) yields efforts. An effort has an amount in the
feature's unit times seconds; the feature's value over a stretch of music is the sum of its
amounts divided by the stretch's seconds at the student's tempo. Held things (a stretch, a
barre) thus count by the share of time they last, done things (a move, a pluck) by how many
come in a second.

Every feature is monotone: no amount, and no largest size, rises when the tempo falls or
when a note is taken out. That is why a finger's way is measured so that the way around
never is shorter than the straight one, and why off-beats are counted from the beat of the
bar, not from what the thumb happens to play.

References
----------
Fitts (1954): a movement over D to a target of width W carries log2(1 + D / W) bits (the
form of MacKenzie, 1992); bits a second say how pressing it is. From memory.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from math import hypot, log2

from arranger.judge.grip import HandLimits
from arranger.judge.hearing import Hearing, bar_index_at
from arranger.music.arrangement import Placement
from arranger.music.time import Beat
from arranger.tables.difficulty import Scales

SHORTEST = 0.01
"""Seconds: what comes with no time before it counts as this."""


@dataclass(frozen=True, slots=True)
class Effort:
    """Something the hands do in a bar (index into ``Arrangement.bars``).

    ``amount``: see the module; ``size`` ranks efforts of one feature, larger is harder;
    ``text`` says it in plain words.
    """

    bar: int
    amount: float
    size: float
    text: str


@dataclass(frozen=True, slots=True)
class Sounding:
    """A time from ``start`` on in which nothing starts or stops; ``notes`` sound on."""

    bar: int
    start: Beat
    seconds: float
    notes: tuple[Placement, ...]


Spot = tuple[int, int]
"""A place on the neck: string and fret."""


@dataclass(frozen=True, slots=True)
class Move:
    """A finger's way from one place to the next, with the seconds it has for it.

    ``before`` and ``after`` are the spots ``(string, fret)`` that it holds, several under
    a barre; ``bits`` are those of the whole way, ``bits_along`` of the way along the neck.
    """

    finger: str
    before: tuple[Spot, ...]
    after: tuple[Spot, ...]
    onset: Beat
    seconds: float
    bits: float
    bits_along: float

    @property
    def pressing(self) -> float:
        """Bits a second along the neck."""
        return self.bits_along / self.seconds


@dataclass(frozen=True, slots=True, kw_only=True)
class Performance:
    """The music heard at the student's tempo.

    ``arrivals`` finds a move by its finger and the time at which it lands.
    """

    music: Hearing
    scales: Scales
    soundings: tuple[Sounding, ...] = field(repr=False)
    moves: tuple[Move, ...] = field(repr=False)
    arrivals: Mapping[tuple[str, Beat], Move] = field(repr=False)

    def seconds(self, length: Beat) -> float:
        return _seconds(self.music, length)

    def bar(self, onset: Beat) -> int:
        return bar_index_at(self.music.arrangement, onset)


Feature = Callable[[Performance], Iterator[Effort]]


def perform(music: Hearing, scales: Scales) -> Performance:
    moves = tuple(_finger_moves(music, scales))
    return Performance(
        music=music,
        scales=scales,
        soundings=tuple(_soundings(music)),
        moves=moves,
        arrivals={(move.finger, move.onset): move for move in moves},
    )


def counted(number: int, thing: str) -> str:
    """``1 finger``, ``2 fingers``."""
    return f"{number} {thing}" + ("" if number == 1 else "s")


def _seconds(music: Hearing, length: Beat) -> float:
    """How long ``length`` lasts at the student's tempo."""
    return float(length) * 60.0 / music.arrangement.student_tempo


def _soundings(music: Hearing) -> Iterator[Sounding]:
    arrangement = music.arrangement
    edges = {bar.start for bar in arrangement.bars}
    edges |= {note.onset for note in music.notes} | {note.end for note in music.notes}
    times = sorted(edges)
    waiting = sorted(music.notes, key=lambda note: note.onset, reverse=True)
    sounding: list[Placement] = []
    for start, end in pairwise(times):
        sounding = [note for note in sounding if note.end > start]
        while waiting and waiting[-1].onset <= start:
            sounding.append(waiting.pop())
        if sounding:
            place = bar_index_at(arrangement, start)
            yield Sounding(place, start, _seconds(music, end - start), tuple(sounding))


def _finger_moves(music: Hearing, scales: Scales) -> Iterator[Move]:
    """Every way of a fretting finger from one strike to its next, by finger and time.

    A finger is free from the last moment at which something starts while it holds a
    string. Its way is the longest between a string that it holds in the one stay and a
    string of the other, so that striking again under a barre is a way of its width.
    """
    width = scales.finger_width
    starts = [moment.onset for moment in music.moments]
    for finger, notes in _notes_by_finger(music).items():
        for one, other in pairwise(_strikes(notes)):
            free = starts[bisect_left(starts, min(one.released, other.onset)) - 1]
            ways = [_way(music.limits, a, b) for a in one.stay for b in other.stay]
            if (longest := max(hypot(*way) for way in ways)) > 0:
                yield Move(
                    finger=finger,
                    before=one.stay,
                    after=other.stay,
                    onset=other.onset,
                    seconds=_seconds(music, other.onset - max(free, one.onset)),
                    bits=log2(1 + longest / width),
                    bits_along=log2(1 + max(along for along, _ in ways) / width),
                )


def _notes_by_finger(music: Hearing) -> dict[str, list[Placement]]:
    found: dict[str, list[Placement]] = {}
    for note in sorted(music.notes, key=lambda note: note.onset):
        if note.fret > 0:
            found.setdefault(note.left, []).append(note)
    return dict(sorted(found.items()))


@dataclass(frozen=True, slots=True)
class _Strike:
    """A moment at which a finger's notes begin.

    ``released`` is when the last note of the finger begun by then ends; ``stay`` holds the
    spots of the run of notes around the strike of which each begins before the ones
    before it have ended: one spot, or several under a barre.
    """

    onset: Beat
    released: Beat
    stay: tuple[Spot, ...]


def _strikes(notes: Sequence[Placement]) -> list[_Strike]:
    """The strikes of one finger, whose notes are given in order."""
    runs: list[list[Placement]] = []
    released: dict[Beat, Beat] = {}
    end: Beat | None = None
    for note in notes:
        if end is None or note.onset >= end:
            runs.append([])
            end = note.end
        runs[-1].append(note)
        end = max(end, note.end)
        released[note.onset] = end
    return [
        _Strike(onset, released[onset], stay)
        for run in runs
        for stay in [tuple(sorted({(note.string, note.fret) for note in run}))]
        for onset in dict.fromkeys(note.onset for note in run)
    ]


def _way(limits: HandLimits, one: Spot, other: Spot) -> tuple[float, float]:
    """Distance in mm along the neck and across it between two spots."""
    along = abs(limits.along(one[1]) - limits.along(other[1]))
    return along, abs(one[0] - other[0]) * limits.string_spacing


def move_text(move: Move) -> str:
    """``finger 3 from string 5 fret 3 to string 2 fret 3, 0.30 s to get there``."""
    who = "the thumb" if move.finger == "T" else f"finger {move.finger}"
    if move.before == move.after:
        return f"{who} keeps {_place(move.after)} down, struck again after {move.seconds:.2f} s"
    way = f"from {_place(move.before)} to {_place(move.after)}"
    return f"{who} {way}, {move.seconds:.2f} s to get there"


def _place(spots: Sequence[Spot]) -> str:
    """``string 5 fret 3``, ``strings 6–1 fret 1``."""
    low, high = spots[-1][0], spots[0][0]
    over = f"string {low}" if low == high else f"strings {low}–{high}"
    return f"{over} fret {spots[-1][1]}"
