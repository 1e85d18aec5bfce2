"""Keys, section by section.

*Conventions* A key is numbered 0..11 for the major keys from C upwards, 12..23 for the
minor ones. How well a key fits a bar is the correlation of its profile with the bar's
pitch classes (length of sounding, in quarters), times that length.

*References* Profiles: Temperley, *The Cognition of Basic Musical Structures* (2001);
the correlation: Krumhansl, *Cognitive Foundations of Musical Pitch* (1990).
"""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import numpy as np

from arranger.analyse.timeline import Floats, Timeline
from arranger.music.key import Key, KeySection
from arranger.tables import Table, load


class KeyTable(Table):
    """``tables/keys.toml``: see the comments there."""

    major: tuple[float, ...]
    minor: tuple[float, ...]
    change_cost: float
    shortest_section: int
    contradiction: float
    contradiction_of_none: float
    last_bass: float
    first_bass: float
    stated_minor: float


def _table() -> KeyTable:
    return load("keys", KeyTable)


def key_number(key: Key) -> int:
    return key.tonic + (12 if key.mode == "minor" else 0)


def numbered_key(number: int) -> Key:
    return Key(number % 12, "minor" if number >= 12 else "major")


@cache
def profiles() -> Floats:
    """24 x 12: the profile of each key, mean 0, length 1."""
    table = _table()
    rows = [np.roll(table.major, tonic) for tonic in range(12)]
    rows += [np.roll(table.minor, tonic) for tonic in range(12)]
    matrix = np.array(rows, dtype=np.float64)
    matrix -= matrix.mean(axis=1, keepdims=True)
    unit: Floats = matrix / np.linalg.norm(matrix, axis=1, keepdims=True)
    return unit


def pitch_classes_by_bar(line: Timeline) -> Floats:
    """Bars x 12: how long each pitch class sounds, in quarters, by the bar it begins in."""
    weights = np.zeros((len(line.measures), 12))
    np.add.at(weights, (line.bar, line.midi % 12), (line.end - line.onset) / line.unit)
    return weights


def fit(weights: Floats) -> Floats:
    """How well each key fits pitch class weights (..., 12): correlations (..., 24)."""
    centred = weights - weights.mean(axis=-1, keepdims=True)
    norm = np.linalg.norm(centred, axis=-1, keepdims=True)
    return np.asarray((centred / np.where(norm > 0, norm, 1.0)) @ profiles().T)


def find_keys(line: Timeline, given: Key | None = None) -> tuple[KeySection, ...]:
    """Key sections that cover the piece.

    The file's signatures are trusted where they stand, unless the profile contradicts
    one clearly; the profile decides the mode. Where the file has none, a dynamic
    program over bars finds the sections. ``given`` is the teacher's word for the key in
    which the piece begins: it holds wherever that key was heard.
    """
    bars = _keys_by_bar(line)
    sections: list[KeySection] = []
    first = 0
    for index in range(1, len(bars) + 1):
        if index == len(bars) or bars[index] != bars[first]:
            sections.append(
                KeySection(
                    start=line.beats(line.measures[first].start),
                    end=line.beats(line.measures[index - 1].end),
                    key=numbered_key(bars[first]),
                )
            )
            first = index
    return _corrected(tuple(sections), given)


def _corrected(sections: tuple[KeySection, ...], given: Key | None) -> tuple[KeySection, ...]:
    """The sections with ``given`` in place of the key that was heard first."""
    if given is None:
        return sections
    heard = sections[0].key
    corrected: list[KeySection] = []
    for section in sections:
        key = given if section.key == heard else section.key
        start = section.start
        if corrected and corrected[-1].key == key:
            start = corrected.pop().start
        corrected.append(KeySection(start=start, end=section.end, key=key))
    return tuple(corrected)


def _keys_by_bar(line: Timeline) -> list[int]:
    weights = pitch_classes_by_bar(line)
    keys = [-1] * len(weights)
    for first, last, signature in _signature_ranges(line):
        if signature is not None and not _contradicted(weights[first:last], signature):
            sections = [(first, last, key_number(signature))]
        else:
            path = _sections_by_profile(weights[first:last])
            edges = [0, *(i for i in range(1, len(path)) if path[i] != path[i - 1]), len(path)]
            sections = [(first + a, first + b, path[a]) for a, b in pairwise(edges)]
        for begin, end, key in sections:
            stated = signature is not None and signature.mode == "minor"
            mode = _with_mode(line, weights, (begin, end), numbered_key(key), stated=stated)
            keys[begin:end] = [mode] * (end - begin)
    return keys


