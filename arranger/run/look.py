"""What was understood of a piece, as a page of text or as JSON, for a teacher to check."""

from __future__ import annotations

import json
import textwrap
from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Any

from arranger.music.analysis import Analysis, Section, TextureSpan
from arranger.music.chord import ChordSpan
from arranger.music.errors import UsageError
from arranger.music.key import Key, parse_key
from arranger.music.pitch import note_name
from arranger.music.score import Bar, HandsFrom, Score
from arranger.music.time import Beat

WIDTH = 80
MOST_OFTEN = 2  # bars named that recur most
HANDS_FROM: dict[HandsFrom, str] = {
    "names": "the hands are those the parts are named for",
    "parts": "the higher of two parts is the right hand",
    "register": "each part went to the hand whose register it lies in",
    "ear": "the hands were told apart by ear",
    "teacher": "the hands are as told",
}
BARS_A_LINE = (8, 4, 2, 1)  # the most that fit
LENGTH_NAMES = {
    Fraction(1, 4): "sixteenth",
    Fraction(1, 2): "eighth",
    Fraction(3, 4): "dotted eighth",
    Fraction(1): "quarter",
    Fraction(3, 2): "dotted quarter",
    Fraction(2): "half",
    Fraction(3): "dotted half",
}


def source_key(text: str | None) -> Key | None:
    """The key a teacher names for the piece, or None when none is named.

    Raises
    ------
    UsageError : the text is not a key.
    """
    if text is None:
        return None
    try:
        return parse_key(text)
    except ValueError as error:
        raise UsageError(str(error), where="--key") from error


def page(analysis: Analysis) -> str:
    """The page of text, at most 80 columns wide."""
    score = analysis.score
    facts = {
        "file": score.file,
        "meter": "; ".join(_meters(score.bars)),
        "bars": f"{len(score.bars)}, of them {analysis.same_as.count(None)} different",
        "tempo": _tempo(analysis),
        "swing": f"long to short {score.swing:g}" if score.swing != 1.0 else "none found",
        "parts": "; ".join(_parts(analysis)),
        "keys": "; ".join(
            f"{span.key.name} from {_where(analysis, span.start)}" for span in analysis.keys
        ),
        "form": "; ".join(_form(analysis.sections, score.bars)),
        "texture": "; ".join(_texture(analysis, span) for span in analysis.textures),
        "hands": "; ".join(_hands(analysis)),
        "melody": _compass(analysis, analysis.melody),
        "bass": _compass(analysis, analysis.bass),
        "recurring": recurring_in_words(analysis),
    }
    name = f"{score.title}, {score.composer}" if score.composer else score.title
    lines = [*textwrap.wrap(name, WIDTH), ""]
    for fact, text in facts.items():
        lines += _entry(fact, text)
    lines += ["", "chords by bar", *_chart(analysis)]
    lines += ["", *_warnings(analysis)]
    for text, option in decisions(analysis):
        lines += _entry("decided", f"{text} [{option}]")
    return "\n".join(lines) + "\n"


def _entry(fact: str, text: str) -> list[str]:
    indent = " " * 10
    return textwrap.wrap(text, WIDTH, initial_indent=f"{fact:<10}", subsequent_indent=indent)


def _where(analysis: Analysis, onset: Beat) -> str:
    return f"bar {analysis.score.bars[analysis.score.bar_index_at(onset)].number}"


def _meters(bars: Sequence[Bar]) -> Iterator[str]:
    """Each meter with the bar it begins in; a pick-up is named by its length."""
    before = None
    for bar in bars:
        meter = f"{bar.numerator}/{bar.denominator}"
        if meter != before:
            yield meter if before is None else f"{meter} from bar {bar.number}"
        if bar.number == 0:
            yield f"a pick-up of {_length(bar.length)}"
        before = meter


def _length(length: Beat) -> str:
    name = LENGTH_NAMES.get(length)
    if name is None:
        return f"{length} quarters"
    return f"an {name}" if name.startswith("e") else f"a {name}"


