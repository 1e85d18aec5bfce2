"""Page -> Arrangement: a score as written, with strings, frets and both hands' fingers."""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from arranger.music.analysis import Analysis
from arranger.music.arrangement import (
    LEFT_FINGERS,
    RIGHT_FINGERS,
    ArrangedBar,
    Arrangement,
    Decision,
    Dropped,
    Placement,
    Proof,
    Slur,
    Voice,
)
from arranger.music.page import Page
from arranger.music.pitch import note_name
from arranger.music.score import Bar, Score, SourceWarning
from arranger.music.time import Beat
from arranger.music.written_note import WrittenNote
from arranger.neck.bars import arranged_bars
from arranger.neck.fingered import (
    FingeredNote,
    Fingering,
    fingered,
    habits_of,
    written_neck,
)
from arranger.neck.plucked import Stroke, plucked
from arranger.neck.presses import press
from arranger.neck.slurs_written import asked_slurs, knows, played_slur
from arranger.tables import Level, Player, instrument
from arranger.tables.hand import hand

LEVEL_NAME = "as written"


def merged(notes: Sequence[WrittenNote]) -> tuple[WrittenNote, ...]:
    """Sorted by onset, then from high to low; a pitch struck twice at once is one note.

    It is of the upper of its voices as far as they are known, in whatever order they come.
    """
    found: dict[tuple[Beat, int], WrittenNote] = {}
    for note in sorted(notes, key=lambda note: (note.voice == 0, note.voice)):
        known = found.get((note.onset, note.midi))
        if known is not None:
            note = replace(  # noqa: PLW2901
                known,
                length=max(known.length, note.length),
                string=known.string or note.string,
                finger=known.finger if known.finger is not None else note.finger,
                slur=known.slur or note.slur,
                source=known.source + note.source,
            )
        found[note.onset, note.midi] = note
    return tuple(found[key] for key in sorted(found, key=lambda key: (key[0], -key[1])))


@dataclass(frozen=True, slots=True, kw_only=True)
class BothHands:
    """A fingering with the plucking fingers (p i m a as 0..3) of its notes, by note.

    ``slurs`` says how the left hand alone sounds notes that the page slurs; ``right`` is there
    the finger that plucked the note they go on from. ``plucked`` are those it has to pluck.
    """

    notes: tuple[WrittenNote, ...]
    left: Fingering
    right: dict[int, int]
    slurs: dict[int, Slur]
    plucked: tuple[int, ...]


def both_hands(
    notes: Sequence[WrittenNote],
    *,
    level: Level,
    player: Player,
    tuning: tuple[int, ...] | None = None,
    capo: int = 0,
) -> BothHands:
    """Strings, frets and fingers of both hands for notes in any order, each as written.

    ``midi`` is what sounds, ``capo`` included; ``tuning`` holds strings 1..6 without it.
    """
    whole = merged(notes)
    neck = written_neck(player, tuning or instrument().tuning, capo)
    left = fingered(whole, habits_of(neck, level, player), capo=capo)
    slurs = _slurs(whole, left.notes, level, player)
    right = _right(whole, [note for note in left.notes if note.note not in slurs])
    asked = asked_slurs(whole)
    for note in sorted(slurs):
        right[note] = right[asked[note].origin]
    placed = {note.note for note in left.notes}
    left_over = tuple(sorted(placed & set(asked) - set(slurs)))
    return BothHands(notes=whole, left=left, right=right, slurs=slurs, plucked=left_over)


def _slurs(
    notes: Sequence[WrittenNote],
    placed: Sequence[FingeredNote],
    level: Level,
    player: Player,
) -> dict[int, Slur]:
    """How the left hand sounds the notes that the page slurs, where this player can."""
    by_note = {note.note: note for note in placed}
    struck = Counter(notes[note.note].onset for note in placed)
    found: dict[int, Slur] = {}
    for index, asked in asked_slurs(notes).items():
        here, before = by_note.get(index), by_note.get(asked.origin)
        if here is None or before is None:
            continue
        onset = notes[index].onset
        held = notes[asked.origin].onset + before.length == onset
        slur = played_slur(_press(before), _press(here), asked.how) if held else None
        alone = struck[onset] == 1
        if slur is not None and knows(slur, alone=alone, level=level, player=player):
            found[index] = slur
    return found


