"""The teacher's marks on bars and notes: which grips they leave, and why one cannot be kept."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from typing import NoReturn

import numpy as np

from arranger.music.arrangement import Decision
from arranger.music.errors import UsageError
from arranger.music.marks import BarMark, NoteMark
from arranger.music.reduction import Reduction, Setting, Slot
from arranger.music.score import Bar
from arranger.neck.beats import onset_of
from arranger.neck.dynamic import Lattice, first_stop
from arranger.neck.fretboard import Spot
from arranger.neck.grips import Grip, InnerWish, IntArray
from arranger.neck.hands import Hand
from arranger.neck.inner_notes import grants, inner_wish
from arranger.neck.reach import THUMB
from arranger.neck.written import Chosen

Rows = dict[tuple[int, int], IntArray]
HALF_BARRE = 3
"""Strings up to which a barre is a half barre; common practice, no source."""


def window(reduction: Reduction) -> frozenset[int]:
    """Indices of the bars that a mark can change: the marked ones and their neighbours."""
    bars = reduction.analysis.score.bars
    marked = {i for i, bar in enumerate(bars) if bar.number in reduction.marks.marked_bars}
    near = {i + step for i in marked for step in (-1, 0, 1)}
    return frozenset(i for i in near if 0 <= i < len(bars))


def check_bars(reduction: Reduction, others: Collection[int] = ()) -> None:
    """Raise UsageError for a mark on, or a question about, a bar the piece does not have."""
    known = {bar.number for bar in reduction.analysis.score.bars}
    for number in sorted(set(others) - known):
        raise UsageError(
            f"there is no bar {number} to look at",
            where="--others",
            next_step=f"The bars run from {min(known)} to {max(known)}.",
        )
    for number in sorted({*reduction.marks.marked_bars, *reduction.marks.ritardando} - known):
        raise UsageError(
            f"there is no bar {number} to mark",
            where="marks file",
            next_step=f"The bars run from {min(known)} to {max(known)}.",
        )


def marked_rows(net: Lattice, reduction: Reduction, rows: Rows) -> Rows:
    """``rows`` of the bars with marks, without the grips that the marks rule out.

    Raises
    ------
    UsageError : a mark leaves no grip; names the bar and the mark.
    """
    slots = _slots_by_bar(reduction)
    kept = dict(rows)
    for index, bar in enumerate(reduction.analysis.score.bars):
        kind = net.piece.order[index]
        for mark in reduction.marks.bar_marks:
            if mark.bar == bar.number:
                _apply_bar(net, kind, mark, kept)
        for note in reduction.marks.note_marks:
            if note.bar == bar.number:
                _apply_note(net, kind, note, (slots[index], bar, reduction), kept)
    return kept


def check_way(net: Lattice, reduction: Reduction) -> None:
    """Raise UsageError where marks can each be kept, but no hand gets from one to the next.

    Names the marked bar in which, or on the way out of which, the hand is stuck.
    """
    stop = first_stop(net)
    if stop is None:
        return
    bars = reduction.analysis.score.bars
    marked = [
        bar.number for bar in bars[: stop + 2] if bar.number in reduction.marks.marked_bars
    ]
    _cannot(
        marked[-1] if marked else bars[stop].number,
        "no hand of this level gets from one marked note to the next, or back to the bars"
        " around them",
    )


def _slots_by_bar(reduction: Reduction) -> dict[int, list[Slot]]:
    slots: dict[int, list[Slot]] = {}
    for slot in reduction.slots:
        slots.setdefault(slot.bar, []).append(slot)
    return slots


# Techniques of a bar ------------------------------------------------------------------


def techniques(grip: Grip, hand: Hand) -> frozenset[str]:
    """The techniques that a grip, or the shape it is part of, asks for."""
    used = set()
    if hand.shape is not None and hand.shape.barre_strings:
        used.add("half barre" if hand.shape.barre_strings <= HALF_BARRE else "full barre")
    if grip.bass_finger == THUMB or (hand.shape is not None and hand.shape.uses_thumb):
        used.add("thumb over")
    first = [spot.string for spot, finger in _pressed(grip) if finger == 1 and spot.fret]
    if len(first) > 1:
        width = max(first) - min(first) + 1
        used.add("half barre" if width <= HALF_BARRE else "full barre")
    return frozenset(used)


def _pressed(grip: Grip) -> list[tuple[Spot, int]]:
    pressed = list(grip.fills)
    if grip.bass is not None and grip.bass_active:
        pressed.append((grip.bass, grip.bass_finger))
    if grip.tune is not None:
        pressed.append((grip.tune, grip.tune_finger))
    return pressed


def _apply_bar(net: Lattice, kind: int, mark: BarMark, rows: Rows) -> None:
    hands = net.piece.hands
    met = False
    for slot, grips in enumerate(net.grips[kind]):
        keep = rows[kind, slot]
        used = {int(row): techniques(grips.items[row], hands[grips.hand[row]]) for row in keep}
        wanted = [row for row in keep if mark.use and mark.use <= used[int(row)]]
        met = met or bool(wanted)
        chosen = wanted or [row for row in keep if not mark.avoid & used[int(row)]]
        rows[kind, slot] = np.array(chosen, dtype=np.int32)
        if not chosen:
            avoided = ", ".join(sorted(mark.avoid))
            _cannot(mark.bar, f"without {avoided} nothing is left to play")
    if mark.use and not met:
        _cannot(
            mark.bar,
            f"no grip there uses {', '.join(sorted(mark.use))} at this level and for this"
            " student",
        )


# Pinned notes -------------------------------------------------------------------------


def _apply_note(
    net: Lattice,
    kind: int,
    mark: NoteMark,
    place: tuple[list[Slot], Bar, Reduction],
    rows: Rows,
) -> None:
    slots, bar, reduction = place
    onset = onset_of(mark.beat, bar, reduction)
    slot = next((i for i, slot in enumerate(slots) if slot.onset == onset), None)
    if slot is None or not _begins(slots[slot], mark.voice):
        _cannot(mark.bar, f"no {mark.voice} note begins on beat {mark.beat}")
    fits = _pinned(mark, inner_wish(reduction, bar, onset))
    keep = [row for row in rows[kind, slot] if fits(net.grips[kind][slot].items[row])]
    if not keep:
        _cannot(mark.bar, f"{_named(mark)} together with the rest")
    rows[kind, slot] = np.array(keep, dtype=np.int32)


def _named(mark: NoteMark) -> str:
    """What cannot be done, in words."""
    if mark.voice == "inner" and mark.string is None:
        return f"beat {mark.beat} cannot go without inner notes"
    places = (("string", mark.string), ("fret", mark.fret), ("finger", mark.finger))
    where = [f"{name} {place}" for name, place in places if place is not None]
    return (
        f"the {mark.voice} note on beat {mark.beat} cannot be played with {' and '.join(where)}"
    )


def _begins(slot: Slot, voice: str) -> bool:
    if voice == "inner":
        return slot.melody_begins or slot.stroke_begins or slot.fill is not None
    return slot.melody_begins if voice == "melody" else slot.stroke_begins


def _pinned(mark: NoteMark, inner: InnerWish | None) -> Callable[[Grip], bool]:
    def fits(grip: Grip) -> bool:
        if mark.voice == "inner":
            return inner is not None and grants(inner, grip.fills)
        spot, finger = (
            (grip.tune, grip.tune_finger)
            if mark.voice == "melody"
            else (grip.bass, grip.bass_finger)
        )
        if spot is None:
            return False
        there = mark.string in (None, spot.string) and mark.fret in (None, spot.fret)
        return there and mark.finger in (None, finger)

    return fits


def _cannot(bar: int, why: str) -> NoReturn:
    raise UsageError(
        f"the mark on bar {bar} cannot be kept: {why}",
        where="marks file",
        next_step="Change or remove the mark, or allow another level or technique.",
    )


def beside_book(
    reduction: Reduction, setting: Setting, net: Lattice, chosen: Sequence[Chosen]
) -> tuple[Decision, ...]:
    """A line for every voicing of the book that could not be held somewhere, by bar."""
    missed: dict[str, set[int]] = {}
    for here in chosen:
        chord = here.slot.chord
        if chord is None:
            continue
        moved = chord.transposed(setting.transposition)
        for voicing in reduction.marks.voicings:
            if (voicing.root, voicing.quality) != (moved.root, moved.quality):
                continue
            shape = net.piece.hands[here.grip.hand].shape
            if shape is None or shape.frets != voicing.frets:
                number = reduction.analysis.score.bars[here.slot.bar].number
                missed.setdefault(voicing.name, set()).add(number)
    return tuple(
        Decision(
            text=f"the voicing {name} could not be held in bars"
            f" {', '.join(map(str, sorted(bars)))}: the tune is out of its reach there",
            option="--marks",
        )
        for name, bars in sorted(missed.items())
    )
