"""Form: equal bars, and sections with letters.

*Conventions* Two bars are alike by the share of their notes (pitch and place) that they
have in common (Dice index, 0..1, for each hand). The sections are the shortest way to tell the
piece (``strains.py``). A 156-bar rag comes out as its four strains.
"""

from __future__ import annotations

import numpy as np

from arranger.analyse.strains import Alike, Span, form_table, shortest_telling
from arranger.analyse.timeline import Timeline
from arranger.music.analysis import Section
from arranger.music.key import KeySection

_Content = frozenset[tuple[int, int]]


def equal_bars(line: Timeline) -> tuple[int | None, ...]:
    """For each bar the first bar with the same notes, or None when it is the first itself.

    The same: pitch, place in the bar, length and hand of every note, and the bar's length.
    """
    first: dict[object, int] = {}
    same: list[int | None] = []
    for number, (measure, notes) in enumerate(zip(line.measures, line.by_bar, strict=True)):
        places = (line.onset[notes] - measure.start).tolist()
        lengths = (line.end[notes] - line.onset[notes]).tolist()
        pitches, hands = line.midi[notes].tolist(), line.right[notes].tolist()
        content = sorted(zip(places, pitches, lengths, hands, strict=True))
        earlier = first.setdefault((measure.end - measure.start, tuple(content)), number)
        same.append(None if earlier == number else earlier)
    return tuple(same)


# ---- likeness of bars ---------------------------------------------------------------


def _contents(line: Timeline, *, right: bool) -> list[_Content]:
    """For each bar what one hand plays: places and pitches."""
    contents = []
    for measure, notes in zip(line.measures, line.by_bar, strict=True):
        hand = notes[line.right[notes] == right]
        places = line.onset[hand] - measure.start + measure.phase
        contents.append(frozenset(zip(places.tolist(), line.midi[hand].tolist(), strict=True)))
    return contents


def _shared(contents: list[_Content]) -> Alike:
    """Bars x bars: the Dice index of what they hold; 1 where neither holds anything."""
    kinds = list(dict.fromkeys(contents))
    number = {kind: row for row, kind in enumerate(kinds)}
    words = {word: place for place, word in enumerate({w for kind in kinds for w in kind})}
    held = np.zeros((len(kinds), max(1, len(words))), dtype=np.float32)
    for row, kind in enumerate(kinds):
        held[row, [words[word] for word in kind]] = 1.0
    sizes = held.sum(axis=1)
    table = held @ held.T  # counts: exact
    table *= 2.0
    table /= np.maximum(1.0, sizes[:, None] + sizes[None, :])
    table[(sizes[:, None] + sizes[None, :]) == 0.0] = 1.0
    index = np.array([number[content] for content in contents])
    full: Alike = table[np.ix_(index, index)]
    return full


def likeness(line: Timeline) -> Alike:
    """How alike any two bars are; the right hand says more than the left."""
    weight = np.float32(form_table().right_hand)
    alike = _shared(_contents(line, right=True))
    alike *= weight
    left = _shared(_contents(line, right=False))
    left *= np.float32(1.0) - weight
    alike += left
    return alike


# ---- sections -----------------------------------------------------------------------


def find_sections(line: Timeline, keys: tuple[KeySection, ...]) -> tuple[Section, ...]:
    """Sections that cover all bars in order; a section that returns keeps its letter.

    A short introduction that never returns is called "Intro". A pick-up bar belongs to
    the section it leads into.
    """
    pickup = int(len(line.measures) > 1 and line.score.bars[0].number == 0)
    alike = likeness(line)[pickup:, pickup:]
    changes = {line.score.bar_index_at(section.start) - pickup for section in keys[1:]}
    spans, models = shortest_telling(alike, changes)
    return tuple(
        Section(letter=letter, first=first + pickup if first else 0, last=last - 1 + pickup)
        for (first, last), letter in zip(spans, _letters(spans, models), strict=True)
    )


def _letters(spans: list[Span], models: list[int]) -> list[str]:
    """A letter for each section; what repeats a section has its letter."""
    table = form_table()
    numbers = [sorted(set(models)).index(model) for model in models]
    opening = spans[0][1]
    longest = max(last - first for first, last in spans)
    most = min(table.intro_most, longest * table.intro_share)
    if len(spans) > 2 and numbers.count(0) == 1 and opening <= most:
        return ["Intro", *(_letter(number - 1) for number in numbers[1:])]
    return [_letter(number) for number in numbers]


def _letter(number: int) -> str:
    """A..Z, then AA, AB, …"""
    head, tail = divmod(number, 26)
    return (_letter(head - 1) if head else "") + chr(ord("A") + tail)
