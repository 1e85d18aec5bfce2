"""How much of the source is heard in the arrangement.

Conventions
-----------
Source pitches are compared after ``Arrangement.transposed_by``, by pitch class: octave
folds keep the tune, their cost shows as ``contour_breaks``. A share over nothing (no
steady texture, no chord with a third) is 1, for breaks 0: nothing was lost.

Metrics
-------
melody_kept
    Source melody notes with a melody note of the arrangement at the same onset.
grid_fidelity
    The grid of a texture is the finest of the thumb beat, its halves and quarters (thirds
    and sixths where it is dotted) that lasts at least ``Level.melody_gap`` seconds at
    the student's tempo, the thumb beat at the coarsest; it counts from the start of a
    bar (of a pick-up: from its end). Of the grid points at which a source melody note
    sounds: those where the latest melody note begun is the source's in both.
contour_breaks
    Of neighbouring melody notes of the arrangement that both belong to the source's
    melody: those whose interval goes another way (up, down, level) than in the source.
bass_roots
    Bars in which for every harmony that lasts at least a thumb beat there the bass
    sounds its root (for a slash chord also its bass; for a diminished seventh, which
    divides the octave evenly and has no root of its own, any of its tones) while it
    lasts; where the source's bass has another tone all that time (an inversion), that
    one will do as well. Neighbouring harmonies on one root and bass, as a chord and its
    seventh, are one harmony to the bass. Where the source is in unison, or its bass is
    silent, there is no bass to keep, and nothing is counted.
thirds
    Bars in which the third of the main harmony (the longest, of equals the first)
    sounds in any voice while it lasts; counted where it sounds in the source.
thumb_beats
    Thumb beats of steady textures (stride, waltz, compound) at which the source's left
    hand sounds: those at which the thumb plucks.
alternation
    Thumb notes on neighbouring thumb beats of alternating textures (stride, compound):
    pairs on different strings. Where the source's bass itself goes on by a step and the
    thumb follows it, the bass walks and does not alternate: such pairs are not counted.

References
----------
Own definitions; the grid of a beginner's tune follows trials on eight pieces, where the
notes on the thumb's grid and those held across it carried the tune.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from arranger.music.analysis import Analysis, Texture, TextureSpan
from arranger.music.arrangement import Arrangement, Placement
from arranger.music.chord import Chord
from arranger.music.moments import Moments
from arranger.music.score import Bar, Note
from arranger.music.time import Beat
from arranger.music.verdict import Fidelity
from arranger.tables import Level

STEADY: frozenset[Texture] = frozenset({"stride", "waltz", "compound"})
ALTERNATING: frozenset[Texture] = frozenset({"stride", "compound"})
STEP = 2  # semitones, a whole tone
TOLERANCE = 1e-9  # s, so that a step of exactly the gap counts


def fidelity(arrangement: Arrangement, analysis: Analysis, level: Level) -> Fidelity:
    """The seven shares, each 0..1; see the module for their definitions."""
    tune = _Tune(arrangement, analysis)
    thumbs = list(_thumb_beats(arrangement, analysis))
    return Fidelity(
        melody_kept=_share([note is not None for note in tune.kept]),
        grid_fidelity=_share([heard for _, heard in _grid(arrangement, analysis, level)]),
        contour_breaks=1.0 - _share([whole for _, whole in tune.steps()]),
        bass_roots=_share(list(_roots(arrangement, analysis))),
        thirds=_share(list(_thirds(arrangement, analysis))),
        thumb_beats=_share([thumb.note is not None for thumb in thumbs]),
        alternation=_share(list(_alternations(thumbs))),
    )


def unfaithful_bars(
    arrangement: Arrangement, analysis: Analysis, level: Level
) -> tuple[int, ...]:
    """Printed numbers of bars where the tune is lost or turned, the worst first.

    A bar counts its lost grid points and its broken steps and, at a level that promises a
    share of the tune's notes, those left out; bars without any are not named.
    """
    lost: Counter[int] = Counter()
    bars = analysis.score.bars
    tune = _Tune(arrangement, analysis)
    broken = [note.onset for note, whole in tune.steps() if not whole]
    missed = [point for point, heard in _grid(arrangement, analysis, level) if not heard]
    if level.melody_kept_least:
        pairs = zip(tune.source, tune.kept, strict=True)
        missed += [wanted.onset for wanted, note in pairs if note is None]
    for onset in (*broken, *missed):
        lost[bars[analysis.score.bar_index_at(onset)].number] += 1
    return tuple(sorted(lost, key=lambda bar: (-lost[bar], bar)))


def _share(held: Sequence[bool]) -> float:
    return sum(held) / len(held) if held else 1.0


# The tune -----------------------------------------------------------------------------


class _Tune:
    """The melody of source and arrangement side by side."""

    def __init__(self, arrangement: Arrangement, analysis: Analysis) -> None:
        self.shift = arrangement.transposed_by
        self.source = [analysis.score.notes[index] for index in analysis.melody]
        self.arranged = _voice(arrangement, "melody")
        at = {note.onset: note for note in self.arranged}
        # For each source note the note of the arrangement that stands for it, or None.
        self.kept: list[Placement | None] = [
            note if (note := at.get(wanted.onset)) and self.same(wanted, note) else None
            for wanted in self.source
        ]

    def same(self, wanted: Note, note: Placement) -> bool:
        """The same pitch class after transposition."""
        return (wanted.midi + self.shift - note.midi) % 12 == 0

    def steps(self) -> Iterator[tuple[Placement, bool]]:
        """Each kept step by its second note, and whether it goes the source's way."""
        stands_for = {
            note.onset: wanted
            for wanted, note in zip(self.source, self.kept, strict=True)
            if note is not None
        }
        for before, note in pairwise(self.arranged):
            if before.onset in stands_for and note.onset in stands_for:
                meant = stands_for[note.onset].midi - stands_for[before.onset].midi
                yield note, _sign(note.midi - before.midi) == _sign(meant)


