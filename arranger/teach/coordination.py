"""Coordination: places where the hands must learn something new, out of context first."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from arranger.music.arrangement import Placement
from arranger.music.lesson import LessonStep
from arranger.music.verdict import BarDifficulty, Verdict
from arranger.tables.teaching import Teaching
from arranger.teach.bars import TabBar, in_words, seen_once


@dataclass(frozen=True, slots=True)
class Point:
    """A place worth practising alone: its bar, how much of it there is, and how to do it."""

    bar: TabBar
    size: float
    text: str


Search = Callable[[Sequence[TabBar], Teaching], Iterator[Point]]


def slurs_under_thumb(bars: Sequence[TabBar], _: Teaching) -> Iterator[Point]:
    """A slur under a thumb note."""
    for bar in bars:
        thumb = {n.onset for n in bar.notes if n.right == "p" and n.slur is None}
        for note in bar.notes:
            if note.slur is not None and note.onset in thumb:
                yield Point(
                    bar,
                    1.0,
                    f"The {note.slur} on string {note.string} falls together with the thumb. "
                    "First the slur alone, then the thumb alone in time, then both.",
                )


def flattening_barres(bars: Sequence[TabBar], _: Teaching) -> Iterator[Point]:
    """A finger that holds one string and lies down over another."""
    for finger, notes in _by_finger(bars).items():
        for place, (bar, note) in enumerate(notes):
            for start, held in notes[max(0, place - 6) : place]:
                if held.string != note.string and held.onset < note.onset < held.end:
                    how = (
                        "Set it on its tip, for a string under it sounds open, and roll it "
                        "flat without letting go of the first note."
                        if _sounds_between(held, note, (*start.notes, *bar.notes))
                        else "Set it as a barre from the start, or roll it flat without "
                        "letting go of the first note."
                    )
                    yield Point(
                        bar,
                        abs(held.string - note.string),
                        f"Finger {finger} holds string {held.string} at fret {held.fret} and "
                        f"lies down over string {note.string} as well. {how}",
                    )


def _sounds_between(held: Placement, note: Placement, notes: Sequence[Placement]) -> bool:
    """Whether a string under the finger sounds behind its fret before it lies down."""
    low, high = sorted((held.string, note.string))
    return any(
        other.fret < held.fret
        and low <= other.string <= high
        and other.onset < note.onset
        and held.onset < other.end
        for other in notes
    )


def shifts(bars: Sequence[TabBar], table: Teaching) -> Iterator[Point]:
    """A finger that moves far along the neck, with less than a bar to get there."""
    for finger, notes in _by_finger(bars).items():
        for (start, before), (bar, after) in pairwise(notes):
            frets = abs(after.fret - before.fret)
            if frets >= table.shift_frets and after.onset - before.end < bar.bar.length:
                who = "The thumb" if finger == "T" else f"Finger {finger}"
                of = f" of {in_words([start])}" if start is not bar else ""
                yield Point(
                    bar,
                    frets,
                    f"{who} moves from fret {before.fret} on string {before.string}{of} to "
                    f"fret {after.fret} on string {after.string}. Look at the new fret before "
                    "you go, keep the hand light, and land without playing; then with the note "
                    "before and the note after.",
                )


def hops_in_the_bass(bars: Sequence[TabBar], _: Teaching) -> Iterator[Point]:
    """One finger has two bass notes of a bar in a row, on two strings in one fret."""
    for bar in bars:
        hops = [
            (finger, before, after)
            for finger, notes in _by_finger([bar]).items()
            for (_, before), (_, after) in pairwise(notes)
            if before.voice == after.voice == "bass"
            and before.fret == after.fret
            and before.string != after.string
        ]
        if hops:
            finger, before, after = hops[0]
            yield Point(
                bar,
                len(hops),
                f"Finger {finger} has string {before.string} and string {after.string} for the "
                f"thumb, both at fret {after.fret}: it hops; the others lie still where they "
                "can. First the thumb alone, slowly and in time, your eye on that finger; then "
                "with the tune.",
            )


def tune_across_the_thumb(bars: Sequence[TabBar], _: Teaching) -> Iterator[Point]:
    """A tune note off the beat that is held while the thumb plays on."""
    for bar in bars:
        across = 0
        for note in bar.notes:
            off = (note.onset - bar.bar.start) % bar.bar.beat != 0
            if note.voice == "melody" and note.slur is None and off:
                across += any(
                    other.right == "p" and note.onset < other.onset < note.end
                    for other in bar.notes
                )
        if across:
            yield Point(
                bar,
                across,
                "The tune comes between the thumb's beats and is held while the thumb plays "
                "on. Tap the thumb's beat and sing the tune; then thumb alone, counting; then "
                "add one tune note after the other.",
            )


def _by_finger(bars: Sequence[TabBar]) -> dict[str, list[tuple[TabBar, Placement]]]:
    """Every fretting finger's notes in order, with their bars."""
    found: dict[str, list[tuple[TabBar, Placement]]] = {}
    for bar in bars:
        for note in bar.notes:
            if note.fret > 0:
                found.setdefault(note.left, []).append((bar, note))
    return dict(sorted(found.items()))


