"""Other ways to play a bar: its neighbours stay, and something in it is clearly different.

A dynamic program over the bar alone, between the grips chosen before and after it, gives the
best path through every grip. Ways are looked for that keep off a technique, use another one,
lie in another position or take a note elsewhere; the cheapest that differ enough from what
was chosen and from each other are kept.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from arranger.music.arrangement import Placement
from arranger.music.marks import BarMark, NoteMark
from arranger.music.others import BarAlternative
from arranger.music.pitch import note_name
from arranger.music.reduction import Reduction, Setting, Slot
from arranger.neck.dynamic import Lattice, Path
from arranger.neck.fretboard import Spot
from arranger.neck.grips import NONE, Grip, IntArray
from arranger.neck.marked import beat_of, techniques
from arranger.neck.moves import FORBIDDEN, Moves
from arranger.neck.shape_budget import ShapeBudget, shape_numbers, shapes_used
from arranger.neck.written import Chosen, fingered_notes
from arranger.tables import Level, Player
from arranger.tables.solving import SolvingTable, solving

Mask = tuple[NDArray[np.bool_], ...]
"""For each slot of a bar which of its grips may be used."""


class BarBetween:
    """One bar as played, between the grips chosen around it."""

    def __init__(
        self, net: Lattice, paths: dict[int, Path], place: int, slots: Sequence[Slot]
    ) -> None:
        piece = net.piece
        self.net = net
        self.slots = slots
        self.kind = piece.order[place]
        self.chosen = paths[self.kind]
        self.grips = net.grips[self.kind]
        self.inside = net.inside[self.kind]
        self.entry = net.entry
        if place:
            before = paths[piece.order[place - 1]][-1]
            self.entry = _from_one(net.joints[piece.joints[place - 1]], before)
        self.exit = np.zeros(len(self.grips[-1]), dtype=np.int32)
        if place + 1 < len(piece.order):
            after = paths[piece.order[place + 1]][0]
            self.exit = _to_one(net.joints[piece.joints[place]], after)
        free = tuple(np.ones(len(grips), dtype=bool) for grips in self.grips)
        self._free = self._passes(free)

    def cost(self, path: Path) -> int:
        """Tenths of a path with its ways from and to the bars around it."""
        moves = zip(self.inside, path, path[1:], strict=False)
        total = int(self.entry[path[0]]) + int(self.exit[path[-1]]) + self.holding(path)
        return total + sum(inside.between(here, there) for inside, here, there in moves)

    def holding(self, path: Path) -> int:
        """Tenths of a path's grips alone."""
        pairs = zip(self.grips, path, strict=True)
        return sum(int(grips.cost[row]) for grips, row in pairs)

    def items(self, path: Path) -> list[Grip]:
        return [grips.items[row] for grips, row in zip(self.grips, path, strict=True)]

    def best(self, mask: Mask) -> Path | None:
        """The cheapest path within a mask."""
        forward, backward = self._passes(mask)
        total = forward[0] + backward[0]
        row = int(total.argmin())
        return self._through(forward, backward, 0, row) if total[row] < FORBIDDEN else None

    def best_through(self, wanted: Mapping[int, NDArray[np.bool_]]) -> Path | None:
        """The cheapest path of all that uses a wanted grip in one of some slots."""
        forward, backward = self._free
        found: tuple[int, int, int] | None = None
        for slot, wish in wanted.items():
            total = np.where(wish, forward[slot] + backward[slot], FORBIDDEN)
            row = int(total.argmin())
            if total[row] < FORBIDDEN:
                found = min(found or (FORBIDDEN, 0, 0), (int(total[row]), slot, row))
        return self._through(forward, backward, *found[1:]) if found else None

    def _passes(self, mask: Mask) -> tuple[list[IntArray], list[IntArray]]:
        """Least tenths up to and from every grip; a grip's own cost lies in the first."""
        unary = [
            np.where(keep, grips.cost, FORBIDDEN).astype(np.int32)
            for keep, grips in zip(mask, self.grips, strict=True)
        ]
        forward = [np.minimum(self.entry + unary[0], FORBIDDEN)]
        for moves, own in zip(self.inside, unary[1:], strict=True):
            forward.append(np.minimum(moves.forward(forward[-1]) + own, FORBIDDEN))
        backward = [np.minimum(self.exit, FORBIDDEN)]
        for moves, own in zip(reversed(self.inside), reversed(unary), strict=False):
            backward.append(moves.backward(np.minimum(backward[-1] + own, FORBIDDEN)))
        backward.reverse()
        return forward, backward

    def _through(
        self, forward: Sequence[IntArray], backward: Sequence[IntArray], slot: int, row: int
    ) -> Path:
        """The best path through one grip, followed to both ends."""
        path = [row]
        for place in range(slot - 1, -1, -1):
            moves = self.inside[place]
            first, last = np.searchsorted(moves.there, [path[0], path[0] + 1])
            here = moves.here[first:last]
            path.insert(0, int(here[(forward[place][here] + moves.cost[first:last]).argmin()]))
        for place in range(slot, len(self.inside)):
            moves = self.inside[place]
            order = moves.by_here
            first, last = np.searchsorted(moves.here[order], [path[-1], path[-1] + 1])
            part = order[first:last]
            there = moves.there[part]
            own = self.grips[place + 1].cost[there]
            rest = backward[place + 1][there] + own + moves.cost[part]
            # A grip that the mask leaves out cannot be reached from the start.
            rest = np.where(forward[place + 1][there] < FORBIDDEN, rest, FORBIDDEN)
            path.append(int(there[rest.argmin()]))
        return tuple(path)