def _sign(interval: int) -> int:
    return (interval > 0) - (interval < 0)


def _voice(arrangement: Arrangement, voice: str) -> list[Placement]:
    found = [note for note in arrangement.notes if note.voice == voice]
    return sorted(found, key=lambda note: note.onset)


def _grid(
    arrangement: Arrangement, analysis: Analysis, level: Level
) -> Iterator[tuple[Beat, bool]]:
    """Grid points at which the source's tune sounds, and whether it is heard there."""
    tune = _Tune(arrangement, analysis)
    sung = Moments([note.onset for note in tune.source])
    played = Moments([note.onset for note in tune.arranged])
    for bar, span in _bars_with_texture(analysis):
        step = grid_step(span, level, arrangement.student_tempo)
        for point in _points(bar, step):
            wanted = sung.until(point) - 1
            if wanted < 0 or tune.source[wanted].end <= point:
                continue
            heard = played.until(point) - 1
            yield (
                point,
                heard >= 0 and tune.same(tune.source[wanted], tune.arranged[heard]),
            )


def grid_step(span: TextureSpan, level: Level, tempo: float) -> Beat:
    """The grid of a texture in quarters, at ``tempo`` quarters a minute."""
    step = span.thumb_beat
    finest = step / (6 if step.numerator % 3 == 0 else 4)
    finer = step / (3 if step.numerator % 3 == 0 else 2)
    while finer >= finest and float(finer) * 60.0 / tempo >= level.melody_gap - TOLERANCE:
        step, finer = finer, finer / 2
    return step


def _bars_with_texture(analysis: Analysis) -> Iterator[tuple[Bar, TextureSpan]]:
    """Every bar with the texture at its start."""
    spans = analysis.textures
    place = 0
    for bar in analysis.score.bars:
        while place + 1 < len(spans) and spans[place].end <= bar.start:
            place += 1
        yield bar, spans[place]


def _points(bar: Bar, step: Beat) -> Iterator[Beat]:
    """Points ``step`` apart from the start of a bar; of a pick-up so that its end is one."""
    point = bar.start + (bar.length % step if bar.number == 0 else Fraction(0))
    while point < bar.end:
        yield point
        point += step


# Harmony ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Harmony:
    """A harmony within a bar."""

    chord: Chord
    start: Beat
    end: Beat

    @property
    def length(self) -> Beat:
        return self.end - self.start


def _harmonies(analysis: Analysis) -> Iterator[tuple[Texture, list[_Harmony]]]:
    """Each bar's texture, and its harmonies that last at least a thumb beat there."""
    first = 0
    for bar, texture in _bars_with_texture(analysis):
        while first + 1 < len(analysis.chords) and analysis.chords[first].end <= bar.start:
            first += 1
        found = []
        for span in analysis.chords[first:]:
            if span.start >= bar.end:
                break
            if span.chord is None:
                continue
            part = _Harmony(span.chord, max(span.start, bar.start), min(span.end, bar.end))
            if part.length >= texture.thumb_beat:
                found.append(part)
        yield texture.texture, found


def _roots(arrangement: Arrangement, analysis: Analysis) -> Iterator[bool]:
    """For every bar with harmony: whether the bass sounds each root (or slash bass)."""
    bass = _Sounding(_voice(arrangement, "bass"))
    source = _Sounding([analysis.score.notes[index] for index in analysis.bass])
    shift = arrangement.transposed_by
    for texture, harmonies in _harmonies(analysis):
        parts = _on_one_root(harmonies)
        borne = [(part, wanted) for part in parts if (wanted := _bears(part, source))]
        if borne and texture != "unison":
            yield all(
                any(_sounds(bass, part, tone + shift) for tone in wanted)
                for part, wanted in borne
            )


