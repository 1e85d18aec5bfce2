"""How a pitch is spelt on the staff: F sharp or G flat."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from arranger.music.arrangement import Arrangement, Placement
from arranger.music.chord import QUALITIES
from arranger.music.key import Key

_LETTERS = "FCGDAEB"
_NATURAL = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}

# Interval above the root in steps along the line of fifths, by semitones: a third is a third.
_FIFTHS_OF_TONE = {
    0: 0, 2: 2, 3: -3, 4: 4, 5: -1, 6: -6, 7: 1, 8: 8, 9: 3, 10: -2, 11: 5,
}  # fmt: skip

_NAME = re.compile(r"([A-G])([#b♯♭]?)([^/]*)(?:/([A-G])([#b♯♭]?))?")


@dataclass(frozen=True, slots=True, order=True)
class Spelling:
    """A written pitch: ``step`` A..G, ``alter`` in semitones, ``octave`` (C4 is middle C)."""

    step: str
    alter: int
    octave: int

    @property
    def midi(self) -> int:
        return 12 * (self.octave + 1) + _NATURAL[self.step] + self.alter


@dataclass(frozen=True, slots=True)
class ChordName:
    """A chord name taken apart; ``quality`` is a key of QUALITIES, or None when unknown.

    ``root`` and ``bass`` are steps along the line of fifths with C = 0 (G 1, F -1).
    """

    root: int
    quality: str | None
    bass: int | None

    @property
    def tones(self) -> dict[int, int]:
        """Pitch class → place on the line of fifths, for the tones that the chord spells."""
        steps = QUALITIES.get(self.quality or "", (0,)) if self.quality is not None else (0,)
        places = [self.root + _fifths(step, self.quality) for step in steps]
        if self.bass is not None:
            places.append(self.bass)
        return {place * 7 % 12: place for place in places}


def _fifths(semitones: int, quality: str | None) -> int:
    """A diminished seventh is nine semitones, but spelt as a seventh."""
    return -9 if semitones == 9 and quality == "dim7" else _FIFTHS_OF_TONE[semitones]


def parse_chord_name(name: str) -> ChordName | None:
    """``F#m7/C#`` taken apart; None for a text that is no chord name, such as ``N.C.``."""
    found = _NAME.fullmatch(name.strip())
    if found is None:
        return None
    root, bass = _place(found[1], found[2]), None
    if found[4]:
        bass = _place(found[4], found[5])
    quality = found[3] if found[3] in QUALITIES else None
    return ChordName(root, quality, bass)


def _place(letter: str, accidental: str) -> int:
    alter = {"": 0, "#": 1, "♯": 1, "b": -1, "♭": -1}[accidental]
    return _LETTERS.index(letter) - 1 + 7 * alter


def engraved_name(name: str) -> str:
    """A chord name with printed signs: ``B♭7``, ``F♯m7♭5``."""
    return re.sub(r"(?<=[A-G])b|b(?=\d)", "♭", name).replace("#", "♯")


def engraved_names(text: str) -> str:
    """Words with chord names in them, these with printed signs: ``from E♭ to G♯dim7``."""
    flats = re.sub(r"\b([A-G])b(?=m\b|m?\d|dim|aug|sus|maj|[\s,.;:)/]|$)", r"\1♭", text)
    return re.sub(r"\b([A-G])#", r"\1♯", re.sub(r"(?<=\d)b(?=\d)", "♭", flats))


def step_and_alter(place: int) -> tuple[str, int]:
    """The note at a place on the line of fifths: -1 is F, 6 is F sharp."""
    return _LETTERS[(place + 1) % 7], (place + 1) // 7


