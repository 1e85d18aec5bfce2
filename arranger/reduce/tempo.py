"""The tempo to aim at, and the slower one at which this student can play."""

from __future__ import annotations

from arranger.music.analysis import Analysis
from arranger.tables import Level
from arranger.tables.arranging import TempoTable


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