def _tempo(analysis: Analysis) -> str:
    score = analysis.score
    source = "stated in the file" if score.tempo_stated else "not stated, assumed"
    if score.followed is not None:
        slow, fast = (pick(mark.quarters for mark in score.tempos) for pick in (min, max))
        source = f"followed, {score.followed:.0%} sure, {slow:g} to {fast:g}"
    return f"{score.tempo:g} quarter notes a minute ({source})"


def _form(sections: Sequence[Section], bars: Sequence[Bar]) -> Iterator[str]:
    for section in sections:
        first, last = bars[section.first].number, bars[section.last].number
        yield (
            f"{section.letter} {first}–{last}" if first != last else f"{section.letter} {first}"
        )


def _texture(analysis: Analysis, span: TextureSpan) -> str:
    thumb = LENGTH_NAMES.get(span.thumb_beat, f"{span.thumb_beat} quarters")
    return f"{span.texture} from {_where(analysis, span.start)}, thumb every {thumb}"


def _hands(analysis: Analysis) -> Iterator[str]:
    notes = analysis.score.notes
    for hand in ("right", "left"):
        of_hand = [note.index for note in notes if note.hand == hand]
        yield f"{hand} {_compass(analysis, of_hand)}"


def _parts(analysis: Analysis) -> Iterator[str]:
    """Each part of the file, counted as ``--hands`` and ``--melody-track`` count."""
    score = analysis.score
    for part in range(1 + max(note.track for note in score.notes)):
        name = score.parts[part] if part < len(score.parts) else ""
        own = [note.index for note in score.notes if note.track == part]
        yield f"{part + 1}{f' {name}' if name else ''}, {_compass(analysis, own)}"


def _compass(analysis: Analysis, indices: Sequence[int]) -> str:
    """How many notes, the lowest and the highest, spelt as the opening key asks for."""
    if not indices:
        return "no notes"
    pitches = [analysis.score.notes[index].midi for index in indices]
    low, high = (
        note_name(midi, flats=_flats_at(analysis, Fraction(0)))
        for midi in (min(pitches), max(pitches))
    )
    return f"{len(pitches)} notes, {low} to {high}"


def _chart(analysis: Analysis) -> Iterator[str]:
    """Bars in rows, each with the chords that begin or go on in it."""
    cells = [
        f"{bar.number:>4} {' '.join(_chords(analysis, bar))}" for bar in analysis.score.bars
    ]
    width = max(len(cell) for cell in cells) + 1
    in_row = next(count for count in BARS_A_LINE if count * width <= WIDTH or count == 1)
    for start in range(0, len(cells), in_row):
        yield "".join(f"{cell:<{width}}" for cell in cells[start : start + in_row]).rstrip()


def _chords(analysis: Analysis, bar: Bar) -> Iterator[str]:
    for span in _sounding(analysis.chords, bar):
        key = analysis.key_at(max(span.start, bar.start))
        yield span.chord.name_in(key) if span.chord else "–"


def _sounding(spans: Sequence[ChordSpan], bar: Bar) -> Sequence[ChordSpan]:
    """The spans, of those that cover the piece in order, that sound in the bar."""
    first = bisect_right(spans, bar.start, key=lambda span: span.end)
    return spans[first : bisect_left(spans, bar.end, key=lambda span: span.start)]


def _flats_at(analysis: Analysis, onset: Beat) -> bool:
    return analysis.key_at(onset).flats


def decisions(analysis: Analysis) -> Iterator[tuple[str, str]]:
    """What was decided while listening, each with the option that changes it."""
    score = analysis.score
    yield f"the meter is {'; '.join(_meters(score.bars))}", "--meter"
    yield f"the piece begins in {analysis.keys[0].key.name}", "--key"
    yield _about_eighths(score), "--straight/--swing"
    yield HANDS_FROM[score.hands_from], "--hands"
    if score.voice is not None:
        yield f"part {score.voice + 1} has the tune", "--melody-track"
    else:
        yield "the tune is what lies on top, told by ear", "--melody-track"
    if score.followed is not None:
        yield "the beats were followed by ear or as tapped", "--tempo-hint, --beats"


