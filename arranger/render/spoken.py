"""Each bar in plain words, for players who do not see the page."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from textwrap import wrap

from arranger.music.arrangement import Arrangement, Placement, Shape
from arranger.music.time import Beat
from arranger.render.plain_text import one_line
from arranger.render.tab_head import key_text, tempo_text, tuning_text
from arranger.render.written import WrittenBar, in_written_time, written_bars

_WIDTH = 80

_SHARES = {
    Beat(0): "",
    Beat(1, 2): " and",
    Beat(1, 4): " and a quarter",
    Beat(3, 4): " and three quarters",
    Beat(1, 3): " and a third",
    Beat(2, 3): " and two thirds",
}
_RIGHT = {"p": "thumb", "i": "index", "m": "middle", "a": "ring"}


def spoken_bars(written: Arrangement) -> tuple[str, ...]:
    """One paragraph a bar: chord, then beat by beat string, fret, left finger, right finger."""
    return tuple(_bar(bar) for bar in written_bars(written))


def _bar(bar: WrittenBar) -> str:
    if bar.bar.same_as is not None:
        opening = f"Bar {bar.number}, the same as bar {bar.bar.same_as}."
    else:
        opening = f"Bar {bar.number}."
    if bar.bar.slows:
        opening += " Slow down."
    together: dict[Beat, list[Placement]] = defaultdict(list)
    for note in bar.notes:
        together[note.onset].append(note)
    chords = {mark.onset: mark.name for mark in bar.marks}
    sentences = [opening]
    for onset in sorted({*together, *chords}):
        chord = f"Chord {chords[onset]}. " if onset in chords else ""
        sentences.append(chord + _moment(bar, onset, together[onset]))
    if not bar.notes:
        sentences.append("Nothing is played.")
    return " ".join(sentence for sentence in sentences if sentence).strip()


def _moment(bar: WrittenBar, onset: Beat, notes: Sequence[Placement]) -> str:
    if not notes:
        return ""
    return f"{beat_name(bar, onset)}: {'; '.join(_note(note) for note in notes)}."


def beat_name(bar: WrittenBar, onset: Beat) -> str:
    """``Beat 2 and``: counted as the meter is, eighths in 6/8."""
    beats = (onset - bar.start + bar.missing) * bar.bar.denominator / 4
    number, share = int(beats) + 1, beats % 1
    return f"Beat {number}{_SHARES.get(share, f' and {share}')}"


def _note(note: Placement) -> str:
    place = "open" if note.fret == 0 else f"fret {note.fret}"
    if note.left == "T":
        place += " thumb over the neck"
    elif note.left != "0":
        place += f" finger {note.left}"
    return f"{note.slur or _RIGHT[note.right]}, string {note.string} {place}"


def spoken_text(arrangement: Arrangement) -> str:
    """The piece to be read aloud: what it is, how its shapes lie, then every bar."""
    written = in_written_time(arrangement)
    lines = [
        f"{one_line(arrangement.title) or 'Untitled'}.",
        f"Level {arrangement.level}. Key {key_text(arrangement)}.",
        f"Tuning {tuning_text(arrangement.tuning)}.",
        f"Tempo, {tempo_text(arrangement)}.",
        *(_shape(shape) for shape in arrangement.shapes),
        *spoken_bars(written),
    ]
    return "\n\n".join("\n".join(wrap(line, _WIDTH)) for line in lines) + "\n"


def _shape(shape: Shape) -> str:
    """``Shape C: string 6 silent, string 5 fret 3 finger 3, …, string 1 open.``"""
    said = []
    for index, (fret, finger) in enumerate(zip(shape.frets, shape.fingers, strict=True)):
        if fret is None:
            said.append(f"string {6 - index} silent")
        elif fret == 0:
            said.append(f"string {6 - index} open")
        else:
            held = f" finger {finger}" if finger else ""
            said.append(f"string {6 - index} fret {fret}{held}")
    return f"Shape {shape.name}: {', '.join(said)}."
