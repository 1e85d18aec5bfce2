"""Other ways to play a bar: its neighbours stay, and something in it is clearly different.

A dynamic program over the bar alone, between the grips chosen before and after it, gives the
best path through every grip. Ways are looked for that keep off a technique, use another one,
lie in another position, take a note elsewhere, or have more, fewer or other inner notes; the
cheapest that differ enough from what was chosen and from each other are kept.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from arranger.music.arrangement import Placement
from arranger.music.marks import BarMark, NoteMark
from arranger.music.others import BarAlternative
from arranger.music.pitch import note_name
from arranger.music.reduction import Reduction, Slot
from arranger.neck.bar_between import BarBetween, Solved, closed, opened
from arranger.neck.beats import beat_of
from arranger.neck.dynamic import Path
from arranger.neck.fretboard import Spot
from arranger.neck.grips import NONE, Grip
from arranger.neck.marked import techniques
from arranger.neck.shape_budget import shape_numbers, shapes_used
from arranger.neck.written import Chosen, fingered_notes
from arranger.tables.solving import SolvingTable, solving

# Ways that differ -----------------------------------------------------------------------


Way = tuple[BarBetween, Path]
"""A path and the bar whose rows it names."""


def different_ways(bars: Sequence[BarBetween]) -> list[Way]:
    """The cheapest paths that are clearly different, cheapest first; ``bars`` are the same
    bar with different grips to choose from.

    Each is the best under the marks that choose it, so that these marks lead to it. One of
    each kind is taken before a second of any: another technique, another position, the tune
    elsewhere, another bass, other inner notes.
    """
    table = solving()
    kinds: dict[tuple[int, Path], str] = {}
    known: set[tuple[int, Path]] = set()
    for which, bar in enumerate(bars):
        for kind, path in _inner(bar) if bar.kind is None else _candidates(bar):
            if path is not None and (which, path) not in known:
                known.add((which, path))
                kinds.setdefault((which, pinned(bar, path)), kind)
    costs = {(which, path): bars[which].cost(path) for which, path in kinds}
    limit = bars[0].cost(bars[0].chosen) + 10 * table.other_points
    found = sorted((w for w in kinds if costs[w] <= limit), key=lambda w: (costs[w], w))
    kept: list[tuple[int, Path]] = []
    for again in (False, True):
        for way in found:
            fresh = again or kinds[way] not in {kinds[one] for one in kept}
            room = len(kept) < table.others
            others = ((0, bars[0].chosen), *kept)
            if room and fresh and all(_differ(bars, way, one, table) for one in others):
                kept.append(way)
    kept.sort(key=lambda way: (costs[way], way))
    return [(bars[which], path) for which, path in kept]


def _inner(bar: BarBetween) -> Iterator[tuple[str, Path | None]]:
    """The best way without inner notes, with at most one and with as many as can be added at
    each moment, and with others than the chosen ones.
    """
    counts = [np.array([len(fills) for fills in grips.fills]) for grips in bar.grips]
    yield "inner", bar.best(tuple(count == 0 for count in counts))
    yield "inner", bar.best(tuple(count == min(1, count.max()) for count in counts))
    yield "inner", bar.best(tuple(count == count.max() for count in counts))
    other = []
    for grips, row in zip(bar.grips, bar.chosen, strict=True):
        own = {spot for spot, _ in grips.grip(row).fills}
        other.append(
            np.array(
                [not own or not fills or {s for s, _ in fills} != own for fills in grips.fills]
            )
            & np.array([bool(fills) == bool(own) for fills in grips.fills])
        )
    yield "inner", bar.best(tuple(other))


def _candidates(bar: BarBetween) -> Iterator[tuple[str, Path | None]]:
    """The best way that keeps off each technique, has it, lies in each position, or takes a
    note of the tune or the bass from another string; each with what it sets out to do.
    """
    used = [_row_techniques(bar, slot) for slot in range(len(bar.grips))]
    for technique in sorted({name for slot in used for names in slot for name in names}):
        has = {
            slot: np.array([technique in names for names in rows], dtype=bool)
            for slot, rows in enumerate(used)
        }
        yield "technique", bar.best(tuple(~keep for keep in has.values()))
        yield "technique", bar.best_through(has)
    for fret in sorted({int(low) for grips in bar.grips for low in np.unique(grips.low)}):
        stands = tuple((g.low <= fret) & (fret <= g.high) for g in bar.grips)
        yield "position", bar.best(stands)
    for slot, grips in enumerate(bar.grips):
        for voice, column in (("tune", grips.tune_string), ("bass", grips.bass_string)):
            for string in np.unique(column):
                yield voice, bar.best_through({slot: column == string})


def _row_techniques(bar: BarBetween, slot: int) -> list[frozenset[str]]:
    """The techniques of every grip of a slot; equal fingerings are looked at once."""
    grips, hands = bar.grips[slot], bar.hands
    known: dict[tuple[object, ...], frozenset[str]] = {}
    found = []
    for row in range(len(grips)):
        key = (
            int(grips.hand[row]),
            int(grips.tune[row]),
            int(grips.bass[row]),
            int(grips.bass_active[row]),
            int(grips.filled[row]),
        )
        if key not in known:
            known[key] = techniques(grips.items[row], hands[key[0]])
        found.append(known[key])
    return found


def _differ(
    bars: Sequence[BarBetween],
    one: tuple[int, Path],
    other: tuple[int, Path],
    table: SolvingTable,
) -> bool:
    """Whether a student would call two ways different: in a technique that is seen in the
    fingers, or in where notes are taken on several of the bar's moments.
    """
    (first, path), (second, rival) = one, other
    ours, theirs = _begun(bars[first], path), _begun(bars[second], rival)
    both = list(zip(ours, theirs, strict=True))
    used = _techniques(bars[first], path) != _techniques(bars[second], rival)
    if used and any(a != b for a, b in both):
        return True
    moments = sum({spot for spot, _ in a} != {spot for spot, _ in b} for a, b in both)
    struck = sum(bool(a) for a, _ in both)
    return moments >= max(1, min(table.other_moments, struck // 2))


def _begun(bar: BarBetween, path: Path) -> Iterator[frozenset[tuple[Spot, int]]]:
    """What is plucked at each moment: spots with their fingers."""
    for slot, grip in zip(bar.slots, bar.items(path), strict=True):
        begun = set(grip.fills)
        if slot.melody_begins and grip.tune is not None:
            begun.add((grip.tune, grip.tune_finger))
        if slot.stroke_begins and grip.bass is not None:
            begun.add((grip.bass, grip.bass_finger))
        yield frozenset(begun)


def _techniques(bar: BarBetween, path: Path) -> frozenset[str]:
    return frozenset().union(*(techniques(g, bar.hands[g.hand]) for g in bar.items(path)))


# Marks that choose a way ----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Pins:
    """The teacher's marks that stand for a way."""

    notes: tuple[NoteMark, ...]
    bar: BarMark | None