def _from_one(moves: Moves, row: int) -> IntArray:
    reach = np.full(moves.rows[0], FORBIDDEN, dtype=np.int32)
    reach[row] = 0
    return moves.forward(reach)


def _to_one(moves: Moves, row: int) -> IntArray:
    rest = np.full(moves.rows[1], FORBIDDEN, dtype=np.int32)
    rest[row] = 0
    return moves.backward(rest)


# Ways that differ -----------------------------------------------------------------------


def different_ways(bar: BarBetween) -> list[Path]:
    """The cheapest paths that are clearly different, cheapest first.

    Each is the best under the marks that choose it, so that these marks lead to it.

    One of each kind is taken before a second of any: another technique, another position,
    the tune elsewhere, another bass.
    """
    table = solving()
    kinds: dict[Path, str] = {}
    known: set[Path] = set()
    for kind, path in _candidates(bar):
        if path is not None and path not in known:
            known.add(path)
            kinds.setdefault(pinned(bar, path), kind)
    limit = bar.cost(bar.chosen) + 10 * table.other_points
    costs = {path: bar.cost(path) for path in kinds}
    found = sorted((p for p in kinds if costs[p] <= limit), key=lambda p: (costs[p], p))
    kept: list[Path] = []
    for again in (False, True):
        for path in found:
            fresh = again or kinds[path] not in {kinds[one] for one in kept}
            room = len(kept) < table.others
            others = (bar.chosen, *kept)
            if room and fresh and all(_differ(bar, path, one, table) for one in others):
                kept.append(path)
    return sorted(kept, key=lambda path: (costs[path], path))


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
    grips, hands = bar.grips[slot], bar.net.piece.hands
    known: dict[tuple[object, ...], frozenset[str]] = {}
    found = []
    for row in range(len(grips)):
        key = (
            int(grips.hand[row]),
            int(grips.tune[row]),
            int(grips.bass[row]),
            int(grips.bass_active[row]),
            grips.fills[row],
        )
        if key not in known:
            known[key] = techniques(grips.items[row], hands[key[0]])
        found.append(known[key])
    return found


def _differ(bar: BarBetween, one: Path, other: Path, table: SolvingTable) -> bool:
    """Whether a student would call two ways different: in a technique that is seen in the
    fingers, or in where notes are taken on several of the bar's moments.
    """
    both = list(zip(_begun(bar, one), _begun(bar, other), strict=True))
    if any(a != b for a, b in both) and _techniques(bar, one) != _techniques(bar, other):
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
    hands = bar.net.piece.hands
    return frozenset().union(*(techniques(g, hands[g.hand]) for g in bar.items(path)))


# Marks that choose a way ----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Pins:
    """The teacher's marks that stand for a way."""

    notes: tuple[NoteMark, ...]
    bar: BarMark | None