def _press(note: FingeredNote) -> int:
    return press(note.string, note.fret, note.finger)


def _right(notes: Sequence[WrittenNote], placed: Sequence[FingeredNote]) -> dict[int, int]:
    """The plucking finger of every note."""
    strokes: list[Stroke] = []
    groups: list[list[FingeredNote]] = []
    last: Beat | None = None
    order = sorted(placed, key=lambda note: (notes[note.note].onset, -note.string))
    for onset, group in groupby(order, key=lambda note: notes[note.note].onset):
        here = list(group)
        strokes.append(
            Stroke(
                strings=tuple(note.string for note in here),
                voices=tuple(min(notes[note.note].voice, 2) for note in here),
                gap=9.0 if last is None else float(onset - last),
                on_beat=onset.denominator == 1,
            )
        )
        groups.append(here)
        last = onset
    return {
        note.note: finger
        for here, fingers in zip(groups, plucked(strokes), strict=True)
        for note, finger in zip(here, fingers, strict=True)
    }


def finger_page(
    page: Page, analysis: Analysis, *, level: Level, player: Player, capo: int = 0
) -> Arrangement:
    """Every note of the page with strings, frets and fingers; nothing else is changed.

    What no hand can play is in ``dropped``, with a warning by bar; a held note that has to
    be let go early has a warning too.
    """
    score = page.score
    hands = both_hands(page.notes, level=level, player=player, capo=capo)
    notes = _placements(hands, score)
    return Arrangement(
        title=score.title,
        composer=score.composer,
        level=LEVEL_NAME,
        file=score.file,
        sha256=score.sha256,
        warnings=(*score.warnings, *_warnings(hands, score)),
        key=analysis.main_key,
        transposed_by=0,
        capo=capo,
        tuning=instrument().tuning,
        target_tempo=score.tempo,
        student_tempo=score.tempo * level.tempo_share,
        swing=score.swing,
        written_scale=1,
        bars=_bars(analysis, notes),
        chords=(),
        shapes=(),
        notes=notes,
        dropped=tuple(_dropped(hands)),
        decisions=(*page.decisions, *_let_go(hands, score), *_plucked_slurs(hands, score)),
        proof=Proof(objective=hands.left.objective, bound=hands.left.bound, seconds=0.0),
    )


def _bar_at(score: Score, onset: Beat) -> int:
    """The printed number of the bar that holds ``onset``."""
    return score.bars[score.bar_index_at(onset)].number


# Notes and voices ---------------------------------------------------------------------


def _placements(hands: BothHands, score: Score) -> tuple[Placement, ...]:
    placed = sorted(
        hands.left.notes, key=lambda note: (hands.notes[note.note].onset, -note.string)
    )
    voices = _voices(hands, placed)
    found = []
    for note in placed:
        written = hands.notes[note.note]
        found.append(
            Placement(
                onset=written.onset,
                length=note.length,
                midi=written.midi,
                string=note.string,
                fret=note.fret,
                left=LEFT_FINGERS[note.finger],
                right=RIGHT_FINGERS[hands.right[note.note]],
                voice=voices[note.note],
                slur=hands.slurs.get(note.note),
                bar=_bar_at(score, written.onset),
                source=written.source,
            )
        )
    return tuple(found)


def _voices(hands: BothHands, placed: Sequence[FingeredNote]) -> dict[int, Voice]:
    """The top line is the melody, the thumb's low notes the bass, the rest between them.

    A melody note lies above all that sounds with it, on a higher string, and not too near;
    where the music has it otherwise, the note counts as inner.
    """
    common = hand()
    voices: dict[int, Voice] = {}
    sounding: list[FingeredNote] = []
    for onset, group in groupby(placed, key=lambda note: hands.notes[note.note].onset):
        here = list(group)
        sounding = [
            note for note in sounding if hands.notes[note.note].onset + note.length > onset
        ]
        top = here[-1]
        for note in here:
            low = note.string >= common.bass_string_highest and hands.right[note.note] == 0
            below = note is not top or hands.notes[note.note].voice == 2 or len(here) == 1
            upper = hands.notes[note.note].voice in (1, 3)
            voices[note.note] = "bass" if low and below and not upper else "inner"
        if voices[top.note] == "inner" and _tune(hands, top, [*here, *sounding], voices):
            voices[top.note] = "melody"
        sounding += here
        _under(hands, sounding, voices)
    return voices