def pins_of(bar: BarBetween, path: Path, reduction: Reduction) -> Pins:
    """String, fret and finger of every note that begins in the bar, and where an inner note
    might have been added and is not.
    """
    number = reduction.analysis.score.bars[bar.slots[0].bar].number
    notes: list[NoteMark] = []
    for slot, grip in zip(bar.slots, bar.items(path), strict=True):
        beat = beat_of(slot.onset, reduction.analysis.score.bars[slot.bar], reduction)
        taken = [("inner", spot, finger) for spot, finger in grip.fills]
        if slot.stroke_begins and grip.bass is not None:
            taken.insert(0, ("bass", grip.bass, grip.bass_finger))
        if slot.melody_begins and grip.tune is not None:
            taken.insert(0, ("melody", grip.tune, grip.tune_finger))
        notes += [
            NoteMark(
                bar=number,
                beat=beat,
                voice=voice,
                string=spot.string,
                fret=spot.fret,
                finger=finger,
            )
            for voice, spot, finger in taken
        ]
        if slot.fill is not None and not grip.fills:
            bare = NoteMark(bar=number, beat=beat, voice="inner", string=None, finger=None)
            notes.append(bare)
    gone = _techniques(bar, bar.chosen) - _techniques(bar, path)
    mark = BarMark(bar=number, avoid=gone, use=frozenset()) if gone else None
    return Pins(tuple(notes), mark)