def spell(
    midi: int,
    key: Key,
    chord: ChordName | None,
    resolves: int = 0,
    leads_to: ChordName | None = None,
) -> Spelling:
    """The spelling of a pitch in its key, over its chord and before the next (``leads_to``).

    Notes of the key are spelt as the key signature says, then chord tones as the chord does;
    a passing note is raised when the next note of its voice lies a semitone higher
    (``resolves`` 1) and lowered when it lies a semitone lower (-1). Otherwise the note is the
    one nearer to the tones of both chords on the line of fifths: G sharp between G and D7.
    Without chords it is the one between a semitone under the seventh degree's fifth and the
    raised fourth, the way chromatic notes are usually written (tonic - 5 .. tonic + 6).
    """
    place = _spelt_place(midi % 12, key, (chord, leads_to), resolves)
    step, alter = step_and_alter(place)
    octave = (midi - alter) // 12 - 1
    return Spelling(step, alter, octave)


def _spelt_place(
    tone: int, key: Key, chords: tuple[ChordName | None, ChordName | None], resolves: int
) -> int:
    candidates = [place for place in range(-13, 20) if place * 7 % 12 == tone]
    for place in candidates:
        if key.sharps - 1 <= place <= key.sharps + 5:
            return place
    tones = chords[0].tones if chords[0] else {}
    if tone in tones and -10 <= tones[tone] <= 15:
        return tones[tone]
    if resolves:
        # The raised note stands on the letter of the key's note a semitone below it.
        return next(
            place
            for place in candidates
            if key.sharps - 1 <= place - 7 * resolves <= key.sharps + 5
        )
    around = [place for chord in chords if chord for place in chord.tones.values()]
    if tones and around:
        middle = Fraction(sum(around), len(around))
        return min(candidates, key=lambda place: (abs(place - middle), abs(place)))
    tonic = key.sharps + (3 if key.mode == "minor" else 0)
    return next(place for place in candidates if tonic - 5 <= place <= tonic + 6)


def spellings(written: Arrangement) -> tuple[Spelling, ...]:
    """For every note how it is written: at the pitch of the hand, without the capo."""
    names = [parse_chord_name(mark.name) for mark in written.chords]
    changes = [mark.onset for mark in written.chords]
    following = _next_in_voice(written.notes)
    result = []
    for index, note in enumerate(written.notes):
        place = bisect_right(changes, note.onset) - 1
        chord = names[place] if place >= 0 else None
        then = next((name for name in names[place + 1 :] if name != chord), None)
        after = following.get(index)
        step = after.midi - note.midi if after else 0
        resolves = step if abs(step) == 1 else 0
        result.append(spell(note.midi - written.capo, written.key, chord, resolves, then))
    return tuple(result)


def _next_in_voice(notes: tuple[Placement, ...]) -> dict[int, Placement]:
    last: dict[str, int] = {}
    following = {}
    for index, note in enumerate(notes):
        if note.voice in last and notes[last[note.voice]].onset < note.onset:
            following[last[note.voice]] = note
        last[note.voice] = index
    return following


def open_string(midi: int) -> Spelling:
    """The spelling of an open string: naturals and flats, E flat rather than D sharp."""
    place = next(place for place in range(-6, 6) if place * 7 % 12 == midi % 12)
    step, alter = step_and_alter(place)
    return Spelling(step, alter, (midi - alter) // 12 - 1)


def shown_accidentals(
    order: Sequence[int], spelt: Sequence[Spelling], key: Key
) -> dict[int, int]:
    """Which notes of a bar show an accidental, and which: index → alter in semitones.

    ``order`` are the notes (indices into ``spelt``) that begin in the bar, as they are read.
    An accidental holds to the bar line for its own line or space.
    """
    signature = dict(step_and_alter(place) for place in range(key.sharps - 1, key.sharps + 6))
    in_force: dict[tuple[str, int], int] = {}
    shown = {}
    for index in order:
        spelling = spelt[index]
        place = (spelling.step, spelling.octave)
        if in_force.get(place, signature[spelling.step]) != spelling.alter:
            shown[index] = spelling.alter
        in_force[place] = spelling.alter
    return shown
