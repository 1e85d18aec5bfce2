"""The same music is known in another key, at another speed, under another name."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from small_pieces import TUNES, small_piece

from arranger.music.score import Score
from arranger.read import read
from arranger.run.same_music import music_digest


def _score(tmp_path: Path, *, up: int = 0, ticks: int = 480, tune: str = "arch") -> Score:
    file = tmp_path / f"{tune} {up} {ticks}.mid"
    return read(small_piece(file, TUNES[tune], up=up, ticks=ticks))


def test_key_name_and_ticks_do_not_count(tmp_path: Path) -> None:
    plain = music_digest(_score(tmp_path))
    assert plain == music_digest(_score(tmp_path, up=5))
    assert plain == music_digest(_score(tmp_path, ticks=96))


def test_speed_and_held_lengths_do_not_count(tmp_path: Path) -> None:
    score = _score(tmp_path)
    slow = [
        replace(note, onset=3 + 2 * note.onset, length=note.length / 2, hand="right")
        for note in score.notes
    ]
    assert music_digest(replace(score, notes=tuple(slow))) == music_digest(score)


def test_one_other_note_is_other_music(tmp_path: Path) -> None:
    score = _score(tmp_path)
    assert music_digest(score) != music_digest(_score(tmp_path, tune="step"))
    first, *others = score.notes
    other = replace(score, notes=(replace(first, midi=first.midi + 1), *others))
    assert music_digest(other) != music_digest(score)


def test_notes_all_at_once_have_a_digest(tmp_path: Path) -> None:
    score = _score(tmp_path)
    at_once = tuple(replace(note, onset=score.notes[0].onset) for note in score.notes)
    assert music_digest(replace(score, notes=at_once))
