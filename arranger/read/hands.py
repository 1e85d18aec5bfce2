"""Which hand plays a note: from named parts, from two parts, or by splitting one."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import fmean

from arranger.music.score import Hand, HandsFrom, Note
from arranger.read.grid import GridNote
from arranger.read.parts import Parts, parts_of, voice_part, words_of
from arranger.read.piece import Piece, Remark
from arranger.read.split import Struck, split_hands
from arranger.read.table import HandNames

TUNE = 24  # semitones, the widest tune of one hand

Pitches = Mapping[int, list[int]]
"""What each part plays."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hands:
    """The hand of each note, from what it was told, and what to say of it.

    ``voice`` is the part that has the tune to itself, None where there is none.
    """

    hands: tuple[Hand, ...]
    found: HandsFrom
    remarks: tuple[Remark, ...]
    voice: int | None = None

    @property
    def split(self) -> bool:
        """Whether they were told apart by ear."""
        return self.found == "ear"


def find_hands(piece: Piece, notes: Sequence[GridNote], table: HandNames) -> Hands:
    """The hands of ``notes``. Parts are believed when they look like two hands.

    A sung part goes to the right hand; the piano under it is heard without it.
    """
    parts = parts_of(piece)
    voice = voice_part(piece.notes, parts, table)
    sung = [voice is not None and parts.of(note.played) == voice for note in notes]
    if voice is None or all(sung):
        return _of_piano(piece.unit, notes, parts, table)
    piano = [note for note, sings in zip(notes, sung, strict=True) if not sings]
    sings_here = not words_of(parts.names[voice]) & set(table.tune)
    if len(parts.names) == 2 and not sings_here:  # "melody" and "accompaniment": two hands
        return replace(_of_piano(piece.unit, notes, parts, table), voice=voice)
    found = _of_piano(piece.unit, piano, parts, table)
    rest = iter(found.hands)
    hands = tuple("right" if sings else next(rest) for sings in sung)
    said = Remark(
        code="voice-part",
        text=f"Part {voice + 1}{_in_brackets(parts.names[voice])} has the tune to itself "
        "(--melody-track takes another)",
    )
    return replace(found, hands=hands, voice=voice, remarks=(said, *found.remarks))


def _in_brackets(name: str) -> str:
    return f" ({name.strip()})" if name.strip() else ""


def _of_piano(unit: int, notes: Sequence[GridNote], parts: Parts, table: HandNames) -> Hands:
    """The hands of ``notes``, from all of the parts that play them."""
    pitches: dict[int, list[int]] = defaultdict(list)
    for note in notes:
        pitches[parts.of(note.played)].append(note.played.midi)
    remarks: list[Remark] = []
    by_part = _by_name(parts, pitches, table, remarks)
    found: HandsFrom = "names"
    if by_part is None:
        by_part, found = _by_pitch(pitches, table), "parts"
    if by_part is None and len(pitches) > 2:
        by_part, found = _by_register(pitches, table, remarks), "register"
    if by_part is not None:
        hands = tuple(by_part[parts.of(note.played)] for note in notes)
        return Hands(hands=hands, found=found, remarks=tuple(remarks))
    return by_ear(notes, unit)


def by_ear(notes: Sequence[GridNote], unit: int) -> Hands:
    """Hands heard, whatever the parts; a tune alone is the right hand's."""
    if _one_line(notes):
        alone: list[Hand] = ["right"] * len(notes)
        return Hands(hands=tuple(alone), found="ear", remarks=())
    hands = split_hands(struck(notes, unit))
    said = Remark(
        code="hands-split",
        text="The file does not keep the hands apart; they were told apart by ear, check "
        "the lowest melody notes (--hands says otherwise)",
    )
    return Hands(hands=hands, found="ear", remarks=() if one_sided(hands) else (said,))


def _one_line(notes: Sequence[GridNote]) -> bool:
    """Whether the notes are a tune: one at a time, within two octaves."""
    pitches = [note.played.midi for note in notes]
    ends = [note.onset + note.gate for note in notes]
    alone = all(
        after.onset > before.onset and end <= after.onset + 0.1 * after.gate
        for before, after, end in zip(notes, notes[1:], ends, strict=False)
    )
    return alone and max(pitches) - min(pitches) <= TUNE


def struck(notes: Sequence[GridNote], unit: int) -> list[Struck]:
    """What a listener hears of ``notes``: onset, length as played, pitch."""
    return [Struck(note.onset / unit, note.gate / unit, note.played.midi) for note in notes]


def _by_name(
    parts: Parts, pitches: Pitches, table: HandNames, remarks: list[Remark]
) -> dict[int, Hand] | None:
    """Hands from part names; None when the names do not say or say nonsense."""
    said: dict[int, Hand] = {}
    for part in pitches:
        hand = _hand_in(parts.names[part], table)
        if hand is None:
            return None
        said[part] = hand
    means = _means(pitches, said)
    if len(means) < 2:
        return None
    if means["right"] + table.named_slack >= means["left"]:
        return said
    remarks.append(
        Remark(
            code="hands-swapped",
            text="The track named for the right hand lies below the other; the names were "
            "taken to be swapped (--hands says otherwise)",
        )
    )
    return {part: "left" if hand == "right" else "right" for part, hand in said.items()}


def _hand_in(name: str, table: HandNames) -> Hand | None:
    words = words_of(name)
    right, left = words & set(table.right), words & set(table.left)
    if bool(right) == bool(left):
        return None
    return "right" if right else "left"


def _means(pitches: Pitches, said: Mapping[int, Hand]) -> dict[Hand, float]:
    of_hand: dict[Hand, list[int]] = defaultdict(list)
    for part, hand in said.items():
        of_hand[hand] += pitches[part]
    return {hand: fmean(values) for hand, values in of_hand.items()}


def _by_pitch(pitches: Pitches, table: HandNames) -> dict[int, Hand] | None:
    """Two parts that lie clearly one above the other are two hands."""
    if len(pitches) != 2:
        return None
    high, low = sorted(pitches, key=lambda part: -fmean(pitches[part]))
    smaller = min(len(pitches[high]), len(pitches[low]))
    whole = len(pitches[high]) + len(pitches[low])
    apart = fmean(pitches[high]) - fmean(pitches[low])
    if apart < table.unnamed_gap or smaller < table.unnamed_share * whole:
        return None
    return {high: "right", low: "left"}


def _by_register(pitches: Pitches, table: HandNames, remarks: list[Remark]) -> dict[int, Hand]:
    """More than two parts: each goes whole to the hand whose register it lies in."""
    remarks.append(
        Remark(
            code="many-tracks",
            text=f"The file has {len(pitches)} parts, not two hands; each was given to the "
            "hand whose register it lies in (--hands says otherwise)",
        )
    )
    order = sorted(pitches, key=lambda part: -fmean(pitches[part]))
    hands: dict[int, Hand] = {
        part: "right" if fmean(pitches[part]) >= table.split else "left" for part in order
    }
    hands[order[0]] = "right"
    hands[order[-1]] = "left"
    return hands


def one_sided(hands: Sequence[Hand]) -> bool:
    """Whether all notes are in one hand."""
    return len(set(hands)) < 2


def one_line(notes: Sequence[Note]) -> bool:
    """Whether no two notes, in the order of their onsets, sound together."""
    sounding = notes[0].end
    for note in notes[1:]:
        if note.onset < sounding:
            return False
        sounding = note.end
    return True
