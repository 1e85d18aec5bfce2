"""Repeats of played-out pieces found again: recall and precision.

    python tests/bench/form.py [FOLDER]

Three sets. *Printed*: music21's Joplin rags with their printed repeats played out; the truth is
which printed bar each played bar is. *Played*: open piano files in FOLDER (default
``$ARRANGER_DATA/piano``) that play their repeats, by ``played_forms.toml``. *Composed*: strains
of the rags among them, cut out and put together by plans: rags, marches, rondos, songs, dances,
with introductions and bridges; every repeat has another ending, trios stand in the
subdominant, and no two strains share four bars.

A pair of bars is wanted when both are one printed bar (endings, of which each is played once,
make no pair); it is found when both lie in sections of one letter at the same distance from
the section's beginning. A pair found is wrong unless it is wanted, its bars hold the same
notes, or one of them lies in an ending.
"""

from __future__ import annotations

import os
import random
import re
import sys
import tempfile
import tomllib
from collections import defaultdict
from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property
from itertools import combinations
from pathlib import Path

from arranger.analyse.form import find_sections, likeness
from arranger.analyse.keys import find_keys
from arranger.analyse.timeline import timeline
from arranger.music.analysis import Section
from arranger.music.score import Bar, Note, Score
from arranger.read import read

PLAYED = Path(__file__).with_name("played_forms.toml")
SEED = 5
TIMES = 6  # pieces composed by each plan
STRAIN = 16
PHRASE = 4  # bars
SAME = 0.999  # likeness of bars that hold the same notes
SUBDOMINANT = 5  # semitones

# Letters are strains, each of as many bars as a number says (16 where none does); A and B in
# the home key, later letters a fourth higher where the plan has a trio. Small letters are
# bridges that come once: i and t of four bars, v of two, o (a coda) of six.
PLANS = {
    "rag": "A A B B A C C D D",
    "rag with introduction": "i A A B B A t C C D D",
    "rag, no repeats": "i A B A t C D C",
    "two-step": "i A A B B t C C t C C",
    "march": "i A A B B C32 t C32 t C32",
    "rondo": "A A B A C A o",
    "rondo of 8": "A8 A8 B8 A8 C8 A8 B8 A8",
    "ternary": "A B A",
    "song": "v A8 A8 B8 A8 v A8 A8 B8 A8",
    "verse and chorus": "i A B v A B A B",
    "minuet": "A8 A8 B8 B8 C8 C8 D8 D8 A8 B8",
    "minuet of 16": "A8 A8 B16 B16 C8 C8 D16 D16 A8 B16",
    "blues": "v A12 A12 B12 B12 A12 o",
    "waltz": "i A A B8 B8 A t C32 o",
    "AABB": "A A B B",
    "AABBACC": "A A B B A C C",
    "AABBCCDD": "A A B B C C D D",
    "ABAB": "A B A B",
}
TRIOS = ("rag", "rag with introduction", "two-step", "march", "minuet", "AABBACC", "AABBCCDD")
BRIDGES = {"i": 4, "t": 4, "v": 2, "o": 6}
Pair = tuple[int, int]


@dataclass(frozen=True)
class Known:
    """A piece whose form is known.

    ``truth``: the label of each bar, None for bars that come once; ``endings``: bars that may
    or may not count.
    """

    score: Score
    truth: Sequence[Hashable | None]
    endings: set[int] = field(default_factory=set)


# ---- counting -------------------------------------------------------------------------


def pairs(labels: Sequence[Hashable | None]) -> set[Pair]:
    """Pairs of places with one label."""
    places: dict[Hashable, list[int]] = defaultdict(list)
    for place, label in enumerate(labels):
        if label is not None:
            places[label].append(place)
    return {pair for same in places.values() for pair in combinations(same, 2)}


def found_labels(sections: Sequence[Section], score: Score) -> list[Hashable]:
    """For each bar its section's letter and its distance from the beginning, pick-up apart."""
    labels: list[Hashable] = []
    for section in sections:
        pickup = section.first == 0 and score.bars[0].number == 0
        labels += [
            (section.letter, bar - section.first - pickup)
            for bar in range(section.first, section.last + 1)
        ]
    return labels


