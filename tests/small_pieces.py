"""Pieces of two or four bars as MIDI files, which are arranged in a second."""

from __future__ import annotations

from pathlib import Path

import mido

TUNES = {
    "scale": (60, 62, 64, 65, 67, 69, 71, 72),
    "arch": (64, 67, 72, 67, 64, 67, 72, 67),
    "step": (67, 65, 64, 62, 67, 65, 64, 60),
}


def small_piece(
    file: Path, tune: tuple[int, ...] = TUNES["arch"], *, up: int = 0, ticks: int = 480
) -> Path:
    """Quarter notes of ``tune`` over a bass of C and G, moved ``up`` semitones.

    ``ticks`` a quarter changes every byte of the file and nothing of the music.
    """
    song = mido.MidiFile(type=1, ticks_per_beat=ticks)
    right, left = mido.MidiTrack(), mido.MidiTrack()
    song.tracks.extend((right, left))
    right.append(mido.MetaMessage("set_tempo", tempo=600_000))
    right.append(mido.MetaMessage("time_signature", numerator=4, denominator=4))
    for midi in tune:
        right.append(mido.Message("note_on", note=midi + up, velocity=80))
        right.append(mido.Message("note_off", note=midi + up, time=ticks))
    for midi in (48, 55) * (len(tune) // 4):
        left.append(mido.Message("note_on", note=midi + up, velocity=70))
        left.append(mido.Message("note_off", note=midi + up, time=2 * ticks))
    file.parent.mkdir(parents=True, exist_ok=True)
    song.save(file)
    return file


def small_collection(folder: Path) -> Path:
    """Three pieces, one of them in a folder of its own, and a file that is none."""
    small_piece(folder / "scale.mid", TUNES["scale"])
    small_piece(folder / "arch.mid", TUNES["arch"])
    small_piece(folder / "more" / "step.mid", TUNES["step"])
    (folder / "more" / "broken.mid").write_bytes(b"no music")
    return folder


def tree(out: Path) -> dict[str, bytes]:
    """Every file of results by its path, but for the batch's own notes on its work."""
    return {
        file.relative_to(out).as_posix(): file.read_bytes()
        for file in sorted(out.rglob("*"))
        if file.is_file() and ".batch" not in file.relative_to(out).parts
    }