def _signature_ranges(line: Timeline) -> list[tuple[int, int, Key | None]]:
    """Bar ranges ``[first, last)`` between changes of signature."""
    score = line.score
    marks: list[tuple[int, Key | None]] = []
    for mark in score.keys:
        bar = score.bar_index_at(mark.onset) if mark.onset > 0 else 0
        if marks and marks[-1][0] == bar:
            marks.pop()
        if not marks or marks[-1][1] != mark.key:
            marks.append((bar, mark.key))
    if not marks or marks[0][0] > 0:
        marks.insert(0, (0, None))
    edges = [bar for bar, _ in marks] + [len(score.bars)]
    return [
        (first, last, key)
        for (first, last), (_, key) in zip(pairwise(edges), marks, strict=True)
    ]


def _relatives(signature: Key) -> tuple[int, int]:
    """The major and the minor key of a signature, as numbers."""
    major = signature.tonic if signature.mode == "major" else (signature.tonic + 3) % 12
    return major, 12 + (major + 9) % 12


def _with_mode(
    line: Timeline, weights: Floats, bars: tuple[int, int], signature: Key, *, stated: bool
) -> int:
    """The major or minor key of a signature, whichever fits the bars better.

    The bass on which they end and begin speaks for its own key; a file that states a
    minor key (``stated``) has been told so, one that states a major key may not have been.
    """
    table = _table()
    major, minor = _relatives(signature)
    scores = fit(weights[bars[0] : bars[1]].sum(axis=0))
    opening, closing = _outer_basses(line, bars)
    for key in (major, minor):
        scores[key] += table.last_bass * (closing == key % 12)
        scores[key] += table.first_bass * (opening == key % 12)
    scores[minor] += table.stated_minor * stated
    return major if scores[major] >= scores[minor] else minor


def _outer_basses(line: Timeline, bars: tuple[int, int]) -> tuple[int, int]:
    """Pitch classes of the first left-hand note and of the lowest note that ends the bars;
    -1 where they hold no notes.
    """
    notes = np.concatenate(line.by_bar[bars[0] : bars[1]])
    if not len(notes):
        return -1, -1
    left = notes[~line.right[notes]]
    entering = left if len(left) else notes
    first = entering[line.onset[entering] == line.onset[entering].min()]
    last = line.onset[notes].max()
    final = notes[np.maximum(line.end[notes], line.onset[notes] + 1) > last]
    return int(line.midi[first].min()) % 12, int(line.midi[final].min()) % 12


def _contradicted(weights: Floats, signature: Key) -> bool:
    """Whether another signature fits a stretch much better than the file's own.

    No sharps and no flats is also what a file says that was never told its key.
    """
    total = weights.sum(axis=0)
    if not total.any():
        return False
    table = _table()
    most = table.contradiction if signature.sharps else table.contradiction_of_none
    scores = fit(total)
    own = max(scores[list(_relatives(signature))])
    return bool(scores.max() - own > most)


def _sections_by_profile(weights: Floats) -> list[int]:
    """The best key per bar: fit of each bar, less a cost for every change of key."""
    table = _table()
    lengths = weights.sum(axis=1, keepdims=True)
    local = fit(weights + 1e-9) * lengths
    cost = table.change_cost * float(lengths.mean() or 1.0)
    best = local[0].copy()
    back = np.zeros(local.shape, dtype=np.int64)
    for bar in range(1, len(local)):
        top = int(best.argmax())
        stay = best >= best[top] - cost
        back[bar] = np.where(stay, np.arange(24), top)
        best = np.where(stay, best, best[top] - cost) + local[bar]
    path = [int(best.argmax())]
    for bar in range(len(local) - 1, 0, -1):
        path.append(int(back[bar, path[-1]]))
    return _without_short_sections(path[::-1], weights)


def _without_short_sections(path: list[int], weights: Floats) -> list[int]:
    """Sections shorter than the shortest allowed join the neighbour that fits better."""
    least = _table().shortest_section
    while True:
        edges = [0, *(i for i in range(1, len(path)) if path[i] != path[i - 1]), len(path)]
        spans = list(pairwise(edges))
        short = [(b - a, a, b) for a, b in spans if b - a < least]
        if len(spans) == 1 or not short:
            return path
        _, a, b = min(short)
        neighbours = ([path[a - 1]] if a > 0 else []) + ([path[b]] if b < len(path) else [])
        scores = fit(weights[a:b].sum(axis=0))
        path[a:b] = [max(neighbours, key=lambda key: scores[key])] * (b - a)
