"""A tab solved anew for its own notes: other fingers, a capo, a technique more."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from arranger.judge import difficulty, hand_violations
from arranger.music.arrangement import LEFT_FINGERS, RIGHT_FINGERS, Arrangement, Placement
from arranger.music.rating import Easing
from arranger.music.written_note import WrittenNote
from arranger.run.fingering import finger_notes
from arranger.tables import Level, Player
from arranger.tables.difficulty import difficulty_table

PAGE_VOICES = {"melody": 1, "inner": 0, "bass": 2}


def solved_easings(arrangement: Arrangement, level: Level, player: Player) -> Iterator[Easing]:
    """What saves points when the notes, all of them and as they sound, are fingered anew.

    A capo or a technique is told where it saves more than other fingers alone.
    """
    before = known = difficulty(arrangement, level, player).score
    for what, capo, who in _ways(arrangement, player):
        found = refingered(arrangement, who, capo)
        if found is None or hand_violations(found, level, who):
            continue
        score = difficulty(found, level, who).score
        if round(known - score, 1) >= difficulty_table().easier.least_points:
            yield Easing(what=what, points=round(before - score, 1), score=score)
        if capo == arrangement.capo and who == player:
            known = min(known, score)


def _ways(arrangement: Arrangement, player: Player) -> Iterator[tuple[str, int, Player]]:
    """What is tried: as it is, behind each capo the lowest note allows, the thumb over."""
    here = arrangement.capo
    yield "other fingers for the same notes (arranger finger shows them)", here, player
    room = (
        min(note.midi - arrangement.tuning[-1] for note in arrangement.notes)
        if arrangement.notes
        else 0
    )
    for capo in range(min(room, difficulty_table().easier.capo_most) + 1):
        if capo != here:
            place = f"a capo at fret {capo}" if capo else "no capo"
            yield f"{place}, the same notes fingered from there", capo, player
    if "thumb over" not in player.techniques:
        knows = player.model_copy(update={"techniques": player.techniques | {"thumb over"}})
        yield "the thumb over the neck for string 6, and fingers to suit", here, knows


def page_notes(arrangement: Arrangement, *, pinned: bool = False) -> list[WrittenNote]:
    """The notes of an arrangement as a page before its fingers; ``pinned`` to their strings.

    ``source`` of each is its index in the arrangement.
    """
    return [
        WrittenNote(
            onset=note.onset,
            length=note.length,
            midi=note.midi,
            voice=PAGE_VOICES[note.voice],
            string=note.string if pinned else None,
            source=(index,),
        )
        for index, note in enumerate(arrangement.notes)
    ]


def refingered(arrangement: Arrangement, player: Player, capo: int) -> Arrangement | None:
    """The same notes with new strings and fingers; None where a note cannot be played.

    Slurs are plucked: fingered anew, they need not lie on one string.
    """
    notes = page_notes(arrangement)
    hands = finger_notes(notes, player=player, tuning=arrangement.tuning, capo=capo)
    if hands.left.unplayable:
        return None
    placed: list[Placement] = []
    for found in hands.left.notes:
        before = arrangement.notes[hands.notes[found.note].source[0]]
        placed.append(
            replace(
                before,
                length=found.length,
                string=found.string,
                fret=found.fret,
                left=LEFT_FINGERS[found.finger],
                right=RIGHT_FINGERS[hands.right[found.note]],
                slur=None,
            )
        )
    placed.sort(key=lambda note: (note.onset, -note.string))
    return replace(arrangement, capo=capo, notes=tuple(placed))