def pinned(bar: BarBetween, path: Path) -> Path:
    """The best way under the marks that stand for ``path``: what they choose."""
    gone = _techniques(bar, bar.chosen) - _techniques(bar, path)
    mask = []
    for slot, grips, row in zip(bar.slots, bar.grips, path, strict=True):
        own = set(grips.grip(row).fills)
        keep = np.array([set(fills) == own for fills in grips.fills])
        if slot.melody_begins and grips.tune[row] != NONE:
            keep &= grips.tune == grips.tune[row]
        if slot.stroke_begins and grips.bass[row] != NONE:
            keep &= grips.bass == grips.bass[row]
        for place in np.flatnonzero(keep) if gone else ():
            grip = grips.items[int(place)]
            keep[place] = not gone & techniques(grip, bar.hands[grip.hand])
        mask.append(keep)
    return bar.best(tuple(mask)) or path


# What is offered ------------------------------------------------------------------------


def other_ways(solved: Solved, bars: Collection[int]) -> tuple[BarAlternative, ...]:
    """Up to the table's number of ways for each of ``bars`` (printed numbers), by bar."""
    score = solved.reduction.analysis.score
    slots = solved.slots()
    found: list[BarAlternative] = []
    for place, own in enumerate(slots):
        if score.bars[own[0].bar].number in bars:
            ways = _ways_of(solved, place, slots)
            found.extend(sorted(ways, key=lambda way: way.points))
    return tuple(found)


def _ways_of(
    solved: Solved, place: int, slots: Sequence[Sequence[Slot]]
) -> Iterator[BarAlternative]:
    own = slots[place]
    tight = closed(solved.net, solved.paths, place, own)
    wide = opened(solved, place, own)
    number = solved.reduction.analysis.score.bars[own[0].bar].number
    before = _notes_of(solved, place, slots, tight.items(tight.chosen))
    for bar, path in different_ways([tight] if wide is None else [tight, wide]):
        shapes = shapes_cost(solved, bar.kind, path)
        if shapes is None:
            continue
        after = _notes_of(solved, place, slots, bar.items(path))
        marks = pins_of(bar, path, solved.reduction)
        more = bar.cost(path) + shapes - bar.cost(bar.chosen)
        holding = bar.holding(path) - bar.holding(bar.chosen)
        words = technique_words(_techniques(bar, bar.chosen), _techniques(bar, path))
        words += difference(before, after)
        yield BarAlternative(
            bar=number,
            points=more / 10,
            holding=holding / 10,
            moving=(more - holding) / 10,
            reason="; ".join(words) or "the same notes with other fingers",
            notes=tuple(after),
            note_marks=marks.notes,
            bar_mark=marks.bar,
        )


def _notes_of(
    solved: Solved, place: int, slots: Sequence[Sequence[Slot]], grips: Sequence[Grip]
) -> list[Placement]:
    """The notes of a bar played one way, with the bars around it as they were chosen."""
    order = solved.net.piece.order
    around = range(max(0, place - 1), min(len(order), place + 2))
    chosen = [
        one
        for near in around
        for one in (
            map(Chosen, slots[near], grips)
            if near == place
            else solved.chosen(near, solved.paths[order[near]], slots[near])
        )
    ]
    notes = fingered_notes(
        solved.reduction, solved.setting, chosen, level=solved.level, player=solved.player
    )
    number = solved.reduction.analysis.score.bars[slots[place][0].bar].number
    return [note for note in notes if note.bar == number]


