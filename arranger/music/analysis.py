"""What was understood of a score: the value that ``analyse`` returns."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from arranger.music.chord import Chord, ChordSpan
from arranger.music.key import Key, KeySection
from arranger.music.moments import Moments
from arranger.music.once import once
from arranger.music.score import Score
from arranger.music.time import Beat

Texture = Literal[
    "stride",  # low note, then chord (rags, marches, polkas)
    "walking",  # bass in steps or octaves
    "waltz",  # bass on one, chord on two and three
    "compound",  # 6/8, 9/8, 12/8 with a bass on each dotted beat
    "hymn",  # chords that move together
    "single",  # one line in the bass
    "broken",  # arpeggiated chords
    "unison",  # both hands play one line, or one hand alone
    "tune-left",  # the melody lies in the left hand
]


@dataclass(frozen=True, slots=True, kw_only=True)
class TextureSpan:
    """A stretch ``[start, end)`` with one texture.

    ``thumb_beat`` is how often a guitarist's thumb would play there, in quarters of the
    source: 1/2 in a 2/4 rag, 1 in 4/4 or 3/4, 3/2 in 6/8.
    """

    start: Beat
    end: Beat
    texture: Texture
    thumb_beat: Beat


@dataclass(frozen=True, slots=True, kw_only=True)
class Phrase:
    """A melodic phrase ``[start, end)``; equal ``motif`` numbers mark equal beginnings."""

    start: Beat
    end: Beat
    motif: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A formal section; ``first`` and ``last`` index ``Score.bars``.

    ``letter`` is A, B, …, or "Intro" for a short opening that never returns.
    """

    letter: str
    first: int
    last: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Analysis:
    """The score, and what was heard in it.

    ``keys``, ``chords`` and ``textures`` each cover ``[0, score.end)`` in order without
    gaps. ``melody`` and ``bass`` are indices into ``score.notes``, at most one note
    starting at a time, in order of onset. ``same_as[i]`` is the index of the first bar
    whose notes (pitch, relative onset, length, hand) equal those of bar ``i``, or None
    when bar ``i`` is the first of its kind.
    """

    score: Score
    keys: tuple[KeySection, ...]
    chords: tuple[ChordSpan, ...]
    melody: tuple[int, ...]
    bass: tuple[int, ...]
    textures: tuple[TextureSpan, ...]
    phrases: tuple[Phrase, ...]
    sections: tuple[Section, ...]
    same_as: tuple[int | None, ...]

    @property
    def main_key(self) -> Key:
        """The key in which most of the piece stands (ties: the one that comes first)."""
        time: dict[Key, Beat] = {}
        for section in self.keys:
            time[section.key] = time.get(section.key, Beat(0)) + section.end - section.start
        return max(time, key=lambda key: time[key])

    def key_at(self, onset: Beat) -> Key:
        """The key in which ``onset`` stands (clamped to the piece, like all that follow)."""
        return self.keys[_span_at(self.keys, onset)].key

    def chord_at(self, onset: Beat) -> Chord | None:
        """The harmony at ``onset``."""
        return self.harmony_at(onset).chord

    def harmony_at(self, onset: Beat) -> ChordSpan:
        """The harmony at ``onset``, with where it begins and ends."""
        return self.chords[_span_at(self.chords, onset)]

    def harmonies_in(self, start: Beat, end: Beat) -> tuple[ChordSpan, ...]:
        """The harmonies that sound at some time in ``[start, end)``."""
        return self.chords[_span_at(self.chords, start) : _starts(self.chords).before(end)]

    def texture_at(self, onset: Beat) -> TextureSpan:
        """The texture at ``onset``, with how often the thumb plays there."""
        return self.textures[_span_at(self.textures, onset)]


_Spans = tuple[KeySection, ...] | tuple[ChordSpan, ...] | tuple[TextureSpan, ...]


def _span_at(spans: _Spans, onset: Beat) -> int:
    """Index of the span that holds ``onset``, in spans that cover the piece in order."""
    return max(0, _starts(spans).until(onset) - 1)


@once
def _starts(spans: _Spans) -> Moments:
    return Moments([span.start for span in spans])
