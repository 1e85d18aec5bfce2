"""The arrangement: placed and fingered notes, the value that ``neck`` returns."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, get_args

from arranger.music.key import Key
from arranger.music.moments import Moments
from arranger.music.score import SourceWarning
from arranger.music.time import Beat

if TYPE_CHECKING:
    from arranger.music.others import BarAlternative

Voice = Literal["melody", "bass", "inner"]
LeftFinger = Literal["0", "1", "2", "3", "4", "T"]
RightFinger = Literal["p", "i", "m", "a"]
Slur = Literal["hammer-on", "pull-off", "slide"]
LEFT_FINGERS: tuple[LeftFinger, ...] = get_args(LeftFinger)
RIGHT_FINGERS: tuple[RightFinger, ...] = get_args(RightFinger)
"""From the thumb up, the order in which a hand plucks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement:
    """A note on the neck.

    ``length`` is how long the note is held (not how long the string rings); ``midi`` is
    what sounds; ``fret`` counts from the capo; ``string`` 1 is the highest; ``bar`` is
    a printed number; ``slur`` says how this note is reached from the one before on its
    string, when it is not plucked; ``source`` holds indices into ``Score.notes``, empty
    for a note that the arranger added.
    """

    onset: Beat
    length: Beat
    midi: int
    string: int
    fret: int
    left: LeftFinger
    right: RightFinger
    voice: Voice
    bar: int
    slur: Slur | None = None
    source: tuple[int, ...] = ()

    @property
    def end(self) -> Beat:
        return self.onset + self.length


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """A chord shape as a diagram: six entries, string 6 first.

    ``frets``: None is a string that is not played. ``fingers``: "1".."4", "T", or None
    for open and unplayed strings. ``barre`` is the fret of a barre, or None.
    """

    name: str
    frets: tuple[int | None, ...]
    fingers: tuple[str | None, ...]
    barre: int | None = None

    @property
    def shorthand(self) -> str:
        """``x32010``; frets above nine are set apart by hyphens."""
        marks = ["x" if fret is None else str(fret) for fret in self.frets]
        return ("-" if any(len(mark) > 1 for mark in marks) else "").join(marks)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChordMark:
    """A chord name over the tab; ``shape`` indexes ``Arrangement.shapes`` or is None."""

    onset: Beat
    name: str
    shape: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ArrangedBar:
    """A bar of the arrangement.

    ``beat`` is the thumb's beat in quarters of the source; ``written_bar`` numbers the
    bars as printed; ``same_as`` is the printed number of an earlier bar with the same
    tab, or None; ``section`` is the letter of the section that begins here, or None;
    ``slows``: the tempo sinks in it, because the teacher's marks ask for it.
    """

    bar: int
    start: Beat
    length: Beat
    beat: Beat
    written_bar: int
    numerator: int
    denominator: int
    chord: str | None
    same_as: int | None
    section: str | None = None
    slows: bool = False

    @property
    def end(self) -> Beat:
        return self.start + self.length


def in_bars(onsets: Sequence[Beat], bars: Iterable[ArrangedBar]) -> Iterator[slice]:
    """For each bar which of the (sorted) onsets lie in it."""
    moments = Moments(onsets)
    for bar in bars:
        yield slice(moments.before(bar.start), moments.before(bar.end))


@dataclass(frozen=True, slots=True, kw_only=True)
class Dropped:
    """A melody note of the source that is not played, and why."""

    onset: Beat
    midi: int
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """Something decided that a teacher may want otherwise, and the option to say so."""

    text: str
    option: str


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyChoice:
    """A key that was tried.

    ``dearer`` is the share by which it costs more than the best key; where it was not
    ``solved`` with everything, in a plain version of some bars (0.1: a tenth more).
    ``reason`` says in words what speaks for it.
    """

    key: Key
    transposed_by: int
    dearer: float
    solved: bool
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """How close to best: the model's objective and a lower bound on it (lower is better)."""

    objective: float
    bound: float
    seconds: float

    @property
    def gap(self) -> float:
        """(objective - bound) / objective, 0 when proven optimal."""
        if self.objective == 0:
            return 0.0
        return max(0.0, (self.objective - self.bound) / abs(self.objective))


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrangement:
    """One piece for one level and player.

    ``key`` is the key the hand plays in; with a capo it sounds ``capo`` semitones
    higher. ``transposed_by`` leads from the source to what sounds, octave folds apart.
    ``tuning`` holds MIDI numbers of strings 1..6 without capo. ``target_tempo`` and
    ``student_tempo`` are quarter notes of the source a minute. ``notes`` are sorted by
    onset, then from string 6 to string 1. ``keys`` holds every key tried, the best first,
    ``others`` the other ways to play a bar that were asked for.
    """

    title: str
    composer: str
    level: str
    file: str
    sha256: str
    warnings: tuple[SourceWarning, ...]
    key: Key
    transposed_by: int
    capo: int
    tuning: tuple[int, ...]
    target_tempo: float
    student_tempo: float
    swing: float
    written_scale: int
    bars: tuple[ArrangedBar, ...]
    chords: tuple[ChordMark, ...]
    shapes: tuple[Shape, ...]
    notes: tuple[Placement, ...]
    dropped: tuple[Dropped, ...]
    decisions: tuple[Decision, ...]
    proof: Proof
    keys: tuple[KeyChoice, ...] = ()
    others: tuple[BarAlternative, ...] = ()