def _on_one_root(harmonies: list[_Harmony]) -> list[_Harmony]:
    """The harmonies of a bar, with neighbours on one root and bass taken together."""
    found: list[_Harmony] = []
    for part in harmonies:
        last = found[-1] if found else part
        alike = (last.chord.root, last.chord.bass) == (part.chord.root, part.chord.bass)
        if alike and last.end == part.start:
            found[-1] = replace(last, end=part.end)
        else:
            found.append(part)
    return found


def _bears(part: _Harmony, source: _Sounding) -> set[int]:
    """The pitch classes that may bear a harmony as its bass; none where the bass is silent."""
    heard = {note.midi % 12 for note in source.within(part.start, part.end)}
    chord = part.chord
    wanted = set(chord.tones) if chord.quality == "dim7" else {chord.root, chord.bass}
    if not heard:
        return set()
    return wanted if wanted & heard else wanted | heard


def _thirds(arrangement: Arrangement, analysis: Analysis) -> Iterator[bool]:
    """For every bar in which the source sounds its main third: whether it sounds here."""
    everything = _Sounding(sorted(arrangement.notes, key=lambda note: note.onset))
    source = _Sounding(analysis.score.notes)
    for _, harmonies in _harmonies(analysis):
        if not harmonies:
            continue
        main = max(harmonies, key=lambda part: part.length)
        third = main.chord.third
        if third is not None and _sounds(source, main, third):
            yield _sounds(everything, main, third + arrangement.transposed_by)


def _sounds(notes: _Sounding, part: _Harmony, tone: int) -> bool:
    """Whether a pitch class sounds while a harmony lasts."""
    return any((note.midi - tone) % 12 == 0 for note in notes.within(part.start, part.end))


class _Sounding:
    """Notes in order of onset, asked for stretches of time."""

    def __init__(self, notes: Sequence[Placement] | Sequence[Note]) -> None:
        self._notes = notes
        self._onsets = Moments([note.onset for note in notes])
        self._longest = max((note.length for note in notes), default=Fraction(0))

    def within(self, start: Beat, end: Beat) -> Iterator[Placement | Note]:
        """Notes that sound at some time in ``[start, end)``."""
        first, last = self._onsets.until(start - self._longest), self._onsets.before(end)
        for note in self._notes[first:last]:
            if note.end > start:
                yield note


# The thumb ----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _ThumbBeat:
    """A thumb beat at which the source's left hand sounds, the thumb's note there, and the
    source's bass note that begins there, transposed.
    """

    onset: Beat
    length: Beat
    texture: Texture
    note: Placement | None
    given: int | None


def _thumb_beats(arrangement: Arrangement, analysis: Analysis) -> Iterator[_ThumbBeat]:
    """The thumb beats of steady textures where the source's left hand sounds."""
    plucked = {note.onset: note for note in arrangement.notes if note.right == "p"}
    bass = (analysis.score.notes[index] for index in analysis.bass)
    given = {note.onset: note.midi + arrangement.transposed_by for note in bass}
    left = _covered(analysis)
    begins = Moments([start for start, _ in left])
    for bar, span in _bars_with_texture(analysis):
        if span.texture not in STEADY:
            continue
        for point in _points(bar, span.thumb_beat):
            place = begins.until(point) - 1
            if place >= 0 and left[place][1] > point:
                note = plucked.get(point)
                yield _ThumbBeat(point, span.thumb_beat, span.texture, note, given.get(point))


def _covered(analysis: Analysis) -> list[tuple[Beat, Beat]]:
    """Stretches ``(start, end)`` in which the left hand or the bass sounds, in order."""
    bass = set(analysis.bass)
    spans: list[tuple[Beat, Beat]] = []
    for note in analysis.score.notes:  # sorted by onset
        if note.hand != "left" and note.index not in bass:
            continue
        if spans and note.onset <= spans[-1][1]:
            spans[-1] = (spans[-1][0], max(spans[-1][1], note.end))
        else:
            spans.append((note.onset, note.end))
    return spans


def _alternations(thumbs: Sequence[_ThumbBeat]) -> Iterator[bool]:
    """For neighbouring thumb notes of alternating textures: whether the string changes."""
    for one, other in pairwise(thumbs):
        neighbours = one.onset + one.length == other.onset
        steady = one.texture in ALTERNATING and other.texture in ALTERNATING
        if not (neighbours and steady) or one.note is None or other.note is None:
            continue
        if not (_follows(one) and _follows(other) and _walks(one, other)):
            yield one.note.string != other.note.string


def _follows(thumb: _ThumbBeat) -> bool:
    """Whether the thumb plays the tone that the source's bass has there."""
    return (
        thumb.note is not None
        and thumb.given is not None
        and (thumb.note.midi - thumb.given) % 12 == 0
    )


def _walks(one: _ThumbBeat, other: _ThumbBeat) -> bool:
    """Whether the source's bass goes on by a step of the scale, a semitone or a tone."""
    return (
        one.given is not None
        and other.given is not None
        and 0 < abs(other.given - one.given) <= STEP
    )
