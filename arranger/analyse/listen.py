"""Score to Analysis: each thing heard builds on the ones before it."""

from __future__ import annotations

from arranger.analyse.form import equal_bars, find_sections
from arranger.analyse.harmony import alike_in_equal_bars, find_chords
from arranger.analyse.keys import find_keys
from arranger.analyse.melody import find_bass, find_melody
from arranger.analyse.phrases import find_phrases
from arranger.analyse.texture import find_textures
from arranger.analyse.timeline import timeline
from arranger.music.analysis import Analysis
from arranger.music.key import Key
from arranger.music.score import Score


def analyse(
    score: Score, *, key: Key | None = None, melody_track: int | None = None
) -> Analysis:
    """What is heard in a score.

    Parameters
    ----------
    score : Score
        As read; at least one note and one bar.
    key : Key or None
        The key in which the piece begins, where a teacher says so; None to find it.
    melody_track : int or None
        The part (of ``score.parts``, from 0) that has the tune, where a teacher says so;
        None for the part that sings, if there is one, else by ear.

    Returns
    -------
    Analysis : keys, chords and textures cover the piece without gaps; times in quarters.
    """
    line = timeline(score)
    keys = find_keys(line, key)
    same = equal_bars(line)
    textures = find_textures(line, same)
    melody = find_melody(line, textures, score.voice if melody_track is None else melody_track)
    sections = find_sections(line, keys)
    return Analysis(
        score=score,
        keys=keys,
        chords=alike_in_equal_bars(score, find_chords(line, keys, textures), same),
        melody=melody,
        bass=find_bass(line, textures, melody),
        textures=textures,
        phrases=find_phrases(line, melody, sections),
        sections=sections,
        same_as=same,
    )
