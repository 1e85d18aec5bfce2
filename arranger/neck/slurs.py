"""Hammer-ons, pull-offs and slides where the left hand makes them natural.

A quick note off the beat that follows its neighbour on the same string is not plucked:
the left hand sounds it, with another finger or sliding with the same one. A player who has
the trick also hammers a note on a weak beat, under the thumb. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from arranger.music.arrangement import Placement, Slur
from arranger.music.reduction import Reduction
from arranger.music.time import Beat
from arranger.tables import Level, Player
from arranger.tables.fingering import SlurRules


def with_slurs(
    notes: Sequence[Placement],
    reduction: Reduction,
    level: Level,
    player: Player,
    rules: SlurRules,
) -> list[Placement]:
    """The notes (sorted by onset) with slurs where level and player allow them."""
    if not level.slurs:
        return list(notes)
    together = _together(notes)
    strong, weak = _beats(reduction)
    slurred = list(notes)
    before: int | None = None
    for index, note in enumerate(notes):
        if note.voice != "melody":
            continue
        if before is not None and slurred[before].slur is None:
            slur = _slur(notes[before], note, rules, player)
            alone = len(together[note.onset]) == 1
            under = (
                "hammer-on under thumb" in player.techniques
                and slur != "slide"
                and _only_thumb(note, together[note.onset], notes)
            )
            free = note.onset not in strong | weak
            hammered = under and slur == "hammer-on" and note.onset in weak
            quick = reduction.seconds(note.onset - notes[before].onset) <= rules.most_seconds
            if slur is not None and quick and ((free and (alone or under)) or hammered):
                slurred[index] = replace(note, slur=slur)
        before = index
    return slurred


def _beats(reduction: Reduction) -> tuple[frozenset[Beat], frozenset[Beat]]:
    """The thumb's beats: the first of every pair in a bar, and those between them."""
    score = reduction.analysis.score
    strong: set[Beat] = set()
    weak: set[Beat] = set()
    place, bar = 0, -1
    for onset in reduction.thumb_beats:
        here = score.bar_index_at(onset)
        place = place + 1 if here == bar else 0
        bar = here
        (weak if place % 2 else strong).add(onset)
    return frozenset(strong), frozenset(weak)


def _together(notes: Sequence[Placement]) -> dict[Beat, list[int]]:
    onsets: dict[Beat, list[int]] = {}
    for index, note in enumerate(notes):
        onsets.setdefault(note.onset, []).append(index)
    return onsets


def _only_thumb(note: Placement, at: list[int], notes: Sequence[Placement]) -> bool:
    return all(notes[index] == note or notes[index].right == "p" for index in at)


def _slur(before: Placement, note: Placement, rules: SlurRules, player: Player) -> Slur | None:
    """How ``note`` can be sounded from ``before`` without plucking, or None."""
    joined = before.string == note.string and before.end == note.onset
    frets = note.fret - before.fret
    if not joined or not 0 < abs(frets) <= rules.most_frets or "T" in (before.left, note.left):
        return None
    if before.left == note.left:
        slides = "slides" in player.techniques and abs(frets) <= rules.slide_frets
        return "slide" if slides else None
    if frets > 0:
        return "hammer-on" if note.left > before.left else None
    return "pull-off" if note.left < before.left else None
