"""The tempo to aim at, and the slower one at which this student can play."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf

from arranger.music.analysis import Analysis
from arranger.music.arrangement import Dropped
from arranger.music.reduction import MelodyNote
from arranger.reduce.tune import Song, tune
from arranger.tables import LEVEL_NAMES, Level, level_named
from arranger.tables.arranging import TempoTable

FOR_THE_TUNE = ", slow enough for the level's fingers to follow the tune"
NO_FASTER = ", no faster than a harder level, which goes slowly to follow the tune"


def target_tempo(analysis: Analysis, table: TempoTable) -> float:
    """Quarter notes of the source a minute: the file's own tempo, else the trade's."""
    score = analysis.score
    if score.tempo_stated:
        return score.tempo
    first = score.bars[min(1, len(score.bars) - 1)]
    in_two = (first.numerator, first.denominator) == (2, 4)
    if in_two and any(span.texture == "stride" for span in analysis.textures):
        return table.unstated_stride_2_4
    return table.unstated


def student_tempo(analysis: Analysis, level: Level, target: float, table: TempoTable) -> float:
    """Quarter notes of the source a minute, whole: the level's share of the target.

    Slower still when the thumb would otherwise play faster than the level's thumb gap;
    the commonest thumb beat of the piece counts.
    """
    beats: dict[float, float] = {}
    for span in analysis.textures:
        beat = float(span.thumb_beat)
        beats[beat] = beats.get(beat, 0.0) + float(span.end - span.start)
    commonest = max(beats, key=lambda beat: (beats[beat], -beat))
    by_thumb = 60.0 * commonest / level.thumb_gap
    slowest = target * table.slowest_share
    return float(max(1, int(max(slowest, min(target * level.tempo_share, by_thumb)))))


@dataclass(frozen=True, slots=True)
class Paced:
    """A tempo for the student, what is left of the tune at it, and why it is so slow."""

    tempo: float
    melody: tuple[MelodyNote, ...]
    dropped: tuple[Dropped, ...]
    why: str = ""

    @property
    def share(self) -> float:
        """The share of the tune that stays."""
        return len(self.melody) / max(1, len(self.melody) + len(self.dropped))


def paced_tune(
    whole: Song, level: Level, level_name: str, target: float, table: TempoTable
) -> Paced:
    """The student's tempo and what is left of the tune at it.

    No level plays faster than a harder one: where that one goes slowly for the sake of the
    tune, whoever leaves notes out may take as much time.
    """
    place = [str(name) for name in LEVEL_NAMES].index(level_name)
    most = inf
    for name in LEVEL_NAMES[place + 1 :]:
        most = min(most, _slowed(whole, level_named(name), target, table, most=most).tempo)
    return _slowed(whole, level, target, table, most=most)


def _slowed(
    whole: Song, level: Level, target: float, table: TempoTable, *, most: float
) -> Paced:
    """A tempo of at most ``most`` quarters a minute, and what is left of the tune at it.

    Where the level promises a share of the tune, the tempo falls (in steps of a
    twentieth, down to the slowest share of the target) until that share is kept. Where no
    tempo keeps it, it falls as far as it is of use.
    """
    own = student_tempo(whole.analysis, level, target, table)
    fastest = min(most, own)
    tried: list[Paced] = []
    for tempo in _slower_tempos(fastest, target, table):
        melody, dropped = tune(whole, seconds_a_quarter=60.0 / tempo, gap=level.melody_gap)
        why = FOR_THE_TUNE if tempo < fastest else NO_FASTER if tempo < own else ""
        tried.append(Paced(tempo, melody, dropped, why))
        if tried[-1].share >= level.melody_least:
            return tried[-1]
    useful = max(paced.share for paced in tried) - table.use_of_slowness
    return next(paced for paced in tried if paced.share >= useful)


def _slower_tempos(fastest: float, target: float, table: TempoTable) -> Iterator[float]:
    """``fastest``, then slower tempos down to the slowest share of ``target``, all whole."""
    tempo = fastest
    least = max(1.0, min(fastest, target * table.slowest_share))
    while tempo >= least:
        yield tempo
        tempo = float(int(tempo * (1 - table.step)))
