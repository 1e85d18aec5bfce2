"""Performances without a click: beats followed, notes put on them.

The onsets become a curve of strength in steps of 20 ms. A dynamic program (after Ellis 2007,
with the beat period as a second state so that the tempo may drift) finds the row of beats
that explains the curve best; a beat counts as a quarter. Times between beats are measured
in shares of their beat, and the tempo of each stretch is kept.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from arranger.music.errors import UnreadableInput, UsageError
from arranger.read.piece import Piece, PlayedNote, PlayedTempo, Remark
from arranger.read.table import PerformanceTable, TempoTable

MOVES = (0, -1, 1, -2, 2)  # steps of the period from one beat to the next
NEVER = -1e9
NEAR = 0.05  # seconds from a beat within which an onset is taken to be played on it
Curve = npt.NDArray[np.float64]


def keeps_no_time(piece: Piece, table: PerformanceTable) -> bool:
    """Whether the notes show no trace of the file's own beats.

    With a click, even played loosely, onsets gather at some division of the quarter; the
    mean resultant length of their phases (Mardia & Jupp 2000) is then far from 0.
    """
    if piece.in_seconds:
        return True
    if len(piece.notes) < table.least_notes:
        return False
    starts = np.array([note.start for note in piece.notes], dtype=np.float64) / piece.unit
    strengths = [abs(np.exp(2j * np.pi * k * starts).mean()) for k in range(1, 9)]
    chance = table.by_chance / math.sqrt(len(starts))
    return bool(max(strengths) < table.gathered + chance)


@dataclass(frozen=True, slots=True, kw_only=True)
class Help:
    """What a teacher says of the beats: a tempo (beats a minute), or when they fall (s)."""

    tempo: float | None = None
    beats: tuple[float, ...] = ()


NO_HELP = Help()


def followed(
    piece: Piece,
    table: PerformanceTable,
    tempos: TempoTable,
    *,
    where: str,
    told: Help = NO_HELP,
    compound: bool = False,
) -> Piece:
    """``piece`` on beats of its own, with the tempo it was played in.

    A beat is a quarter, or a dotted quarter where the meter is ``compound``.

    Raises
    ------
    UnreadableInput : the beats cannot be told with any confidence.
    UsageError : the beats told lie beside the notes.
    """
    clock = _Clock(piece, tempos)
    onsets = np.array([clock(note.start) for note in piece.notes])
    divisions = (3, 2) if compound else (4, 3)
    if told.beats:
        found = _explained(_tapped(told.beats, onsets), onsets, table, divisions)
    else:
        pitches = [note.midi for note in piece.notes]
        found = _heard(onsets, pitches, table, told.tempo, divisions)
    beats, places, surety = found
    if surety < table.refused and not told.beats:
        raise UnreadableInput(
            "the notes keep no time that can be followed",
            where=where,
            next_step="Say how fast it goes (--tempo-hint) or when the beats fall (--beats), "
            "record with a click, or quantise the file.",
        )
    unit = piece.unit * 3 // 2 if compound else piece.unit
    start = math.floor(min(places))
    notes = [
        _renewed(note, at, _on_beats(beats, clock(note.end)), start, unit)
        for note, at in zip(piece.notes, places, strict=True)
    ]
    notes.sort(key=lambda note: (note.start, -note.midi, note.track, note.channel))
    return replace(
        piece,
        notes=tuple(notes),
        signatures=(),
        keys=tuple(replace(key, at=0) for key in piece.keys[:1]),
        tempos=tuple(_tempo_curve(beats, start, unit, piece.unit)),
        in_seconds=False,
        followed=surety,
        remarks=(*piece.remarks, _said(surety, told)),
    )


Explained = tuple[Curve, list[float], float]
"""Beats (s), the onsets counted in them, and how sure they are (0..1)."""


def _explained(
    beats: Curve, onsets: Curve, table: PerformanceTable, divisions: tuple[int, int]
) -> Explained:
    places = [_on_beats(beats, at) for at in onsets]
    return beats, places, _surety(places, table, divisions)


def _heard(
    onsets: Curve,
    pitches: Sequence[int],
    table: PerformanceTable,
    tempo: float | None,
    divisions: tuple[int, int],
) -> Explained:
    """The beats that are heard near a tempo, of which the teacher tells or none is told.

    Where the usual beat leaves doubts, others are listened for as if a teacher had told their
    tempo, and one that convinces is taken.
    """

    def near(told: float | None) -> Explained:
        beats = beats_of(onsets, pitches, _hinted(table, told))
        return _explained(beats, onsets, table, divisions)

    usual = near(tempo)
    if tempo is not None or usual[2] >= table.sure:
        return usual
    best = max(map(near, table.rehearings), key=lambda heard: heard[2])
    return best if best[2] >= table.convincing else usual


def _said(surety: float, told: Help) -> Remark:
    if told.beats:
        text = f"The notes were put on the beats tapped ({surety:.0%} sure)"
    else:
        text = (
            f"The file was played without a click; its beats were followed by ear "
            f"({surety:.0%} sure), check bars and rhythm (--meter, --tempo-hint, --beats)"
        )
    return Remark(code="performed", text=text)


def _hinted(table: PerformanceTable, tempo: float | None) -> PerformanceTable:
    """The table for a beat near the one told, None for any beat."""
    if tempo is None:
        return table
    beat = 60.0 / tempo
    return table.model_copy(
        update={
            "usual": beat,
            "fastest": beat / table.hint_slack,
            "slowest": beat * table.hint_slack,
            "usual_weight": table.hint_weight,
        }
    )


def _tapped(taps: Sequence[float], onsets: Curve) -> Curve:
    """The beats tapped, each drawn to the onsets near it, and carried on to cover all notes.

    Raises
    ------
    UsageError : most of the notes lie before or after the beats.
    """
    beats = [_settled(beat, onsets) for beat in taps]
    beats = [beat for beat, before in zip(beats, [-1e9, *beats], strict=False) if beat > before]
    inside = sum(beats[0] - 0.1 <= at <= beats[-1] + 0.1 for at in onsets) / len(onsets)
    if inside < 0.5 or len(beats) < 4:
        raise UsageError(
            f"only {inside:.0%} of the notes lie within the beats",
            where="--beats",
            next_step="Tap the whole piece, in seconds from the start of the file.",
        )
    head = float(np.median(np.diff(beats[:5])))
    tail = float(np.median(np.diff(beats[-5:])))
    before = math.ceil(max(0.0, beats[0] - float(onsets.min())) / head) + 1
    after = math.ceil(max(0.0, float(onsets.max()) - beats[-1]) / tail) + 2
    return np.array(
        [beats[0] - head * k for k in range(before, 0, -1)]
        + beats
        + [beats[-1] + tail * k for k in range(1, after + 1)]
    )


class _Clock:
    """Units of the file as seconds."""

    def __init__(self, piece: Piece, table: TempoTable) -> None:
        self.unit = piece.unit
        self.ats, self.seconds, self.pace = [0], [0.0], [60.0 / table.default]
        for tempo in piece.tempos:
            if table.least <= tempo.quarters <= table.most:
                at = self(tempo.at)
                self.ats.append(tempo.at)
                self.seconds.append(at)
                self.pace.append(60.0 / tempo.quarters)

    def __call__(self, at: int) -> float:
        place = bisect_right(self.ats, at) - 1
        return self.seconds[place] + (at - self.ats[place]) / self.unit * self.pace[place]


def beats_of(onsets: Curve, pitches: Sequence[int], table: PerformanceTable) -> Curve:
    """Times of beats (s) that follow ``onsets`` (s), first to last, one beat beyond each."""
    step = table.step
    first = float(onsets.min())
    strength = _strength(onsets - first, pitches, table)
    ratio = table.slowest / table.fastest
    periods = table.fastest * ratio ** (np.arange(table.periods) / (table.periods - 1))
    lags = np.maximum(1, np.round(periods / step).astype(np.int64))
    usual = -table.usual_weight * np.log2(periods / table.usual) ** 2
    gain = strength[:, None] * np.sqrt(periods / table.usual) + usual * periods
    frames = _best_row(gain, lags, table.drift)
    beats = first + np.array(frames) * step
    beats = np.array([_settled(beat, onsets) for beat in beats])
    head = 2 * beats[0] - beats[1]
    tail = 2 * beats[-1] - beats[-2]
    return np.concatenate([[head], beats, [tail, 2 * tail - beats[-1]]])


def _strength(onsets: Curve, pitches: Sequence[int], table: PerformanceTable) -> Curve:
    """Strength of onsets each ``table.step`` s: low notes count more, each a little spread."""
    frames = int(onsets.max() / table.step) + 2
    curve = np.zeros(frames)
    weights = [1.0 + table.low * (pitch < table.low_pitch) for pitch in pitches]
    np.add.at(curve, np.round(onsets / table.step).astype(np.int64), weights)
    width = np.arange(-5, 6) * table.step
    curve = np.convolve(np.sqrt(curve), np.exp(-0.5 * (width / table.blur) ** 2), "same")
    whole: Curve = curve / (curve.std() + 1e-9) - table.silence
    return whole


def _best_row(gain: Curve, lags: npt.NDArray[np.int64], drift: float) -> list[int]:
    """Frames of the best row of beats; state (frame, period), the period moves by steps.

    A beat comes from one that lies the shortest lag or more before it, so that so many frames
    are weighed at once.
    """
    frames, count = gain.shape
    longest, reach = int(lags.max()), max(abs(move) for move in MOVES)
    best = np.zeros((frames + longest, count + 2 * reach))
    best[:, :reach] = best[:, -reach:] = NEVER
    came = np.zeros((frames, count), dtype=np.int8)
    moves = np.array(MOVES, dtype=np.int8)
    toll = np.array([[drift * abs(move)] for move in MOVES])
    columns = np.array([np.arange(count) + reach + move for move in MOVES])
    at_once, width = int(lags.min()), best.shape[1]
    rows = np.arange(at_once)[:, None, None] + longest - lags
    sources = rows * width + columns
    for first in range(0, frames, at_once):
        some = slice(first, min(first + at_once, frames))
        options = best.ravel().take(sources[: some.stop - first] + first * width) - toll
        came[some] = moves[options.argmax(axis=1)]
        best[some.start + longest : some.stop + longest, reach:-reach] = gain[
            some
        ] + options.max(axis=1)
    best = best[longest:, reach:-reach]
    return _traced(best, came, lags)


def _traced(best: Curve, came: npt.NDArray[np.int8], lags: npt.NDArray[np.int64]) -> list[int]:
    """The row that ends best within the last beats, in order of time."""
    frames, count = best.shape
    tail = max(0, frames - int(lags.max()))
    frame, state = divmod(int(best[tail:].argmax()), count)
    frame += tail
    row = []
    while frame >= 0:
        row.append(frame)
        before = frame - int(lags[state])
        if before < 0:
            break
        state = min(count - 1, max(0, state + int(came[frame, state])))
        frame = before
    if len(row) < 2:
        row.append(row[0] - int(lags[state]))
    return row[::-1]


def _settled(beat: float, onsets: Curve) -> float:
    """A beat moved to the middle of the onsets, which are in order, that are near it."""
    around = onsets[slice(*np.searchsorted(onsets, (beat - 2 * NEAR, beat + 2 * NEAR)))]
    near = around[np.abs(around - beat) <= NEAR]
    return float(np.median(near)) if len(near) else beat


def _on_beats(beats: Curve, at: float) -> float:
    """A time (s) counted in beats from the second of ``beats``."""
    after = int(np.searchsorted(beats, at, side="right"))
    place = min(len(beats) - 2, max(0, after - 1))
    return float(place - 1 + (at - beats[place]) / (beats[place + 1] - beats[place]))


def _surety(
    places: Sequence[float], table: PerformanceTable, divisions: tuple[int, int]
) -> float:
    """0..1: how much better than chance the onsets between beats lie on the grid.

    Beats are drawn to onsets, so onsets on beats prove nothing; those between them lie
    near the ``divisions`` of the beat in music (sixteenths or triplets), anywhere in noise.
    Where hardly any lie between
    (a hymn in quarters), the beats themselves explain the notes.
    """
    grid = sorted({k / parts for parts in divisions for k in range(1, parts)})
    between = [p % 1.0 for p in places if table.near < p % 1.0 < 1.0 - table.near]
    if len(between) < table.between * len(places):
        return 1.0 - len(between) / len(places)
    near = sum(min(abs(p - point) for point in grid) <= table.near for p in between)
    chance = 2 * table.near * len(grid) / (1.0 - 2 * table.near)
    return max(0.0, (near / len(between) - chance) / (1.0 - chance))


def _renewed(note: PlayedNote, at: float, end: float, first: int, unit: int) -> PlayedNote:
    start = max(0, round((at - first) * unit))
    return replace(note, start=start, end=max(start + 1, round((end - first) * unit)))


def _tempo_curve(beats: Curve, first: int, beat: int, quarter: int) -> list[PlayedTempo]:
    """The tempo of every four beats, in whole quarters a minute, where it changes.

    ``beat`` and ``quarter`` are their lengths in units.
    """
    curve: list[PlayedTempo] = []
    scale = beat / quarter
    for place in range(0, len(beats) - 4, 4):
        quarters = float(round(240.0 * scale / (beats[place + 4] - beats[place])))
        if not curve or curve[-1].quarters != quarters:
            at = max(0, (place - 1 - first) * beat)
            curve.append(PlayedTempo(at=at, quarters=quarters, track=0))
    if not curve:
        quarters = float(round(60.0 * scale / (beats[1] - beats[0])))
        curve.append(PlayedTempo(at=0, quarters=quarters, track=0))
    return curve
