"""A section that is played twice is drawn once, with first and second endings."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace

from arranger.music.arrangement import Arrangement, ChordMark, Placement
from arranger.music.repeats import Repeat, ending_of, printed_bars, repeats
from arranger.music.time import Beat
from arranger.render.written import WrittenBar, written_bars


@dataclass(frozen=True, slots=True, kw_only=True)
class Folded:
    """What is drawn, and where what is played stands in it.

    ``drawn`` has its own, shorter time; ``note_place`` and ``bar_place`` lead from indices as
    played to indices as drawn. ``held`` is what is drawn with every note as long as the hand
    holds it, where that is shorter than it is written. ``starts`` and ``ends`` are drawn bars
    with repeat signs; ``endings`` gives the number of the ending a drawn bar belongs to.
    """

    drawn: Arrangement
    held: Arrangement
    note_place: tuple[int, ...]
    bar_place: tuple[int, ...]
    starts: frozenset[int]
    ends: frozenset[int]
    endings: dict[int, int]
    said: tuple[str, ...]


def folded(
    written: Arrangement,
    known: Sequence[Repeat] | None = None,
    *,
    held: Arrangement | None = None,
) -> Folded:
    """The arrangement (in written time) with its repeats folded.

    ``known``: the repeats of what it was written from, which all documents share. ``held``:
    the same notes as long as the hand holds them; None where they are written so. A thumb's
    note that is held longer in one pass than in the other is drawn as the shorter.
    """
    bars = written_bars(written)
    known = repeats(written) if known is None else known
    found = [repeat for repeat in known if _lies_in(repeat, bars)]
    kept = _kept(len(bars), found)
    drawn = _drawn(written, bars, kept)
    places = {bar: place for place, bar in enumerate(kept)}
    bar_place = tuple(places[bar] for bar in printed_bars(len(bars), found))
    note_place = _note_places(bars, written_bars(drawn), bar_place)
    drawn = replace(drawn, notes=_shortest(drawn.notes, written.notes, note_place))
    truly = _shortest(drawn.notes, (held or written).notes, note_place)
    return Folded(
        drawn=drawn,
        held=replace(drawn, notes=truly),
        note_place=note_place,
        bar_place=bar_place,
        starts=frozenset(places[repeat.first] for repeat in found),
        ends=frozenset(places[repeat.first + repeat.length - 1] for repeat in found),
        endings={places[bar]: number for bar, number in ending_of(found).items()},
        said=tuple(_said(repeat, bars) for repeat in found),
    )


def _lies_in(repeat: Repeat, bars: Sequence[WrittenBar]) -> bool:
    """Whether both passes still have their notes in the same bars (oddest files only)."""
    body = range(repeat.first, repeat.first + repeat.length - repeat.ending)
    return all(len(bars[bar].notes) == len(bars[bar + repeat.length].notes) for bar in body)


def _shortest(
    drawn: Sequence[Placement], played: Sequence[Placement], note_place: Sequence[int]
) -> tuple[Placement, ...]:
    """The drawn notes, each as long as in the pass in which it is shortest."""
    lengths = [note.length for note in drawn]
    for note, place in zip(played, note_place, strict=True):
        lengths[place] = min(lengths[place], note.length)
    return tuple(
        replace(note, length=length) for note, length in zip(drawn, lengths, strict=True)
    )


def _in_force(written: Arrangement, moment: Beat) -> ChordMark | None:
    """The chord that stands over a moment."""
    place = bisect_right(written.chords, moment, key=lambda mark: mark.onset) - 1
    return written.chords[place] if place >= 0 else None


def _kept(count: int, repeats: Sequence[Repeat]) -> tuple[int, ...]:
    """The played bars that are drawn: all but the second passes up to their endings."""
    dropped = {
        bar
        for repeat in repeats
        for bar in range(
            repeat.first + repeat.length, repeat.first + 2 * repeat.length - repeat.ending
        )
    }
    return tuple(bar for bar in range(count) if bar not in dropped)


def _drawn(
    written: Arrangement, bars: Sequence[WrittenBar], kept: Sequence[int]
) -> Arrangement:
    """The kept bars moved together, with the chord named anew where two did not touch."""
    start = Beat(0)
    new_bars, notes, chords = [], [], []
    for place, index in enumerate(kept):
        bar = bars[index]
        shift = start - bar.start
        new_bars.append(replace(bar.bar, start=start))
        notes += [replace(note, onset=note.onset + shift) for note in bar.notes]
        leaps = place > 0 and kept[place - 1] != index - 1
        held = _in_force(written, bar.start)
        if leaps and held and not any(mark.onset == bar.start for mark in bar.marks):
            chords.append(replace(held, onset=start))
        chords += [replace(mark, onset=mark.onset + shift) for mark in bar.marks]
        start += bar.bar.length
    return replace(
        written, bars=tuple(new_bars), notes=tuple(notes), chords=tuple(chords), dropped=()
    )


def _note_places(
    bars: Sequence[WrittenBar], drawn: Sequence[WrittenBar], bar_place: Sequence[int]
) -> tuple[int, ...]:
    """Notes of equal bars stand in the same order, so that places can be counted off."""
    first, count = [], 0
    for bar in drawn:
        first.append(count)
        count += len(bar.notes)
    return tuple(
        first[bar_place[index]] + step
        for index, bar in enumerate(bars)
        for step in range(len(bar.notes))
    )


def _said(repeat: Repeat, bars: Sequence[WrittenBar]) -> str:
    """``Bars 17–32 are bars 1–16 again; bar 32 is the second ending.``"""
    first, last = repeat.first, repeat.first + repeat.length - 1
    once = f"{bars[first].number}–{bars[last].number}"
    again_last = bars[last + repeat.length].number
    again = f"{bars[first + repeat.length].number}–{again_last}"
    if not repeat.ending:
        return f"Bars {again} are bars {once} again."
    begins = bars[last + repeat.length - repeat.ending + 1].number
    name = f"bar {again_last} is" if repeat.ending == 1 else f"bars {begins}–{again_last} are"
    return f"Bars {again} are bars {once} again; {name} the second ending."