# In words -------------------------------------------------------------------------------


def difference(before: Sequence[Placement], after: Sequence[Placement]) -> list[str]:
    """How the notes of two ways differ, the most telling first."""
    said = []
    here, there = position(before), position(after)
    if here != there and here and there:
        said.append(f"first finger at fret {there} instead of {here}")
    basses = [
        " ".join(note_name(n.midi, octave=False) for n in notes if n.voice == "bass")
        for notes in (before, after)
    ]
    if basses[0] != basses[1]:
        said.append(f"bass {basses[1] or 'silent'} instead of {basses[0] or 'silent'}")
    elif [n.midi for n in before if n.voice == "bass"] != [
        n.midi for n in after if n.voice == "bass"
    ]:
        said.append("a bass note in another octave")
    said += _moved(before, after)
    inner = [[n.midi for n in notes if n.voice == "inner"] for notes in (before, after)]
    if len(inner[0]) == len(inner[1]) and inner[0] != inner[1]:
        said.append("other inner notes")
    for count, thing in (
        (_more(before, after, lambda note: note.voice == "inner"), "inner note"),
        (_more(before, after, lambda note: note.fret == 0), "open string"),
    ):
        if count:
            plural = thing if abs(count) == 1 else f"{thing}s"
            said.append(f"{abs(count)} {plural} {'more' if count > 0 else 'fewer'}")
    return said


def _moved(before: Sequence[Placement], after: Sequence[Placement]) -> Iterator[str]:
    """Notes of the same pitch on another string: the first, and how many more."""
    outer = [n for n in before if n.voice != "inner"]
    moved = [
        (new, old)
        for new in after
        for old in outer
        if (old.onset, old.voice, old.midi) == (new.onset, new.voice, new.midi)
        and old.string != new.string
    ]
    if moved:
        new, old = moved[0]
        name = note_name(new.midi, octave=False)
        more = f", and {len(moved) - 1} more" if len(moved) > 1 else ""
        voice = "tune" if new.voice == "melody" else "bass"
        yield (
            f"the {voice}'s {name} on string {new.string} fret {new.fret} instead of string"
            f" {old.string} fret {old.fret}{more}"
        )


def _more(
    before: Sequence[Placement],
    after: Sequence[Placement],
    fits: Callable[[Placement], bool],
) -> int:
    return sum(map(fits, after)) - sum(map(fits, before))


def technique_words(before: frozenset[str], after: frozenset[str]) -> list[str]:
    """``thumb over the neck instead of a full barre``."""
    names = {
        "half barre": "a half barre",
        "full barre": "a full barre",
        "thumb over": "the thumb over the neck",
    }
    new = [names[name] for name in sorted(after - before)]
    gone = [names[name] for name in sorted(before - after)]
    if new and gone:
        return [f"{' and '.join(new)} instead of {' and '.join(gone)}"]
    if new:
        return [f"with {' and '.join(new)}"]
    return [f"without {' or '.join(gone)}"] if gone else []


def position(notes: Sequence[Placement]) -> int | None:
    """The fret at which the first finger stands for most of the notes."""
    own = [n.fret - int(n.left) + 1 for n in notes if n.left in "1234"]
    return max(1, max(set(own), key=lambda fret: (own.count(fret), -fret))) if own else None


def shapes_cost(solved: Solved, kind: int | None, path: Path) -> int | None:
    """Tenths for the shapes that a way adds to the piece; None: more than the level allows.

    A way in a bar of no class (``kind``) keeps the shapes that were chosen.
    """
    if kind is None:
        return 0
    numbers, _ = shape_numbers(solved.net)
    used = shapes_used(solved.net, numbers, solved.paths)
    new = shapes_used(solved.net, numbers, {kind: path})
    before = solved.budget.cost(len(used))
    after = solved.budget.cost(len(used | new))
    return None if before is None or after is None else after - before