def compared(piece: Known) -> list[int]:
    """Pairs wanted, found of those, found in all, wrong."""
    line = timeline(piece.score)
    alike = likeness(line)
    sections = find_sections(line, find_keys(line, None))
    found, wanted = (
        {pair for pair in pairs(labels) if not piece.endings & set(pair)}
        for labels in (found_labels(sections, piece.score), piece.truth)
    )
    wrong = {pair for pair in found - wanted if alike[pair] < SAME}
    return [len(wanted), len(wanted & found), len(found), len(wrong)]


# ---- played ---------------------------------------------------------------------------


def said(words: str) -> Iterator[tuple[str, int, int]]:
    """The strains of a form: letter, bars, first bar."""
    for letter, bars, first in re.findall(r"([A-Z])(\d+)@(\d+)", words):
        yield letter, int(bars), int(first)


def played(score: Score, words: str) -> Known:
    truth: list[Hashable | None] = [None] * len(score.bars)
    strains = list(said(words))
    for letter, bars, first in strains:
        truth[first : first + bars] = [(letter, bar) for bar in range(bars)]
    ends = {first + bars + k for _, bars, first in strains for k in (0, 1)}
    endings = {bar for bar in ends if bar < len(truth) and truth[bar] is None}
    return Known(score, truth, endings)


# ---- composed -------------------------------------------------------------------------


@dataclass(frozen=True)
class Strain:
    """Sixteen bars of a rag from ``first`` on, in the key of ``tonic`` (pitch class)."""

    rag: Score
    first: int
    tonic: int

    def bar(self, place: int, tonic: int) -> tuple[Score, int, int]:
        """The rag, the index of a bar, and by how much it is moved to another tonic."""
        return self.rag, self.first + place, (tonic - self.tonic + 6) % 12 - 6

    @cached_property
    def held(self) -> frozenset[frozenset[tuple[Fraction, int]]]:
        """What its bars hold: places and pitches."""
        bars = self.rag.bars[self.first : self.first + STRAIN]
        return frozenset(content(self.rag, bar) for bar in bars)


def strains_of(rags: Mapping[str, Score], forms: Mapping[str, str]) -> list[Strain]:
    """Every strain of the rags once, of sixteen full bars."""
    result = []
    for name, rag in rags.items():
        keys = find_keys(timeline(rag), None)
        seen = set()
        for letter, _, first in said(forms[name]):
            start = rag.bars[first].start
            bars = rag.bars[first : first + STRAIN]
            if letter not in seen and all(bar.length == 2 for bar in bars):
                key = [section.key for section in keys if section.start <= start][-1]
                result.append(Strain(rag, first, key.tonic))
            seen.add(letter)
    return result


def chosen(strains: Sequence[Strain], dice: random.Random, count: int) -> list[Strain]:
    """Strains of which no two share a phrase, or one music would have two letters."""
    result: list[Strain] = []
    while len(result) < count:
        strain = dice.choice(strains)
        if all(len(strain.held & other.held) < PHRASE for other in result):
            result.append(strain)
    return result


def content(score: Score, bar: Bar) -> frozenset[tuple[Fraction, int]]:
    """Places in the bar and pitches."""
    return frozenset(
        (note.onset - bar.start, note.midi)
        for note in score.notes
        if bar.start <= note.onset < bar.end
    )