def pins_of(bar: BarBetween, path: Path, reduction: Reduction) -> Pins:
    """String and finger of every note of tune and bass that begins in the bar."""
    number = reduction.analysis.score.bars[bar.slots[0].bar].number
    notes = []
    for slot, grip in zip(bar.slots, bar.items(path), strict=True):
        beat = beat_of(slot.onset, reduction.analysis.score.bars[slot.bar], reduction)
        for voice, begins, spot, finger in (
            ("melody", slot.melody_begins, grip.tune, grip.tune_finger),
            ("bass", slot.stroke_begins, grip.bass, grip.bass_finger),
        ):
            if begins and spot is not None:
                notes.append(
                    NoteMark(
                        bar=number, beat=beat, voice=voice, string=spot.string, finger=finger
                    )
                )
    gone = _techniques(bar, bar.chosen) - _techniques(bar, path)
    mark = BarMark(bar=number, avoid=gone, use=frozenset()) if gone else None
    return Pins(tuple(notes), mark)


def pinned(bar: BarBetween, path: Path) -> Path:
    """The best way under the marks that stand for ``path``: what they choose."""
    gone = _techniques(bar, bar.chosen) - _techniques(bar, path)
    hands = bar.net.piece.hands
    mask = []
    for slot, grips, row in zip(bar.slots, bar.grips, path, strict=True):
        keep = np.ones(len(grips), dtype=bool)
        if slot.melody_begins and grips.tune[row] != NONE:
            keep &= (grips.tune // 256 == grips.tune[row] // 256) & (
                grips.tune % 8 == grips.tune[row] % 8
            )
        if slot.stroke_begins and grips.bass[row] != NONE:
            keep &= (grips.bass // 256 == grips.bass[row] // 256) & (
                grips.bass % 8 == grips.bass[row] % 8
            )
        for place in np.flatnonzero(keep) if gone else ():
            grip = grips.items[int(place)]
            keep[place] = not gone & techniques(grip, hands[grip.hand])
        mask.append(keep)
    return bar.best(tuple(mask)) or path


# What is offered ------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Solved:
    """A piece solved: its lattice, a path for every class of bars, and what else it takes
    to turn grips into notes.
    """

    reduction: Reduction
    setting: Setting
    net: Lattice
    paths: dict[int, Path]
    level: Level
    player: Player
    budget: ShapeBudget

    def slots(self) -> list[list[Slot]]:
        """The slots of every bar of ``net.piece.order``."""
        by_bar: dict[int, list[Slot]] = {}
        for slot in self.reduction.slots:
            by_bar.setdefault(slot.bar, []).append(slot)
        return list(by_bar.values())

    def chosen(self, place: int, path: Path, slots: Sequence[Slot]) -> list[Chosen]:
        grips = self.net.grips[self.net.piece.order[place]]
        return [
            Chosen(slot, grip.items[row])
            for slot, grip, row in zip(slots, grips, path, strict=True)
        ]


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
    bar = BarBetween(solved.net, solved.paths, place, own)
    number = solved.reduction.analysis.score.bars[own[0].bar].number
    before = _notes_of(solved, place, slots, bar.chosen)
    for path in different_ways(bar):
        shapes = shapes_cost(bar, solved.paths, path, solved.budget)
        if shapes is None:
            continue
        after = _notes_of(solved, place, slots, path)
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
    solved: Solved, place: int, slots: Sequence[Sequence[Slot]], path: Path
) -> list[Placement]:
    """The notes of a bar played one way, with the bars around it as they were chosen."""
    order = solved.net.piece.order
    around = range(max(0, place - 1), min(len(order), place + 2))
    chosen = [
        one
        for near in around
        for one in solved.chosen(
            near, path if near == place else solved.paths[order[near]], slots[near]
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


def shapes_cost(
    bar: BarBetween, paths: dict[int, Path], path: Path, budget: ShapeBudget
) -> int | None:
    """Tenths for the shapes that a way adds to the piece; None: more than the level allows."""
    numbers, _ = shape_numbers(bar.net)
    used = shapes_used(bar.net, numbers, paths)
    new = shapes_used(bar.net, numbers, {bar.kind: path})
    before, after = budget.cost(len(used)), budget.cost(len(used | new))
    return None if before is None or after is None else after - before
