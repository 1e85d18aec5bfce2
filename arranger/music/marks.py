"""A teacher's marks: what is to be kept, avoided, left out or played in a certain way."""

from __future__ import annotations

from dataclasses import dataclass

from arranger.music.time import Beat


@dataclass(frozen=True, slots=True, kw_only=True)
class Voicing:
    """A shape of the voicing book for one chord (root a pitch class, quality as in Chord).

    ``frets`` and ``fingers`` run from string 6 to string 1; ``fingers`` is None where the
    book leaves them to the arranger.
    """

    root: int
    quality: str
    name: str
    frets: tuple[int | None, ...]
    fingers: tuple[str | None, ...] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BarMark:
    """Techniques to avoid or to use in a bar (a printed number)."""

    bar: int
    avoid: frozenset[str]
    use: frozenset[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteMark:
    """A note pinned to a string, a fret or a finger.

    ``beat`` counts from 1 as under the tab, fractions for what lies between; ``voice`` is
    melody, bass or inner; ``string`` 1..6, ``fret`` (from the capo) and ``finger`` 0..4 or 5
    (the thumb over the neck) may be None. The inner notes named on a beat are all that are
    played there; an inner mark without a string says that there are none.
    """

    bar: int
    beat: Beat
    voice: str
    string: int | None
    finger: int | None
    fret: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """Everything a teacher marked. ``bars`` is the strain to take alone, ``leave_out``
    the bars to leave out, ``ritardando`` those in which it slows down, all printed numbers.
    """

    key: str | None = None
    capo: int | None = None
    bars: tuple[int, int] | None = None
    leave_out: tuple[int, ...] = ()
    voicings: tuple[Voicing, ...] = ()
    bar_marks: tuple[BarMark, ...] = ()
    note_marks: tuple[NoteMark, ...] = ()
    ritardando: tuple[int, ...] = ()

    @property
    def marked_bars(self) -> frozenset[int]:
        """Bars with a mark of their own."""
        bars = {mark.bar for mark in self.bar_marks}
        return frozenset(bars | {mark.bar for mark in self.note_marks})


NO_MARKS = Marks()