def _tune(
    hands: BothHands,
    top: FingeredNote,
    others: Sequence[FingeredNote],
    voices: dict[int, Voice],
) -> bool:
    """Whether ``top`` can be the melody over ``others``."""
    if hands.notes[top.note].voice == 2:
        return False
    return all(_beneath(hands, top, other, voices) for other in others if other is not top)


def _beneath(
    hands: BothHands, top: FingeredNote, other: FingeredNote, voices: dict[int, Voice]
) -> bool:
    common = hand()
    room = {
        "melody": 1,
        "inner": common.inner_below_melody,
        "bass": common.bass_below_melody,
    }[voices[other.note]]
    below = hands.notes[other.note].midi <= hands.notes[top.note].midi - room
    return other.string > top.string and below


def _under(
    hands: BothHands, sounding: Sequence[FingeredNote], voices: dict[int, Voice]
) -> None:
    """A melody note over which something is struck that does not lie under it is inner."""
    for tune in sounding:
        if voices[tune.note] != "melody":
            continue
        onset = hands.notes[sounding[-1].note].onset
        for other in sounding:
            struck = hands.notes[other.note].onset == onset
            if other is tune or not struck or voices[other.note] == "melody":
                continue
            if not _beneath(hands, tune, other, voices):
                voices[tune.note] = "inner"
                break


# What is said beside the notes --------------------------------------------------------


def _dropped(hands: BothHands) -> Iterator[Dropped]:
    for lost in hands.left.unplayable:
        note = hands.notes[lost.note]
        yield Dropped(onset=note.onset, midi=note.midi, why=lost.why)


def _warnings(hands: BothHands, score: Score) -> Iterator[SourceWarning]:
    for lost in hands.left.unplayable:
        note = hands.notes[lost.note]
        text = f"{note_name(note.midi)} cannot be played where it stands: {lost.why}"
        bar = _bar_at(score, note.onset)
        yield SourceWarning(code="unplayable", text=text, bar=bar)


def _let_go(hands: BothHands, score: Score) -> Iterator[Decision]:
    if not hands.left.let_go:
        return
    numbers = sorted({_bar_at(score, hands.notes[note].onset) for note in hands.left.let_go})
    where = ", ".join(str(number) for number in numbers)
    text = (
        f"{len(hands.left.let_go)} held notes are let go before their written end, as a hand"
        f" must or would: in bar{'s' if len(numbers) > 1 else ''} {where}"
    )
    yield Decision(text=text, option="--player")


def _plucked_slurs(hands: BothHands, score: Score) -> Iterator[Decision]:
    if not hands.plucked:
        return
    numbers = sorted({_bar_at(score, hands.notes[note].onset) for note in hands.plucked})
    where = ", ".join(str(number) for number in numbers)
    text = (
        f"{len(hands.plucked)} slurred notes are plucked, as this hand does not get to them on"
        f" their string: in bar{'s' if len(numbers) > 1 else ''} {where}"
    )
    yield Decision(text=text, option="--player")


def _bars(analysis: Analysis, notes: Sequence[Placement]) -> tuple[ArrangedBar, ...]:
    """The bars; empty ones are never called equal, for there is nothing in them to learn."""
    bars = analysis.score.bars
    by_bar: dict[int, list[Hashable]] = {}
    for note in notes:
        place = analysis.score.bar_index_at(note.onset)
        since = note.onset - bars[place].start
        by_bar.setdefault(place, []).append(
            (since, note.length, note.string, note.fret, *_fingers(note))
        )
    return arranged_bars(
        analysis,
        [
            (bar.length, *by_bar[place]) if place in by_bar else place
            for place, bar in enumerate(bars)
        ],
        [_chord(analysis, bar) for bar in bars],
    )


def _fingers(note: Placement) -> tuple[str | None, ...]:
    return note.left, note.right, note.voice, note.slur


def _chord(analysis: Analysis, bar: Bar) -> str | None:
    """The name of the chord that lasts longest in the bar."""
    longest, name = Beat(0), None
    for span in analysis.chords:
        lasting = min(span.end, bar.end) - max(span.start, bar.start)
        if span.chord is not None and lasting > longest:
            longest, name = lasting, span.chord.name_in(analysis.main_key)
    return name
