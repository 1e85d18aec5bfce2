"""Our left fingers beside those that the habits learnt from printed scores would take.

    python tests/bench/printed_fingers.py PIECE … [--level beginner] [--shown 12]

Every arrangement is fingered once more on its own strings by the habits of ``arranger finger``,
which know the printed fingers of published guitar scores. Printed is the share of fretted notes
on which both agree, then the commonest differences: voice, string, fret, our finger and theirs,
with a bar to look at. No aim goes with it: the habits are those of classical editors, and agree
with editors kept back on two notes of three. What stands out is where to look for a rule that
the costs of an arrangement do not know (``crossed`` and ``against`` were found in this way).
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from arranger.music.arrangement import LEFT_FINGERS, Arrangement, Placement
from arranger.music.errors import ArrangerError
from arranger.run.fingering import finger_notes
from arranger.run.pipeline import arrange
from arranger.run.refinger import page_notes
from arranger.tables import LEVEL_NAMES


@dataclass(frozen=True, slots=True)
class Difference:
    """Where the two differ; what a row of the table counts."""

    voice: str
    string: int
    fret: int
    ours: str
    theirs: str


def both_ways(arrangement: Arrangement) -> Iterator[tuple[Placement, str]]:
    """Every fretted note with the finger that the habits take for it on the same strings."""
    notes = page_notes(arrangement, pinned=True)
    hands = finger_notes(notes, tuning=arrangement.tuning, capo=arrangement.capo)
    for found in hands.left.notes:
        note = arrangement.notes[hands.notes[found.note].source[0]]
        if note.fret and found.fret:
            yield note, LEFT_FINGERS[found.finger]


def compare(level: str, pieces: list[Path], shown: int) -> None:
    """The table of one level."""
    agreed = total = 0
    found: Counter[Difference] = Counter()
    seen: dict[Difference, str] = {}
    for path in pieces:
        try:
            arrangement = arrange(path, level=level, anyway=True).arrangement
        except ArrangerError as error:
            print(f"{path.name}: {error}")
            continue
        for note, theirs in both_ways(arrangement):
            total += 1
            agreed += note.left == theirs
            if note.left != theirs:
                what = Difference(note.voice, note.string, note.fret, note.left, theirs)
                found[what] += 1
                seen.setdefault(what, f"{path.stem} bar {note.bar}")
    share = agreed / max(1, total)
    print(f"{level}: {share:.1%} of {total} fretted notes as the habits have them")
    for what, count in found.most_common(shown):
        place = f"{what.voice}, string {what.string} fret {what.fret}"
        print(f"  {count:5}  {place:<28} {what.ours} for {what.theirs}   {seen[what]}")


def main() -> None:
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("piece", nargs="+", type=Path)
    reader.add_argument("--level", action="append", choices=LEVEL_NAMES, default=[])
    reader.add_argument("--shown", type=int, default=12, help="differences shown")
    told = reader.parse_args()
    for level in told.level or LEVEL_NAMES:
        compare(str(level), told.piece, told.shown)


if __name__ == "__main__":
    main()
