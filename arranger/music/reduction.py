"""What may be played: the value that ``reduce`` returns and ``neck`` decides on.

Pitches are those of the source; ``neck`` transposes. Costs are in points, lower is
better; a point is roughly one finger put down (see tables/weights.toml).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from arranger.music.analysis import Analysis
from arranger.music.arrangement import Decision, Dropped
from arranger.music.chord import Chord
from arranger.music.key import Key
from arranger.music.marks import Marks
from arranger.music.time import Beat

Joint = Literal["phrase", "breath", "inside"]
"""How the tune is joined to what came before: a new phrase, a breath, or one line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MelodyNote:
    """A note of the tune that is to be played; ``source`` holds indices of source notes.

    ``doubled``: the source's hand plays it in octaves, so that either of the two is the tune.
    ``neighbour``: it only leaves the note before it for a step and comes back.
    ``weight``: how much the step into it counts, more than 1 where a motif returns.
    """

    onset: Beat
    length: Beat
    midi: int
    joint: Joint
    doubled: bool
    neighbour: bool
    weight: float
    source: tuple[int, ...]

    @property
    def end(self) -> Beat:
        return self.onset + self.length


@dataclass(frozen=True, slots=True, kw_only=True)
class BassChoice:
    """A tone the thumb may play: its pitch class and what it costs the music.

    ``added``: neither the source has it nor the chord; it leads to the next chord's bass.
    """

    pitch_class: int
    cost: float
    added: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """A thumb stroke.

    ``alternates``: it should leave the string of the stroke before. ``step`` is the
    source bass's interval in semitones from the stroke before where both belong to a
    bass line whose direction matters, else None. ``rest_cost`` is what leaving it out
    costs. ``source`` is the index of the source bass note it stands for, or None.
    """

    onset: Beat
    length: Beat
    choices: tuple[BassChoice, ...]
    alternates: bool
    step: int | None
    rest_cost: float
    source: int | None

    @property
    def end(self) -> Beat:
        return self.onset + self.length


@dataclass(frozen=True, slots=True, kw_only=True)
class FillWish:
    """Inner notes wished for at a moment: pitch classes, and the cost of having none."""

    pitch_classes: tuple[int, ...]
    cost: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Slot:
    """A moment at which a note begins, until the next such moment.

    ``bar`` indexes ``score.bars``; ``melody`` and ``stroke`` index the reduction's
    tuples (None: silent), with whether the note begins here; ``chord_begins`` is where
    a change of harmony, and so of shape, falls. ``strong`` marks a beat on which the
    hand may also change its shape under one harmony.
    """

    onset: Beat
    length: Beat
    bar: int
    melody: int | None
    melody_begins: bool
    stroke: int | None
    stroke_begins: bool
    chord: Chord | None
    chord_begins: bool
    strong: bool
    fill: FillWish | None

    @property
    def end(self) -> Beat:
        return self.onset + self.length


@dataclass(frozen=True, slots=True, kw_only=True)
class BarWish:
    """What a bar owes: the third of its main chord (None: the tune has it) and its cost.

    It has to be heard in ``[start, end)``, while that chord lasts in the bar.
    """

    third: int | None
    cost: float
    start: Beat
    end: Beat

    def covers(self, onset: Beat) -> bool:
        """Whether the third is owed at ``onset``."""
        return self.third is not None and self.start <= onset < self.end


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """A key to try: ``transposition`` in semitones (-6..5).

    ``promise`` ranks keys before any is solved (lower is better); ``key_cost`` is
    what it costs by itself, in points a bar: its signature, and chords that do not lie open.
    """

    key: Key
    transposition: int
    promise: float
    key_cost: float
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Reduction:
    """All that may be played, bar by bar, before strings and fingers are chosen.

    ``slots`` cover the piece in order without gaps. ``settings`` are the keys to try,
    the most promising first; ``capo`` raises what sounds, not what the hand does.
    """

    analysis: Analysis
    level: str
    target_tempo: float
    student_tempo: float
    written_scale: int
    capo: int
    marks: Marks
    settings: tuple[Setting, ...]
    melody: tuple[MelodyNote, ...]
    strokes: tuple[Stroke, ...]
    slots: tuple[Slot, ...]
    bar_wishes: tuple[BarWish, ...]
    thumb_beats: tuple[Beat, ...]
    dropped: tuple[Dropped, ...]
    decisions: tuple[Decision, ...]

    def seconds(self, length: Beat) -> float:
        """How long ``length`` lasts at the student's tempo."""
        return float(length) * 60.0 / self.student_tempo
