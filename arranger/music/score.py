"""What was read: notes, bars, tempo, with the repairs that were made on the way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from arranger.music.key import Key
from arranger.music.moments import Moments
from arranger.music.once import once
from arranger.music.time import Beat

Hand = Literal["right", "left"]
HandsFrom = Literal[
    "names",  # the parts are named for the hands
    "parts",  # one of two parts lies above the other
    "register",  # each of many parts went to the hand whose register it lies in
    "ear",  # one stream of notes, told apart by ear
    "teacher",  # said by the teacher
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """A note of the source.

    ``index`` is its place in ``Score.notes`` (sorted by onset, then pitch from high to
    low); ``velocity`` 1..127; ``track`` counts the parts of the file from 0 (tracks that
    hold notes; channels, where one track holds them all); ``ornament`` marks a grace note
    or the late notes of a rolled chord.
    """

    index: int
    onset: Beat
    length: Beat
    midi: int
    hand: Hand
    velocity: int = 80
    track: int = 0
    ornament: Literal["grace", "roll"] | None = None

    @property
    def end(self) -> Beat:
        return self.onset + self.length


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """A bar as played. ``number`` is what is printed: a pick-up is bar 0.

    ``length`` may be shorter than the meter says (pick-ups, halves at a repeat).
    """

    number: int
    start: Beat
    length: Beat
    numerator: int
    denominator: int

    @property
    def end(self) -> Beat:
        return self.start + self.length


@dataclass(frozen=True, slots=True, kw_only=True)
class TempoMark:
    """From ``onset`` on, ``quarters`` quarter notes a minute."""

    onset: Beat
    quarters: float


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyMark:
    """A key signature of the file, from ``onset`` on."""

    onset: Beat
    key: Key


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceWarning:
    """Something noticed or mended while reading; ``bar`` is a printed number or None."""

    code: str
    text: str
    bar: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """A piece as read: the value that ``read`` returns.

    ``tempo`` is the prevailing tempo in quarter notes a minute; ``tempo_stated`` says
    whether the file gave it. ``bars`` cover the piece without gaps. ``swing`` is the
    long:short ratio found in the file and already taken out of the onsets (1.0: none).
    ``parts`` are the names of the parts that ``Note.track`` counts ("" where the file gives
    none); ``hands_from`` says how the hands were told; ``voice`` is the part that has the
    tune to itself, None where there is none. ``followed``: the file keeps no time and its
    beats were followed, 0..1 how surely; then ``tempos`` is the curve that was played.
    """

    title: str
    composer: str
    file: str
    sha256: str
    notes: tuple[Note, ...]
    bars: tuple[Bar, ...]
    tempos: tuple[TempoMark, ...]
    tempo: float
    tempo_stated: bool
    keys: tuple[KeyMark, ...] = ()
    swing: float = 1.0
    parts: tuple[str, ...] = ()
    hands_from: HandsFrom = "parts"
    voice: int | None = None
    followed: float | None = None
    warnings: tuple[SourceWarning, ...] = ()

    @property
    def end(self) -> Beat:
        return self.bars[-1].end

    def bar_index_at(self, onset: Beat) -> int:
        """Index into ``bars`` of the bar that holds ``onset`` (clamped to the piece)."""
        return max(0, _starts(self.bars).until(onset) - 1)


@once
def _starts(bars: tuple[Bar, ...]) -> Moments:
    return Moments([bar.start for bar in bars])
