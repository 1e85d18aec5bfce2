"""The tune where a part has it to itself."""

from __future__ import annotations

from dataclasses import replace

from little_scores import score_of

from arranger.analyse import analyse
from arranger.music.score import Score

# Four bars: the piano alone, the song under its right hand, the piano alone.
PIANO = "C5:1 E5:1 G5:2 | G5:1 F5:1 D5:1 B4:1 | C6:2 B5:2 | C6:4"
BASS = "C3:4 | G2:4 | C3:2 G2:2 | C3:4"
VOICE = "r:4 | B4:2 G4:2 | E4:4 | r:4"


def song() -> Score:
    """Part 0 is the piano, part 1 the voice, which lies below the piano's right hand."""
    score = score_of(PIANO, BASS, under=VOICE)
    sung = {(4, 71), (6, 67), (8, 64)}
    notes = [
        replace(note, track=int((int(note.onset), note.midi) in sung)) for note in score.notes
    ]
    return replace(score, notes=tuple(notes), parts=("Piano", "Voice"))


def tune(score: Score, melody_track: int | None = None) -> list[int]:
    return [
        score.notes[index].midi for index in analyse(score, melody_track=melody_track).melody
    ]


def test_a_part_that_sings_has_the_tune_and_the_piano_its_interludes() -> None:
    assert tune(replace(song(), voice=1)) == [72, 76, 79, 71, 67, 64, 84]


def test_a_teacher_names_the_part() -> None:
    assert tune(song(), melody_track=1) == [72, 76, 79, 71, 67, 64, 84]
    assert tune(replace(song(), voice=1), melody_track=0)[3:7] == [79, 77, 74, 71]


def test_without_a_part_the_top_is_the_tune() -> None:
    assert tune(song())[3:5] == [79, 77]
