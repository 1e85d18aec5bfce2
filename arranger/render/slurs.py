"""Slurs: which note a hammer-on, pull-off or slide comes from, and its sign in tab."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from arranger.music.arrangement import Placement
from arranger.music.repeats import slur_origins
from arranger.music.time import Beat

SlurSigns = Mapping[tuple[Beat, int], str]

_SIGNS = {"hammer-on": "h", "pull-off": "p"}


@dataclass(frozen=True, slots=True)
class SlurEnds:
    """Notes (indices) from which a slur leaves, and at which one arrives, with its kind."""

    starts: Mapping[int, str]
    stops: Mapping[int, str]


def slur_ends(notes: Sequence[Placement]) -> SlurEnds:
    origins = slur_origins(notes)
    return SlurEnds(
        starts={origin: notes[to].slur or "" for to, origin in origins.items()},
        stops={to: notes[to].slur or "" for to in origins},
    )


def slur_signs(notes: Sequence[Placement]) -> SlurSigns:
    """The sign before each slurred note's fret, by onset and string: h, p, ``/`` or ``\\``."""
    signs = {}
    for index, origin in slur_origins(notes).items():
        note = notes[index]
        up = note.fret >= notes[origin].fret
        sign = _SIGNS.get(note.slur or "", "/" if up else "\\")
        signs[note.onset, note.string] = sign
    return signs
