"""Grace notes and rolled chords, as files write them out in time.

Notation programs steal grace notes from the beat before (.03 to .11 quarter each) and
spread rolled chords in steps of about .09 quarter (measured on open piano files). Both are
recognised by three things together: very short steps, a place off the grid, and the note or
chord on the grid that they lead to.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from typing import Literal

from arranger.read.piece import PlayedNote
from arranger.read.table import GridTable

Place = tuple[PlayedNote, int, int, Literal["grace", "roll"]]
PLAIN = (4, 3, 8, 6, 16, 12)  # divisions of a quarter that a principal note may lie on


class Ornaments:
    """The ornaments among the notes of a written file; ``id(note) in ornaments`` asks."""

    def __init__(self, notes: Sequence[PlayedNote], unit: int, table: GridTable) -> None:
        self.unit = unit
        self.table = table
        self.near = int(unit * table.exact / 2)
        self.graces: dict[int, tuple[PlayedNote, list[PlayedNote]]] = {}
        self.rolled: dict[int, tuple[PlayedNote, PlayedNote]] = {}
        by_track: dict[tuple[int, int], list[PlayedNote]] = defaultdict(list)
        for note in notes:
            by_track[note.track, note.channel].append(note)
        for members in by_track.values():
            self._find_rolls(members)
            self._find_graces(members)

    def __contains__(self, identity: int) -> bool:
        return identity in self.graces or identity in self.rolled

    def placed(self, anchors: Mapping[int, int]) -> Iterator[Place]:
        """(note, clean onset, gate, kind) of every ornament; ``anchors`` holds the rest."""
        chains: dict[int, tuple[PlayedNote, list[PlayedNote]]] = {}
        for principal, chain in self.graces.values():
            chains[id(principal)] = (principal, chain)
        for principal, chain in chains.values():
            yield from self._placed_chain(anchors[id(principal)], chain)
        for note, first in self.rolled.values():
            gate = note.end - first.start
            yield note, anchors[id(first)], gate, "roll"

    def _placed_chain(self, onset: int, chain: list[PlayedNote]) -> Iterator[Place]:
        """Graces before their principal: a thirty-second each, all within a sixteenth."""
        starts = sorted({note.start for note in chain})
        step = min(self.unit // 8, self.unit // 4 // len(starts))
        for note in chain:
            before = len(starts) - bisect_left(starts, note.start)
            yield note, max(0, onset - before * step), step, "grace"

    def _off_grid(self, at: int) -> bool:
        offset = at % self.unit
        return all(
            abs(offset - round(offset * parts / self.unit) * self.unit // parts) > self.near
            for parts in PLAIN[:4]
        )

    def _find_graces(self, notes: list[PlayedNote]) -> None:
        """Chains of very short notes off the grid, the last ending where a note begins."""
        longest = self.table.grace_length * self.unit
        slack = self.unit // 32
        starts = [note.start for note in notes]
        chain_of: dict[int, tuple[PlayedNote, list[PlayedNote]]] = {}
        for place in range(len(notes) - 1, -1, -1):
            note = notes[place]
            length = note.end - note.start
            if length > longest or id(note) in self.rolled:
                continue
            if length > self.near and not self._grace_like(note):
                continue
            follower = self._follower(notes, starts, place, note.end, slack)
            if follower is None:
                continue
            if id(follower) in chain_of:
                principal, chain = chain_of[id(follower)]
            elif self._off_grid(follower.start) and length > self.near:
                continue
            else:
                principal, chain = follower, []
            chain.append(note)
            chain_of[id(note)] = (principal, chain)
        firsts = {id(first) for _, first in self.rolled.values()}
        short = {
            key: found
            for key, found in chain_of.items()
            if self._is_short(*found) and key not in firsts
        }
        # What an ornament leads to is none itself, or nothing would hold its place.
        self.graces.update(
            {
                key: (principal, [note for note in chain if id(note) in short])
                for key, (principal, chain) in short.items()
                if id(principal) not in short and id(principal) not in self.rolled
            }
        )

    def _is_short(self, principal: PlayedNote, chain: list[PlayedNote]) -> bool:
        """Whether a chain is a few quick notes and not the end of a tuplet or a run."""
        starts = {note.start for note in chain}
        whole = principal.start - min(starts)
        return len(starts) <= self.table.graces and whole <= self.table.graces_whole * self.unit

    def _grace_like(self, note: PlayedNote) -> bool:
        """Off the sixteenths and triplets, or on the sixty-fourths with another length."""
        sixtyfourth = self.unit // 16
        offset = note.start % sixtyfourth
        true = min(offset, sixtyfourth - offset) <= self.near // 3
        if true and abs(note.end - note.start - sixtyfourth) <= self.near // 3:
            return False
        return self._off_grid(note.start)

    def _follower(
        self, notes: list[PlayedNote], starts: list[int], place: int, end: int, slack: int
    ) -> PlayedNote | None:
        """The highest note of the track that begins where ``notes[place]`` ends."""
        index = bisect_left(starts, end - self.near)
        while index < len(notes) and notes[index].start <= end + slack:
            if index != place and notes[index].end - notes[index].start > self.near:
                return notes[index]
            index += 1
        return None

    def _find_rolls(self, notes: list[PlayedNote]) -> None:
        """Three or more notes struck upwards in quick steps off the grid and held on."""
        step = self.table.roll_step * self.unit
        place = 0
        while place < len(notes):
            run = [notes[place]]
            for later in range(place + 1, len(notes)):
                note = notes[later]
                if not 0 < note.start - run[-1].start <= step or note.midi <= run[-1].midi:
                    break
                run.append(note)
            held = min(note.end for note in run) >= run[-1].start + self.near
            if len(run) > 2 and held and any(self._off_grid(n.start) for n in run[1:]):
                first = run[0]
                self.rolled.update({id(note): (note, first) for note in run[1:]})
                place += len(run) - 1
            place += 1
