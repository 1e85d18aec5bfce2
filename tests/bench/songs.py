"""How often the tune of a song is the voice when voice and piano are one track.

    python tests/bench/songs.py

The songs for one voice and piano that music21's corpus carries, voice and piano merged into a
file of one track; nothing of them is stored here. Precision, recall and F of the notes heard as
the tune against the notes sung, where the voice sings (rests of two quarters or more apart).
For comparison the top note of all at every onset.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import mido
from music21 import corpus
from music21.harmony import ChordSymbol

from arranger.analyse import analyse
from arranger.read import read

SONGS = {  # the place of the voice among the parts; the piano is the two parts after it
    "schubert/Lindenbaum": 0,
    "schumann_robert/opus48no2": 0,
    "liliuokalani/aloha_oe": 4,
    "handel/rinaldo/Lascia_chio_pianga": 0,
}
TICKS = 480
REST = Fraction(2)  # quarters
Struck = tuple[Fraction, int]
"""Onset (quarters from the first note of the song) and MIDI number."""


@dataclass(frozen=True, slots=True)
class Song:
    """Notes as (onset, end, MIDI number), quarters."""

    voice: list[tuple[Fraction, Fraction, int]]
    piano: list[tuple[Fraction, Fraction, int]]
    meter: str


def _notes(part: Any) -> list[tuple[Fraction, Fraction, int]]:
    found = []
    for element in part.stripTies().flatten().notes:
        start = Fraction(str(element.offset)).limit_denominator(96)
        length = Fraction(str(element.quarterLength)).limit_denominator(96)
        if length and not isinstance(element, ChordSymbol):
            found += [(start, start + length, int(p.midi)) for p in element.pitches]
    return sorted(found)


def song(name: str, voice: int) -> Song:
    score: Any = corpus.parse(name)
    parts = list(score.parts)[voice : voice + 3]
    meters = list(parts[0].recurse().getElementsByClass("TimeSignature"))
    piano = [note for part in parts[1:] for note in _notes(part)]
    return Song(_notes(parts[0]), piano, meters[0].ratioString if meters else "4/4")


def _merged(found: Song, path: Path) -> None:
    """A file of format 0 with all notes in one channel."""
    numerator, denominator = (int(number) for number in found.meter.split("/"))
    events = []
    for start, end, midi in {*found.voice, *found.piano}:
        events.append((round(start * TICKS), 1, midi))
        events.append((round(end * TICKS), 0, midi))
    track = mido.MidiTrack(
        [mido.MetaMessage("time_signature", numerator=numerator, denominator=denominator)]
    )
    now = 0
    for at, on, midi in sorted(events):
        kind = "note_on" if on else "note_off"
        track.append(mido.Message(kind, note=midi, time=at - now))
        now = at
    file = mido.MidiFile(type=0, ticks_per_beat=TICKS)
    file.tracks.append(track)
    file.save(path)


def _sings(found: Song) -> list[tuple[Fraction, Fraction]]:
    """Stretches without a rest of ``REST`` or more."""
    stretches = [[found.voice[0][0], found.voice[0][1]]]
    for (_, end, _), (start, after, _) in pairwise(found.voice):
        if start - end >= REST:
            stretches.append([start, after])
        stretches[-1][1] = max(stretches[-1][1], after)
    return [(start, end) for start, end in stretches]


def measured(found: Song) -> tuple[int, int, int, int, int]:
    """Notes sung, notes heard and right, and the same of the top line."""
    first = min(note[0] for note in (*found.voice, *found.piano))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "song.mid"
        _merged(found, path)
        analysis = analyse(read(path))
    notes = analysis.score.notes
    begin = min(note.onset for note in notes)
    sings = [(start - first, end - first) for start, end in _sings(found)]
    sung = {(start - first, midi) for start, _, midi in found.voice}
    top: dict[Fraction, int] = {}
    for note in notes:
        top[note.onset - begin] = max(note.midi, top.get(note.onset - begin, 0))
    tune = {(notes[k].onset - begin, notes[k].midi) for k in analysis.melody}
    heard = _while(tune, sings)
    skyline = _while(set(top.items()), sings)
    return len(sung), len(heard), len(heard & sung), len(skyline), len(skyline & sung)


def _while(notes: set[Struck], sings: list[tuple[Fraction, Fraction]]) -> set[Struck]:
    return {note for note in notes if any(start <= note[0] < end for start, end in sings)}


def _figures(name: str, sung: int, heard: int, right: int) -> str:
    f = 2 * right / (sung + heard)
    return f"{name} precision {right / heard:.3f} recall {right / sung:.3f} F {f:.3f}"


def show() -> None:
    fs, tops = [], []
    for name, voice in SONGS.items():
        sung, heard, right, over, above = measured(song(name, voice))
        print(f"{name:36} {sung:4} sung  {_figures('tune', sung, heard, right)}")
        fs.append(2 * right / (sung + heard))
        tops.append(2 * above / (sung + over))
    print(
        f"voice in one track, {len(fs)} songs: F {sum(fs) / len(fs):.3f}, "
        f"top notes {sum(tops) / len(tops):.3f}"
    )


if __name__ == "__main__":
    show()
