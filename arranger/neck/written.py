"""From the grips chosen to the arrangement: notes with lengths, shapes, chord marks."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from operator import attrgetter

from arranger.music.arrangement import (
    LEFT_FINGERS,
    ArrangedBar,
    Arrangement,
    ChordMark,
    Decision,
    Dropped,
    KeyChoice,
    Placement,
    Proof,
    RightFinger,
    Shape,
    Voice,
)
from arranger.music.chord import Chord
from arranger.music.key import Key
from arranger.music.others import BarAlternative
from arranger.music.reduction import Reduction, Setting, Slot, Stroke
from arranger.music.score import Bar
from arranger.music.time import Beat
from arranger.neck.bars import arranged_bars
from arranger.neck.fretboard import Neck, Spot, neck_of
from arranger.neck.grips import Grip
from arranger.neck.hands import Hand
from arranger.neck.right_hand import Moment, plucking
from arranger.neck.shown_shapes import shown_shapes
from arranger.neck.slurs import with_slurs
from arranger.tables import Level, Player
from arranger.tables.fingering import RightHandCosts, fingering
from arranger.tables.shapes import ChordShape


@dataclass(frozen=True, slots=True)
class Chosen:
    """A slot and the grip chosen for it."""

    slot: Slot
    grip: Grip


def arrangement(
    reduction: Reduction,
    setting: Setting,
    *,
    neck: Neck,
    hands: tuple[Hand, ...],
    chosen: Sequence[Chosen],
    level: Level,
    player: Player,
    proof: Proof,
    decisions: tuple[Decision, ...],
    keys: tuple[KeyChoice, ...] = (),
    others: tuple[BarAlternative, ...] = (),
) -> Arrangement:
    """The arrangement that the grips ``chosen`` (one a slot) stand for."""
    analysis = reduction.analysis
    score = analysis.score
    notes = fingered_notes(reduction, setting, chosen, level=level, player=player)
    book = {voicing.frets for voicing in reduction.marks.voicings}
    shapes, marks = shown_shapes(*_shapes(chosen, hands, setting), notes, book)
    return Arrangement(
        title=score.title,
        composer=score.composer,
        level=reduction.level,
        file=score.file,
        sha256=score.sha256,
        warnings=score.warnings,
        key=setting.key,
        transposed_by=setting.transposition + reduction.capo,
        capo=reduction.capo,
        tuning=neck.tuning,
        target_tempo=reduction.target_tempo,
        student_tempo=reduction.student_tempo,
        swing=score.swing,
        written_scale=reduction.written_scale,
        bars=_bars(reduction, notes, marks),
        chords=marks,
        shapes=shapes,
        notes=tuple(notes),
        dropped=_dropped(reduction, chosen),
        decisions=(*decisions, *reduction.decisions),
        proof=proof,
        keys=keys,
        others=others,
    )


def fingered_notes(
    reduction: Reduction,
    setting: Setting,
    chosen: Sequence[Chosen],
    *,
    level: Level,
    player: Player,
) -> list[Placement]:
    """The notes that the grips ``chosen`` (one a slot) stand for, both hands fingered."""
    costs, neck = fingering(), neck_of(player, reduction.capo)
    notes = _notes(reduction, setting.transposition, neck, chosen)
    notes = _plucked(notes, reduction, costs.right)
    return with_slurs(notes, reduction, level, player, costs.slur)


# Notes --------------------------------------------------------------------------------


def _notes(
    reduction: Reduction, transposition: int, neck: Neck, chosen: Sequence[Chosen]
) -> list[Placement]:
    """Every note with the length for which it is held, low string first within an onset."""
    notes: list[Placement] = []
    for place, here in enumerate(chosen):
        slot, grip = here.slot, here.grip
        if slot.stroke is not None and slot.stroke_begins and grip.bass is not None:
            stroke = reduction.strokes[slot.stroke]
            end = min(stroke.end, _held_until(chosen, place, "bass"))
            source = _bass_source(reduction, stroke, neck.midi(grip.bass) - transposition)
            notes.append(
                _note(
                    reduction,
                    neck,
                    slot,
                    held=(grip.bass, grip.bass_finger),
                    voice="bass",
                    end=end,
                    source=source,
                )
            )
        for spot, finger in grip.fills:
            notes.append(
                _note(
                    reduction,
                    neck,
                    slot,
                    held=(spot, finger),
                    voice="inner",
                    end=slot.end,
                    source=(),
                )
            )
        if slot.melody is not None and slot.melody_begins and grip.tune is not None:
            tune = reduction.melody[slot.melody]
            end = min(tune.end, _held_until(chosen, place, "tune"))
            notes.append(
                _note(
                    reduction,
                    neck,
                    slot,
                    held=(grip.tune, grip.tune_finger),
                    voice="melody",
                    end=end,
                    source=tune.source,
                )
            )
    notes.sort(key=lambda note: (note.onset, -note.string))
    return notes


def _held_until(chosen: Sequence[Chosen], place: int, voice: str) -> Beat:
    """When the note that begins at ``place`` is let go, or the next one begins."""
    for later in chosen[place + 1 :]:
        if voice == "tune":
            slot_index, begins = later.slot.melody, later.slot.melody_begins
            held = later.grip.tune is not None
        else:
            slot_index, begins = later.slot.stroke, later.slot.stroke_begins
            held = later.grip.bass is not None and later.grip.bass_active
        if slot_index is None or begins or not held:
            return later.slot.onset
    return chosen[-1].slot.end


def _bass_source(reduction: Reduction, stroke: Stroke, midi: int) -> tuple[int, ...]:
    """The source note that the thumb's note stands for: the same tone, octaves apart."""
    if stroke.source is None:
        return ()
    note = reduction.analysis.score.notes[stroke.source]
    return (note.index,) if (note.midi - midi) % 12 == 0 else ()


