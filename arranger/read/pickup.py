"""Where bar 1 begins when the file does not say: pick-ups found by ear.

Many exporters write a pick-up without a short first signature, so that every bar line of
the file comes too early. For each phase (in eighths) the notes are asked how much they look
like downbeats: low notes, many notes, long notes, changes of harmony, and few notes held
across. Weights: ``tables/pickup.toml``.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from statistics import fmean

import numpy as np
import numpy.typing as npt
from pydantic import Field

from arranger.read.piece import Piece, PlayedNote, Signature
from arranger.tables import Table, load

Ints = npt.NDArray[np.int64]
FEATURES = ("low", "many", "long", "change", "across", "marks", "last", "none")


class PickupTable(Table):
    """Weights of the features of a phase, and when a pick-up is believed."""

    low: float
    many: float
    long: float
    change: float
    across: float
    marks: float
    last: float
    none: float
    margin: float = Field(ge=0)
    bars: int = Field(ge=4)
    bars_followed: int = Field(ge=4)
    least_bars: int = Field(ge=2)

    def score(self, features: Sequence[float]) -> float:
        weights: list[float] = [getattr(self, name) for name in FEATURES]
        return sum(w * value for w, value in zip(weights, features, strict=True))


def find_pickup(piece: Piece, signature: Signature) -> int:
    """The length (units) of a pick-up before the first bar of ``signature``; 0 for none."""
    table = load("pickup", PickupTable)
    bar = signature.bar_length(piece.unit)
    eighth = piece.unit // 2
    if bar % eighth or bar <= eighth or piece.end < table.least_bars * bar:
        return 0
    scores = Listener(piece).phases(bar)
    best = max(range(len(scores)), key=scores.__getitem__)
    return best * eighth if scores[best] >= scores[0] + table.margin else 0


def features_of(piece: Piece, bar: int, phase: int, most_bars: int) -> list[float]:
    """How much the times ``phase + k * bar`` look like downbeats, in order of FEATURES."""
    return _features(piece, _Sound(piece.notes), bar, phase, most_bars)


class Listener:
    """Scores phases of one piece, each once.

    Beats that were followed by ear may begin anywhere in a bar: there the first is no likelier
    a downbeat than another, and neither is it where ``anywhere``.
    """

    def __init__(self, piece: Piece, *, anywhere: bool = False) -> None:
        table = load("pickup", PickupTable)
        anywhere = anywhere or piece.followed is not None
        self.table = table.model_copy(update={"none": 0.0}) if anywhere else table
        self.bars = table.bars if piece.followed is None else table.bars_followed
        self.piece, self.sound = piece, _Sound(piece.notes)
        self.scores: dict[tuple[int, int], float] = {}

    def score(self, bar: int, phase: int) -> float:
        """How much the times ``phase + k * bar`` look like downbeats."""
        if (bar, phase) not in self.scores:
            features = _features(self.piece, self.sound, bar, phase, self.bars)
            self.scores[bar, phase] = self.table.score(features)
        return self.scores[bar, phase]

    def phases(self, bar: int) -> list[float]:
        """The scores of all phases, in eighths."""
        return [self.score(bar, phase) for phase in range(0, bar, self.piece.unit // 2)]


class _Sound:
    """The notes of a piece as arrays; sums of what sounds before a time."""

    def __init__(self, notes: Sequence[PlayedNote]) -> None:
        self.notes = notes
        self.starts = [note.start for note in notes]
        self.start = np.array(self.starts, dtype=np.int64)
        self.end = np.array([note.end for note in notes], dtype=np.int64)
        self.last = int(self.end.max())
        tones = np.array([note.midi for note in notes], dtype=np.int64) % 12
        ends = np.maximum(self.start, self.end)
        self.by_tone = [
            [_running(np.sort(times[tones == tone])) for times in (self.start, ends)]
            for tone in range(12)
        ]

    def chroma(self, edges: Ints) -> Ints:
        """How long each pitch class sounds between neighbouring times: (times - 1) x 12."""
        before = np.empty((len(edges), 12), dtype=np.int64)
        for tone, (begun, ended) in enumerate(self.by_tone):
            before[:, tone] = _passed(*begun, edges) - _passed(*ended, edges)
        heard: Ints = np.diff(before, axis=0)
        return heard


def _running(times: Ints) -> tuple[Ints, Ints]:
    """Times in order with their running sums."""
    return times, np.concatenate([[0], np.cumsum(times)])


def _passed(times: Ints, sums: Ints, until: Ints) -> Ints:
    """The time from all of ``times`` to each of ``until``, those after it left out."""
    count = np.searchsorted(times, until)
    passed: Ints = count * until - sums[count]
    return passed


def _features(piece: Piece, sound: _Sound, bar: int, phase: int, most_bars: int) -> list[float]:
    stop = min(sound.last, phase + most_bars * bar)
    downbeats = range(phase, stop, bar)
    near = piece.unit // 16
    struck = [_struck(sound, at, near) for at in downbeats]
    within = bisect_left(sound.starts, stop)
    if not within or not struck:
        return [0.0] * len(FEATURES)
    middle = fmean(note.midi for note in sound.notes[:within])
    return [
        fmean(max((middle - n.midi for n in hit), default=0.0) / 12 for hit in struck),
        fmean(len(hit) for hit in struck) / max(1.0, within * piece.unit / stop),
        fmean(max((n.end - n.start for n in hit), default=0) / piece.unit for hit in struck),
        _harmony_change(sound, downbeats, bar),
        _held_across(sound.start[:within] + near, sound.end[:within] - near, downbeats),
        _marks(piece, bar, phase),
        float((sound.starts[-1] - phase) % bar < near),
        float(phase == 0),
    ]


def _struck(sound: _Sound, at: int, near: int) -> Sequence[PlayedNote]:
    low, high = bisect_left(sound.starts, at - near), bisect_left(sound.starts, at + near)
    return sound.notes[low:high]


def _harmony_change(sound: _Sound, downbeats: range, bar: int) -> float:
    """Mean distance (0..1) of the pitch classes of half a bar before and after downbeats."""
    half = max(1, bar // 2)
    offset = downbeats.start % half
    windows = (np.array(downbeats) - offset) // half
    edges = np.arange(windows[0] - 1, windows[-1] + 2) * half + offset
    heard = sound.chroma(edges).astype(np.float64).tolist()
    changes = []
    for window in (windows - windows[0]).tolist():
        before, after = heard[window], heard[window + 1]
        if any(before) and any(after):
            changes.append(1.0 - _cosine(before, after))
    return fmean(changes) if changes else 0.0


def _cosine(one: Sequence[float], two: Sequence[float]) -> float:
    product = sum(a * b for a, b in zip(one, two, strict=True))
    norm = (sum(a * a for a in one) * sum(b * b for b in two)) ** 0.5
    return product / norm if norm else 0.0


def _held_across(start: Ints, end: Ints, downbeats: range) -> float:
    """Notes that are held across a downbeat, per downbeat."""
    bar, phase = downbeats.step, downbeats.start
    following = (start - phase) // bar * bar + phase + bar
    return np.count_nonzero((start < following) & (following < end)) / max(1, len(downbeats))


def _marks(piece: Piece, bar: int, phase: int) -> float:
    """Share of the file's later key and tempo marks that stand at a bar line."""
    ats = {mark.at for mark in piece.keys if mark.at > bar}
    ats |= {mark.at for mark in piece.tempos if mark.at > bar}
    if not ats:
        return 0.0
    return fmean(float((at - phase) % bar == 0) for at in ats)