def _about_eighths(score: Score) -> str:
    if score.swing != 1.0:
        return f"the eighths swing {score.swing:g} to 1 and are written straight"
    if any(warning.code == "swing-or-dotted" for warning in score.warnings):
        return "long and short stand 3 to 1 and are written dotted"
    return "the eighths are straight"


def recurring(analysis: Analysis) -> list[tuple[int, int]]:
    """The bars that recur most: printed number of the first of each kind, how often."""
    kinds = Counter(
        place if same is None else same for place, same in enumerate(analysis.same_as)
    )
    order = sorted(kinds.items(), key=lambda item: (-item[1], item[0]))
    bars = analysis.score.bars
    return [(bars[place].number, count) for place, count in order if count > 1][:MOST_OFTEN]


def recurring_in_words(analysis: Analysis) -> str:
    """Which two bars recur most and how much of the piece they cover."""
    found = recurring(analysis)
    if not found:
        return "no bar comes twice"
    named = " and ".join(f"bar {number} ({count} times)" for number, count in found)
    covered = sum(count for _, count in found) / len(analysis.score.bars)
    return f"{named}: {covered:.0%} of the piece"


def _warnings(analysis: Analysis) -> Iterator[str]:
    if not analysis.score.warnings:
        yield "no warnings"
    for warning in analysis.score.warnings:
        place = f" (bar {warning.bar})" if warning.bar is not None else ""
        yield from _entry("warning", f"{warning.text}{place}")


def as_json(analysis: Analysis) -> str:
    """The same as JSON; times are exact fractions of a quarter note, as strings."""
    score = analysis.score
    return json.dumps(
        {
            "title": score.title,
            "composer": score.composer,
            "tempo": {"quarters": score.tempo, "stated": score.tempo_stated},
            "key_sections": [
                {"start": str(span.start), "end": str(span.end), "key": span.key.name}
                for span in analysis.keys
            ],
            "chords": [_chord_entry(analysis, span) for span in analysis.chords],
            "form": [
                {
                    "letter": section.letter,
                    "first": score.bars[section.first].number,
                    "last": score.bars[section.last].number,
                }
                for section in analysis.sections
            ],
            "swing": score.swing,
            "meter": _meter_entries(score.bars),
            "textures": [
                {
                    "start": str(span.start),
                    "end": str(span.end),
                    "texture": span.texture,
                    "thumb_beat": str(span.thumb_beat),
                }
                for span in analysis.textures
            ],
            "parts": list(score.parts),
            "followed": score.followed,
            "recurring": [
                {"bar": number, "times": count} for number, count in recurring(analysis)
            ],
            "notes": _note_entries(analysis),
            "warnings": [
                {"code": warning.code, "text": warning.text, "bar": warning.bar}
                for warning in score.warnings
            ],
            "decisions": [
                {"text": text, "option": option} for text, option in decisions(analysis)
            ],
        },
        indent=1,
        ensure_ascii=False,
    )


def _chord_entry(analysis: Analysis, span: ChordSpan) -> dict[str, Any]:
    key = analysis.key_at(span.start)
    return {
        "start": str(span.start),
        "end": str(span.end),
        "chord": span.chord.name_in(key) if span.chord else None,
    }


def _meter_entries(bars: Sequence[Bar]) -> list[dict[str, Any]]:
    """A meter where it changes; ``bar`` and ``length`` show a pick-up as bar 0."""
    entries: list[dict[str, Any]] = []
    before: tuple[int, int, Beat] | None = None
    for bar in bars:
        now = (bar.numerator, bar.denominator, bar.length)
        if now != before:
            entries.append(
                {
                    "bar": bar.number,
                    "onset": str(bar.start),
                    "length": str(bar.length),
                    "meter": f"{bar.numerator}/{bar.denominator}",
                }
            )
        before = now
    return entries


def _note_entries(analysis: Analysis) -> list[dict[str, Any]]:
    voices = dict.fromkeys(analysis.bass, "bass") | dict.fromkeys(analysis.melody, "melody")
    return [
        {
            "onset": str(note.onset),
            "length": str(note.length),
            "midi": note.midi,
            "hand": note.hand,
            "voice": voices.get(note.index, "inner"),
        }
        for note in analysis.score.notes
    ]
