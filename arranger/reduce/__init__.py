"""Analysis + level + player -> what may be played, and what each choice costs the music."""

from __future__ import annotations

from fractions import Fraction

from arranger.music.analysis import Analysis
from arranger.music.arrangement import Decision
from arranger.music.errors import UsageError
from arranger.music.marks import NO_MARKS, Marks
from arranger.music.reduction import Reduction
from arranger.music.time import Beat
from arranger.reduce.answers import answered
from arranger.reduce.keys import settings
from arranger.reduce.slots import arpeggio, bar_wishes, slots
from arranger.reduce.tempo import paced_tune, target_tempo
from arranger.reduce.thumb import strokes, thumb_beats
from arranger.reduce.tune import song_of
from arranger.tables import Level, Player
from arranger.tables.arranging import arranging

__all__ = ["reduce"]


def reduce(
    analysis: Analysis,
    *,
    level: Level,
    level_name: str,
    player: Player,
    key: str | None = None,
    capo: int | None = None,
    marks: Marks = NO_MARKS,
    leading_bass: bool | None = None,
) -> Reduction:
    """What may be played at ``level``, before strings and fingers are chosen.

    ``leading_bass`` offers bass notes that lead to the next chord; None as the level does.

    Raises
    ------
    UsageError : the key is not a key of the piece's mode, or the capo is out of range.
    """
    capo = capo if capo is not None else marks.capo or 0
    if not 0 <= capo <= 9:
        raise UsageError(f"a capo at fret {capo} leaves no neck to play on", where="--capo")
    table = arranging()
    target = target_tempo(analysis, table.tempo)
    whole = song_of(analysis, breath=table.melody.breath)
    paced = paced_tune(whole, level, level_name, target, table.tempo)
    student, melody = paced.tempo, paced.melody
    beats = thumb_beats(analysis)
    shortest = Fraction(level.melody_gap * student / 60).limit_denominator(64)
    between = Fraction(level.thumb_gap * student / 60).limit_denominator(64)
    thumb = strokes(
        analysis,
        beats,
        table.bass,
        shortest=shortest,
        again=between,
        leading=level.leading_bass if leading_bass is None else leading_bass,
    )
    wishes = bar_wishes(analysis, melody, table.fill)
    onsets = tuple(onset for onset, _ in beats)
    if level.tune_and_thumb:
        thumb = answered(thumb, analysis, onsets, wishes, table.bass, shortest=between)
    fingers: frozenset[Beat] = frozenset()
    if not level.tune_and_thumb:
        fingers = arpeggio(analysis, shortest=shortest)
    return Reduction(
        analysis=analysis,
        level=level_name,
        target_tempo=target,
        student_tempo=student,
        written_scale=_written_scale(analysis),
        capo=capo,
        marks=marks,
        settings=settings(analysis, level, player, key or marks.key, table.keys),
        melody=melody,
        strokes=thumb,
        slots=slots(
            analysis,
            melody,
            thumb,
            beats=onsets,
            arpeggio=fingers,
            wishes=wishes,
            costs=table.fill,
            patterns=level.patterns,
        ),
        bar_wishes=wishes,
        thumb_beats=onsets,
        dropped=paced.dropped,
        decisions=(
            Decision(
                text=f"tempo for this student {student:g} of {target:g} quarters a minute"
                f"{paced.why}",
                option="--tempo",
            ),
        ),
    )


def _written_scale(analysis: Analysis) -> int:
    """2 for a rag in 2/4 with sixteenths, which students read in 4/4 with eighths."""
    bars = analysis.score.bars
    two_four = sum(bar.length for bar in bars if (bar.numerator, bar.denominator) == (2, 4))
    if two_four * 2 < analysis.score.end:
        return 1
    sixteenths = sum(1 for note in analysis.score.notes if (note.onset * 2).denominator == 2)
    stride = any(span.thumb_beat * 2 == 1 for span in analysis.textures)
    return 2 if stride and sixteenths * 20 > len(analysis.score.notes) else 1