def _note(
    reduction: Reduction,
    neck: Neck,
    slot: Slot,
    *,
    held: tuple[Spot, int],
    voice: Voice,
    end: Beat,
    source: tuple[int, ...],
) -> Placement:
    spot, finger = held
    return Placement(
        onset=slot.onset,
        length=end - slot.onset,
        midi=neck.midi(spot) + neck.capo,
        string=spot.string,
        fret=spot.fret,
        left=LEFT_FINGERS[finger],
        right="p",
        voice=voice,
        bar=reduction.analysis.score.bars[slot.bar].number,
        source=source,
    )


def _plucked(
    notes: list[Placement], reduction: Reduction, costs: RightHandCosts
) -> list[Placement]:
    """The notes with their plucking fingers, bar by bar, equal bars alike."""
    bars = reduction.analysis.score.bars
    numbers = {bar.number: place for place, bar in enumerate(bars)}
    by_bar: dict[int, list[int]] = {}
    for index, note in enumerate(notes):
        if note.voice != "bass":
            by_bar.setdefault(numbers[note.bar], []).append(index)
    plucked = list(notes)
    for indices in by_bar.values():
        groups: dict[Beat, list[int]] = {}
        for index in indices:
            groups.setdefault(notes[index].onset, []).append(index)
        moments: list[Moment] = []
        last: Beat | None = None
        for onset, group in sorted(groups.items()):
            seconds: float | None = None if last is None else reduction.seconds(onset - last)
            moments.append(Moment(tuple(notes[k].string for k in group), seconds))
            last = onset
        for (_, group), pluck in zip(
            sorted(groups.items()), plucking(moments, costs), strict=True
        ):
            fingers: list[RightFinger] = list(pluck)
            for index, finger in zip(group, fingers, strict=False):
                plucked[index] = replace(notes[index], right=finger)
    return plucked


# Shapes and bars ----------------------------------------------------------------------


def _shapes(
    chosen: Sequence[Chosen], hands: tuple[Hand, ...], setting: Setting
) -> tuple[tuple[Shape, ...], tuple[ChordMark, ...]]:
    """The shapes that the hand is priced by, and the names over the tab, as they are met."""
    known: dict[tuple[tuple[int | None, ...], tuple[str | None, ...]], int] = {}
    shapes: list[Shape] = []
    marks: list[ChordMark] = []
    said: tuple[Chord | None, int | None] = (None, None)
    for here in chosen:
        if here.slot.chord is None:
            continue
        chord = here.slot.chord.transposed(setting.transposition)
        held = hands[here.grip.hand].shape
        index = None
        if held is not None:
            key = held.frets, held.fingers
            if key not in known:
                known[key] = len(shapes)
                shapes.append(_diagram(held, chord, setting.key))
            index = known[key]
        if (chord, index) != said:
            marks.append(
                ChordMark(onset=here.slot.onset, name=chord.name_in(setting.key), shape=index)
            )
            said = chord, index
    return tuple(shapes), tuple(marks)


def _diagram(shape: ChordShape, harmony: Chord, key: Key) -> Shape:
    """The diagram of a shape; a diminished seventh is called what the music calls it."""
    root = harmony.root if shape.quality == "dim7" == harmony.quality else shape.root
    chord = Chord(root, shape.quality, root)
    return Shape(
        name=chord.name_in(key),
        frets=shape.frets,
        fingers=shape.fingers,
        barre=shape.barre,
    )


def _bars(
    reduction: Reduction, notes: list[Placement], marks: tuple[ChordMark, ...]
) -> tuple[ArrangedBar, ...]:
    analysis = reduction.analysis
    return arranged_bars(
        analysis,
        _played(reduction, notes, marks),
        [_chord_of(bar, marks) for bar in analysis.score.bars],
        slows=reduction.marks.ritardando,
    )


def _played(
    reduction: Reduction, notes: list[Placement], marks: tuple[ChordMark, ...]
) -> list[Hashable]:
    """What is played in each bar, so that bars with the same tab are equal."""
    bars = reduction.analysis.score.bars
    played: list[list[Hashable]] = [
        [bar.length, bar.numerator, bar.denominator] for bar in bars
    ]
    numbers = {bar.number: place for place, bar in enumerate(bars)}
    for note in notes:
        place = numbers[note.bar]
        played[place].append(
            (
                note.onset - bars[place].start,
                note.length,
                *(note.string, note.fret, note.left, note.right, note.voice),
            )
        )
    for mark in marks:
        place = reduction.analysis.score.bar_index_at(mark.onset)
        played[place].append((mark.onset - bars[place].start, mark.name))
    return [tuple(bar) for bar in played]


def _chord_of(bar: Bar, marks: tuple[ChordMark, ...]) -> str | None:
    """The harmony at the beginning of a bar, or the first one in it."""
    place = bisect_right(marks, bar.start, key=attrgetter("onset"))
    if place:
        return marks[place - 1].name
    return marks[0].name if marks and marks[0].onset < bar.end else None


def _dropped(reduction: Reduction, chosen: Sequence[Chosen]) -> tuple[Dropped, ...]:
    """Tune notes left out: for the grid, or because no hand could reach them."""
    missed = [
        Dropped(
            onset=here.slot.onset,
            midi=reduction.melody[here.slot.melody].midi,
            why="no grip of this level reaches it together with the rest",
        )
        for here in chosen
        if here.slot.melody is not None and here.slot.melody_begins and here.grip.tune is None
    ]
    return tuple(
        sorted([*reduction.dropped, *missed], key=lambda drop: (drop.onset, -drop.midi))
    )
