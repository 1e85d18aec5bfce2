"""The tune for a level: what stays of the melody on a grid in seconds, what is dropped."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from arranger.music.analysis import Analysis, TextureSpan
from arranger.music.arrangement import Dropped
from arranger.music.reduction import Joint, MelodyNote
from arranger.music.score import Note
from arranger.music.time import Beat
from arranger.reduce.equal_bars import EqualBars
from arranger.reduce.motifs import weights
from arranger.tables.arranging import arranging


def grid_step(span: TextureSpan, seconds_a_quarter: float, gap: float) -> Beat | None:
    """The finest subdivision of the thumb beat that lasts at least ``gap`` seconds.

    Halves in simple meters, first thirds in compound ones; never coarser than the thumb
    beat; None when the level has no grid (``gap`` 0).
    """
    if gap <= 0:
        return None
    step = span.thumb_beat
    first = 3 if step.numerator % 3 == 0 else 2
    finer = step / first
    while float(finer) * seconds_a_quarter >= gap - 1e-9:
        step, finer = finer, finer / 2
    return step


@dataclass(frozen=True, slots=True)
class Song:
    """The melody as it is heard, whatever the tempo: what ``tune`` takes from it.

    By onset: how each note is joined to the one before, whether it is a short neighbour, and
    the weight of its motif. ``heard`` is how long each note lasts as the tune; ``doubled``
    are indices of notes.
    """

    analysis: Analysis
    alike: EqualBars
    notes: tuple[Note, ...]
    heard: tuple[Beat, ...]
    joints: Mapping[Beat, Joint]
    neighbours: Mapping[Beat, bool]
    weight: Mapping[Beat, float]
    doubled: frozenset[int]


def song_of(analysis: Analysis, *, breath: float) -> Song:
    """The melody of a piece; ``breath`` is in quarters."""
    notes = [analysis.score.notes[index] for index in analysis.melody]
    heard = _sounding(notes)
    alike = EqualBars(analysis)
    known = zip(notes, weights(notes, arranging().melody), strict=True)
    return Song(
        analysis=analysis,
        alike=alike,
        notes=tuple(notes),
        heard=tuple(heard),
        joints=alike.agreed(_joints(analysis, notes, heard, breath)),
        neighbours=alike.agreed(_neighbours(notes, heard)),
        weight=alike.agreed({note.onset: times for note, times in known}),
        doubled=frozenset(_doubled(analysis)),
    )


def tune(
    song: Song, *, seconds_a_quarter: float, gap: float
) -> tuple[tuple[MelodyNote, ...], tuple[Dropped, ...]]:
    """The melody notes to play and those left out.

    On-grid notes and notes held across a grid point stay; so do the notes that open a
    phrase before its first grid point, and off-grid notes far enough from their
    neighbours to be playable, and the notes of a pick-up that are a little nearer. The rest
    is filler. A note before dropped filler is held through it.
    """
    stays = song.alike.agreed(_kept(song, seconds=seconds_a_quarter, gap=gap))
    kept: list[MelodyNote] = []
    dropped: list[Dropped] = []
    for note, length in zip(song.notes, song.heard, strict=True):
        onset = note.onset
        if stays[onset]:
            kept.append(
                MelodyNote(
                    onset=onset,
                    length=length,
                    midi=note.midi,
                    joint=song.joints[onset],
                    doubled=note.index in song.doubled,
                    neighbour=song.neighbours[onset],
                    weight=song.weight[onset],
                    source=(note.index,),
                )
            )
        else:
            dropped.append(
                Dropped(onset=onset, midi=note.midi, why="faster than the level's grid")
            )
            if kept and kept[-1].end == onset:
                kept[-1] = replace(kept[-1], length=kept[-1].length + length)
    return tuple(kept), tuple(dropped)


def _neighbours(notes: list[Note], heard: list[Beat]) -> dict[Beat, bool]:
    """Whether each note, by onset, is a short step away from a note and back to it.

    It adorns that note, and of all the tune it is missed least (common practice, no source).
    """
    step = arranging().melody.neighbour_step
    found = dict.fromkeys((note.onset for note in notes), False)
    for place in range(1, len(notes) - 1):
        before, note, after = notes[place - 1 : place + 2]
        found[note.onset] = (
            before.midi == after.midi
            and 0 < abs(note.midi - before.midi) <= step
            and heard[place] <= min(heard[place - 1], heard[place + 1])
        )
    return found


def _doubled(analysis: Analysis) -> set[int]:
    """The notes of the tune under which the same hand plays the octave, by index."""
    struck = {(note.onset, note.hand, note.midi) for note in analysis.score.notes}
    notes = (analysis.score.notes[index] for index in analysis.melody)
    return {n.index for n in notes if (n.onset, n.hand, n.midi - 12) in struck}


def _joints(
    analysis: Analysis, notes: list[Note], heard: list[Beat], breath: float
) -> dict[Beat, Joint]:
    """How each note is joined to the one before it, by onset."""
    openings = {phrase.start for phrase in analysis.phrases} | _echoes(analysis, notes)
    joints: dict[Beat, Joint] = {}
    last_end: Beat | None = None
    for note, length in zip(notes, heard, strict=True):
        joints[note.onset] = _joint(note, last_end, openings, breath)
        last_end = note.onset + length
    return joints


def _echoes(analysis: Analysis, notes: list[Note]) -> set[Beat]:
    """Where the tune begins again, in another octave, what it has just sung.

    Such an echo may change its octave as a phrase may, even where it is too short for one:
    an opening that comes down in octaves over one bar after another. A few notes of the same
    rhythm and steps are an echo, at least half a bar after those they repeat.
    """
    count, farthest = arranging().melody.echo_notes, arranging().melody.echo_within
    found: set[Beat] = set()
    over = Fraction(0)  # the end of the echo found last: its notes are no new beginnings
    for place in range(count, len(notes) - count + 1):
        head = notes[place : place + count]
        if head[0].onset < over:
            continue
        bar = analysis.score.bars[analysis.score.bar_index_at(head[0].onset)]
        for before in range(max(0, place - farthest), place - count + 1):
            time = _echoed(notes[before : before + count], head)
            if time is not None and 2 * time >= bar.length:
                found.add(head[0].onset)
                over = head[0].onset + time
                break
    return found


def _echoed(past: list[Note], head: list[Note]) -> Beat | None:
    """How long after ``past`` the same rhythm and steps are heard octaves away, if they are."""
    step = head[0].midi - past[0].midi
    pairs = list(zip(past, head, strict=True))
    if step == 0 or step % 12 or any(new.midi - old.midi != step for old, new in pairs):
        return None
    times = {new.onset - old.onset for old, new in pairs}
    return times.pop() if len(times) == 1 else None


def _kept(song: Song, *, seconds: float, gap: float) -> dict[Beat, bool]:
    """Which notes stay, by onset."""
    analysis, notes = song.analysis, song.notes
    stays: dict[Beat, bool] = {}
    pickups = _pickups(analysis)
    last: Beat | None = None
    opening = True
    for place, (note, length) in enumerate(zip(notes, song.heard, strict=True)):
        opening = opening or song.joints[note.onset] == "phrase"
        step = grid_step(analysis.texture_at(note.onset), seconds, gap)
        start = analysis.score.bars[analysis.score.bar_index_at(note.onset)].start
        on_grid = step is None or (note.onset - start) % step == 0
        opening = opening and not on_grid
        following = notes[place + 1].onset if place + 1 < len(notes) else note.onset + length
        near = arranging().melody.pickup_gap if _within(pickups, note.onset) else 1.0
        stays[note.onset] = (
            step is None
            or on_grid
            or opening
            or _held_across(note.onset - start, length, step)
            or _roomy(note.onset, following, last, seconds, gap * near)
        )
        last = note.onset if stays[note.onset] else last
    return stays


def _pickups(analysis: Analysis) -> list[tuple[Beat, Beat]]:
    """Where a phrase begins within half a bar of a bar line, and that bar line.

    A hook is known by how it is led up to: of two notes before the bar line the second is
    not filler (common practice, no source).
    """
    found = []
    for phrase in analysis.phrases:
        bar = analysis.score.bars[analysis.score.bar_index_at(phrase.start)]
        if 0 < bar.end - phrase.start <= bar.length / 2:
            found.append((phrase.start, bar.end))
    return found


def _within(spans: list[tuple[Beat, Beat]], onset: Beat) -> bool:
    place = bisect_right(spans, onset, key=lambda span: span[0]) - 1
    return place >= 0 and onset < spans[place][1]


def _sounding(notes: list[Note]) -> list[Beat]:
    """How long each melody note is heard as the tune: never past the next one."""
    lengths: list[Beat] = []
    for place, note in enumerate(notes):
        length = note.length
        if place + 1 < len(notes):
            length = min(length, notes[place + 1].onset - note.onset)
        lengths.append(length)
    return lengths


def _joint(note: Note, last_end: Beat | None, openings: set[Beat], breath: float) -> Joint:
    if last_end is None or note.onset in openings:
        return "phrase"
    return "breath" if note.onset - last_end >= breath else "inside"


def _held_across(offset: Beat, length: Beat, step: Beat) -> bool:
    following_point = (offset // step + 1) * step
    return offset + length > following_point


def _roomy(onset: Beat, following: Beat, last: Beat | None, seconds: float, gap: float) -> bool:
    """Far enough from the kept note before and the note after to be played at the level."""
    before = onset - last if last is not None else Fraction(10**6)
    return float(min(before, following - onset)) * seconds >= gap - 1e-9