def composed(strains: Sequence[Strain], plan: str, dice: random.Random, *, trio: bool) -> Known:
    """A piece by plan, the truth about each bar, and the bars of its endings.

    A strain of 32 bars is one of 16 that goes on with another.
    """
    words = plan.split()
    letters = sorted({word[0] for word in words})
    found = chosen(strains, dice, 2 * len(letters))
    sources = {letter: found[2 * k : 2 * k + 2] for k, letter in enumerate(letters)}
    home = dice.randrange(12)
    rows: list[tuple[Score, int, int]] = []
    truth: list[Hashable | None] = []
    endings: set[int] = set()
    turns: dict[str, int] = defaultdict(int)
    for word in words:
        letter, length = word[0], int(word[1:] or BRIDGES.get(word[0], STRAIN))
        tonic = home + SUBDOMINANT * (trio and letter in "CD")
        ending = dice.choice((1, 2)) if turns[word] and letter.isupper() else 0
        other = chosen(strains, dice, 1)[0]
        for bar in range(length):
            source = sources[letter][bar // STRAIN]
            own = bar >= length - ending
            rows.append((other if own else source).bar(bar % STRAIN, tonic))
            if letter.isupper() and bar >= length - 2:
                endings.add(len(truth))
            truth.append((word, turns[word] if letter.islower() else 0, bar))
        turns[word] += 1
    return Known(joined(rows), truth, endings)


def joined(rows: Sequence[tuple[Score, int, int]]) -> Score:
    """A score of the bars in ``rows``, one after another, each moved by semitones."""
    notes: list[Note] = []
    bars: list[Bar] = []
    at = Fraction(0)
    for score, place, move in rows:
        bar = score.bars[place]
        own = [note for note in score.notes if bar.start <= note.onset < bar.end]
        notes += [
            replace(
                note,
                index=len(notes) + k,
                onset=note.onset - bar.start + at,
                midi=note.midi + move,
            )
            for k, note in enumerate(own)
        ]
        bars.append(replace(bar, number=len(bars) + 1, start=at))
        at += bar.length
    return replace(rows[0][0], notes=tuple(notes), bars=tuple(bars), keys=())


# ---- printed --------------------------------------------------------------------------


def printed() -> list[Known]:
    """music21's rags as played, with the printed number of every bar."""
    from music21 import corpus  # noqa: PLC0415 (slow to load)

    result = []
    for path in corpus.getComposer("joplin"):
        sheet = corpus.parse(path)
        brackets = sheet.recurse().getElementsByClass("RepeatBracket")
        bracketed = {measure.number for one in brackets for measure in one.getSpannedElements()}
        sheet = sheet.expandRepeats()
        measures = list(sheet.parts[0].getElementsByClass("Measure"))
        with tempfile.TemporaryDirectory() as folder:
            file = Path(folder) / "rag.mid"
            sheet.write("midi", fp=file)
            score = read(file)
        numbers: list[Hashable | None] = [measure.number for measure in measures]
        numbers += [None] * (len(score.bars) - len(numbers))
        endings = {bar for bar, number in enumerate(numbers) if number in bracketed}
        result.append(Known(score, numbers[: len(score.bars)], endings))
    return result


# ---- all ------------------------------------------------------------------------------


def report(name: str, counts: Sequence[Sequence[int]]) -> None:
    wanted, both, found, wrong = (sum(column) for column in zip(*counts, strict=True))
    print(
        f"{name:22} {len(counts):4} pieces   wanted {wanted:6}   recall {both / wanted:.3f}"
        f"   precision {1 - wrong / max(1, found):.3f}"
    )


def show(folder: Path) -> None:
    """Print the figures of the pieces in ``folder`` and of what is composed of its rags."""
    report("printed", [compared(piece) for piece in printed()])
    with PLAYED.open("rb") as file:
        forms = tomllib.load(file)
    scores = {
        (kind, name): read(path)
        for kind, named in forms.items()
        for name in named
        for path in folder.glob(f"*{name}.mid")
    }
    for kind, named in forms.items():
        known = [played(scores[kind, n], named[n]) for n in named if (kind, n) in scores]
        report(f"played, {kind}", [compared(piece) for piece in known])
    rags = {name: score for (kind, name), score in scores.items() if kind == "rags"}
    strains = strains_of(rags, forms["rags"])
    dice = random.Random(SEED)
    total = []
    for name, plan in PLANS.items():
        trio = name in TRIOS
        pieces = [composed(strains, plan, dice, trio=trio) for _ in range(TIMES)]
        counts = [compared(piece) for piece in pieces]
        report(name, counts)
        total += counts
    report("all composed", total)


def main() -> None:
    data = Path(os.environ.get("ARRANGER_DATA", "../shared/data")) / "piano"
    show(Path(sys.argv[1]) if len(sys.argv) > 1 else data)


if __name__ == "__main__":
    main()