SEARCHES: dict[str, Search] = {
    "A slur under the thumb": slurs_under_thumb,
    "A barre that flattens": flattening_barres,
    "A shift": shifts,
    "A finger that hops in the bass": hops_in_the_bass,
    "The tune against the thumb": tune_across_the_thumb,
}

# What the features of the verdict are to a player: "Most of all <this>".
DEMANDS = {
    "stretch": "the stretch",
    "barre": "the barre",
    "fingers": "how many fingers are down at once",
    "position": "the high frets",
    "voices": "how many notes sound at once",
    "moves": "the ways of the left fingers",
    "plucking": "how fast the notes follow each other",
    "repeats": "a finger that plucks again at once",
    "independence": "the tune against the thumb",
    "slurs": "the slur under the thumb",
    "shifts": "the shift of the hand",
    "changes": "the fingers that take a new shape",
    "crossing": "how the plucking fingers change strings",
}


def coordination_steps(
    bars: Sequence[TabBar], verdict: Verdict, table: Teaching
) -> list[LessonStep]:
    """The clearest place of each kind, and the hardest bar of the piece."""
    steps = []
    for title, search in SEARCHES.items():
        points = list(search(bars, table))
        if not points:
            continue
        worst = max(points, key=lambda point: point.size)  # the first of equals
        others = seen_once([worst.bar, *(point.bar for point in points)])[1:]
        text = worst.text
        text += f" Also in {in_words(others)}." if 0 < len(others) <= table.points_named else ""
        steps.append(_step(title, worst.bar, text))
    return steps + _hardest_bar(bars, verdict)


def _hardest_bar(bars: Sequence[TabBar], verdict: Verdict) -> list[LessonStep]:
    known = {bar.number: bar for bar in bars}
    rated = [bar for bar in verdict.difficulty.bars if bar.bar in known and bar.points > 0]
    if len(rated) < 2:
        return []
    hardest = max(rated, key=lambda bar: bar.points)
    demand = DEMANDS.get(_stands_out(hardest, rated, verdict))
    why = f"What asks more of you here than elsewhere: {demand}. " if demand else ""
    text = (
        f"{why}Play it alone at half the tempo until it is clean, then with the bar before it, "
        "then with the bar after it."
    )
    return [_step("The hardest place", known[hardest.bar], text)]


def _stands_out(
    hardest: BarDifficulty, rated: Sequence[BarDifficulty], verdict: Verdict
) -> str:
    """The feature of a bar that lies most above its mean in the piece.

    Of those that are much anywhere in the piece; the empty string where none is.
    """
    telling = {reason.feature for reason in verdict.difficulty.told}
    total: dict[str, float] = {}
    for bar in rated:
        for name, points in bar.features:
            total[name] = total.get(name, 0.0) + points
    above = {
        name: points - total[name] / len(rated)
        for name, points in hardest.features
        if name in telling
    }
    most = max(above, key=lambda name: above[name], default="")
    return most if above.get(most, 0.0) > 0 else ""


def _step(title: str, bar: TabBar, text: str) -> LessonStep:
    return LessonStep(
        kind="coordination",
        title=f"{title}: {in_words([bar])}",
        text=text,
        bars=(bar.printed,),
    )
