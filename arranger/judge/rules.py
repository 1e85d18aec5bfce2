"""The rules of both hands, checked on the notes as they sound; no solver code, no excuses.

Each rule is one function: its first line says the rule as a guitarist would, and it
yields the breaches, each with the notes to blame. ``violations`` gathers them.

What is checked and what is not: every rule here is hard, what is merely awkward belongs
to the difficulty. Notes count as sounding for their whole ``length``; that a string rings
on after its finger has left is drawing, and free.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations

from arranger.judge.grip import grip_faults, hand_faults
from arranger.judge.hearing import Hearing, Moment, bar_at, bar_index_at, hear
from arranger.music.arrangement import Arrangement, Placement
from arranger.music.pitch import note_name
from arranger.music.verdict import Violation
from arranger.tables import Level, Player, instrument

STRINGS = range(1, 7)
PLUCKING_ORDER = "pima"


@dataclass(frozen=True, slots=True)
class Breach:
    """A rule broken by ``notes``; ``bar`` is a printed number, or None: the notes know."""

    text: str
    notes: tuple[int, ...] = ()
    bar: int | None = None
    rule: str | None = None


Rule = Callable[[Hearing], Iterator[Breach]]


# The instrument -----------------------------------------------------------------------


def the_string_gives_the_note(music: Hearing) -> Iterator[Breach]:
    """What sounds is the open string plus the capo plus the fret."""
    tuning = music.arrangement.tuning
    for index, note in enumerate(music.notes):
        if note.string not in STRINGS:
            yield Breach(f"there is no string {note.string}", (index,))
            continue
        sounds = tuning[note.string - 1] + music.arrangement.capo + note.fret
        if sounds != note.midi:
            yield Breach(
                f"string {note.string} fret {note.fret} gives {note_name(sounds)}, not "
                f"{note_name(note.midi)}",
                (index,),
            )


def on_the_neck(music: Hearing) -> Iterator[Breach]:
    """No fret below the nut (or capo) or beyond the end of the neck."""
    last = instrument().frets - music.arrangement.capo
    for index, note in enumerate(music.notes):
        if not 0 <= note.fret <= last:
            yield Breach(f"fret {note.fret}: the neck has frets 0 to {last}", (index,))


def _highest_fret(music: Hearing, string: int) -> int:
    """How high this player goes on a string; on string 1 the little finger reaches further."""
    most = music.level.max_fret
    if string == 1:
        most = max(most, music.level.little_finger_fret)
    return min(most, music.player.highest_fret)


def frets_of_the_level(music: Hearing) -> Iterator[Breach]:
    """Left hand no higher than the level goes; string 1 as far as the little finger."""
    for index, note in enumerate(music.notes):
        most = _highest_fret(music, note.string)
        if note.fret > most:
            yield Breach(
                f"fret {note.fret} on string {note.string}: this player goes up to {most}",
                (index,),
            )


def top_of_the_tune(music: Hearing) -> Iterator[Breach]:
    """The melody stays at or under the level's top note, as the hand reads it (no capo)."""
    for index, note in enumerate(music.notes):
        read = note.midi - music.arrangement.capo
        if note.voice == "melody" and read > music.level.top_note:
            yield Breach(
                f"melody on {note_name(read)}, above {note_name(music.level.top_note)}",
                (index,),
            )


# Time ---------------------------------------------------------------------------------


def exact_times(music: Hearing) -> Iterator[Breach]:
    """Every note has an exact start and an exact length of more than nothing."""
    for index, note in enumerate(music.notes):
        if not isinstance(note.onset, Fraction) or not isinstance(note.length, Fraction):
            yield Breach("start and length are exact fractions of a quarter", (index,))
        elif note.length <= 0:
            yield Breach(f"a note of length {note.length}", (index,))


def in_its_bar(music: Hearing) -> Iterator[Breach]:
    """A note starts in the bar it says, and no note outlasts the piece."""
    arrangement = music.arrangement
    end = arrangement.bars[-1].end if arrangement.bars else Fraction(0)
    for index, note in enumerate(music.notes):
        bar = bar_at(arrangement, note.onset)
        if bar is None:
            yield Breach("a note outside the piece", (index,))
        elif bar.bar != note.bar:
            yield Breach(f"a note of bar {bar.bar} is said to be in {note.bar}", (index,))
        if note.end > end:
            yield Breach("a note held beyond the end of the piece", (index,))


def told_in_order(music: Hearing) -> Iterator[Breach]:
    """Notes are listed as they start, and from string 6 to string 1 within a start."""
    order = [(note.onset, -note.string) for note in music.notes]
    for index in range(1, len(order)):
        if order[index - 1] > order[index]:
            yield Breach("notes are not listed in order", (index - 1, index))


def one_note_a_string(music: Hearing) -> Iterator[Breach]:
    """A string sounds one note at a time: the next may start when the last has ended."""
    for moment in music.moments:
        for one, other in combinations(moment.sounding, 2):
            if music.notes[one].string == music.notes[other].string:
                yield Breach(
                    f"two notes at once on string {music.notes[one].string}", (one, other)
                )


# The left hand ------------------------------------------------------------------------


def a_grip_a_hand_can_hold(music: Hearing) -> Iterator[Breach]:
    """Whatever sounds together is a grip that this hand can hold (see ``grip``)."""
    for moment in music.moments:
        on_string = {music.notes[i].string: i for i in moment.sounding}
        for fault in grip_faults(music.grip(moment), music.limits):
            notes = sorted({on_string[string] for string in fault.strings})
            yield Breach(fault.text, tuple(notes), rule=fault.rule)


def slurs_need_a_string(music: Hearing) -> Iterator[Breach]:
    """A slur goes on from a note on the same string, held until then, in its direction."""
    ends_at: dict[tuple[int, Fraction], Placement] = {
        (note.string, note.end): note for note in music.notes
    }
    for index, note in enumerate(music.notes):
        if note.slur is None:
            continue
        before = ends_at.get((note.string, note.onset))
        if before is None:
            yield Breach(f"a {note.slur} with no note held before it", (index,))
        elif not _slur_moves(before, note):
            yield Breach(f"a {note.slur} from fret {before.fret} to {note.fret}", (index,))


def _slur_moves(before: Placement, note: Placement) -> bool:
    if note.slur == "hammer-on":
        return note.fret > before.fret
    if note.slur == "pull-off":
        return note.fret < before.fret
    return (
        note.fret != before.fret
        and note.left == before.left
        and min(note.fret, before.fret) > 0
    )


def slurs_of_the_player(music: Hearing) -> Iterator[Breach]:
    """Slides, and slurs while the thumb plays, only for players who know them."""
    known = music.player.techniques
    for moment in music.moments:
        slurred = [i for i in moment.struck if music.notes[i].slur]
        thumb = any(
            music.notes[i].right == "p" and not music.notes[i].slur for i in moment.struck
        )
        for index in slurred:
            if music.notes[index].slur == "slide" and "slides" not in known:
                yield Breach("a slide, which this player does not know", (index,))
            elif thumb and "hammer-on under thumb" not in known:
                yield Breach("a slur together with the thumb", (index,))


# The right hand -----------------------------------------------------------------------


def bass_by_the_thumb(music: Hearing) -> Iterator[Breach]:
    """The bass lies on strings 6, 5 and 4 and belongs to the thumb."""
    highest = music.limits.common.bass_string_highest
    for index, note in enumerate(music.notes):
        if note.voice != "bass":
            continue
        if note.string < highest:
            yield Breach(f"bass on string {note.string}", (index,))
        if note.right != "p" and note.slur is None:
            yield Breach(f"bass plucked by {note.right}", (index,))


def one_string_a_finger(music: Hearing) -> Iterator[Breach]:
    """A plucking finger plays one string at a time, and the hand is not crossed.

    Read from the low strings up, what is plucked together goes p, i, m, a. Of a chord with
    more notes than these four the thumb sweeps the lowest.
    """
    for moment in music.moments:
        plucked = [i for i in moment.struck if music.notes[i].slur is None]
        sweeps = len(plucked) > len(PLUCKING_ORDER)
        for one, other in combinations(plucked, 2):
            low, high = sorted((one, other), key=lambda i: -music.notes[i].string)
            fingers = music.notes[low].right, music.notes[high].right
            if fingers == ("p", "p") and sweeps:
                continue
            if fingers[0] == fingers[1]:
                yield Breach(f"{fingers[0]} plucks two strings at once", (one, other))
            elif PLUCKING_ORDER.find(fingers[0]) > PLUCKING_ORDER.find(fingers[1]):
                yield Breach(f"{fingers[0]} plucks below {fingers[1]}", (one, other))


# The voices ---------------------------------------------------------------------------


def melody_on_top(music: Hearing) -> Iterator[Breach]:
    """While a melody note sounds, all else is lower, on lower strings.

    Checked when the melody note starts and whenever something is plucked under it. Inner
    voices lie at least a whole tone below, the bass a minor third, so that the ear follows
    the tune.
    """
    common = music.limits.common
    room = {"melody": 1, "inner": common.inner_below_melody, "bass": common.bass_below_melody}
    for moment in music.moments:
        for tune, under in _tune_and_rest(music, moment):
            top, note = music.notes[tune], music.notes[under]
            if note.string <= top.string:
                yield Breach(
                    f"melody on string {top.string}, {note.voice} on {note.string}",
                    (tune, under),
                )
            if note.midi > top.midi - room[note.voice]:
                yield Breach(
                    f"{note.voice} {note_name(note.midi)} too near or above the melody's "
                    f"{note_name(top.midi)}",
                    (tune, under),
                )


def _tune_and_rest(music: Hearing, moment: Moment) -> Iterator[tuple[int, int]]:
    """A sounding melody note with each other note, where one of them starts here.

    Of two melody notes the one that starts later is the tune.
    """
    for tune in moment.sounding:
        if music.notes[tune].voice != "melody":
            continue
        begins = tune in moment.struck
        for under in moment.sounding if begins else moment.struck:
            if under != tune and (begins or music.notes[under].voice != "melody"):
                yield tune, under


def notes_at_once(music: Hearing) -> Iterator[Breach]:
    """No more notes at once, plucked or held, than the level takes on."""
    for moment in music.moments:
        if len(moment.sounding) > music.level.voices:
            yield Breach(
                f"{len(moment.sounding)} notes at once, {music.level.voices} are allowed",
                moment.sounding,
            )


# The piece ----------------------------------------------------------------------------


def key_of_the_level(music: Hearing) -> Iterator[Breach]:
    """The hand plays in a key of the level's list, or with few enough accidentals."""
    key, level = music.arrangement.key, music.level
    if level.keys and key.short not in level.keys:
        yield Breach(f"key {key.name}: this level plays in {', '.join(level.keys)}")
    if not level.keys and abs(key.sharps) > level.max_accidentals:
        yield Breach(f"key {key.name}: at most {level.max_accidentals} accidentals")


def shapes_to_learn(music: Hearing) -> Iterator[Breach]:
    """No more different shapes than the level allows; every chord mark names one of them."""
    shapes = music.arrangement.shapes
    different = {(shape.frets, shape.fingers) for shape in shapes}
    if music.level.shapes_most and len(different) > music.level.shapes_most:
        yield Breach(f"{len(different)} shapes, at most {music.level.shapes_most}")
    for mark in music.arrangement.chords:
        if mark.shape is not None and not 0 <= mark.shape < len(shapes):
            text = f"{mark.name} names a shape that is not there"
            yield Breach(text, bar=_printed_bar(music.arrangement, mark.onset))


def shapes_a_hand_can_hold(music: Hearing) -> Iterator[Breach]:
    """Every shape shown is a grip that this player can hold."""
    for number, shape in enumerate(music.arrangement.shapes):
        used = (mark.onset for mark in music.arrangement.chords if mark.shape == number)
        bar = _printed_bar(music.arrangement, next(used, Fraction(0)))
        barres = None if shape.barre is None else [shape.barre]
        for fault in hand_faults(shape.frets, shape.fingers, barres, limits=music.limits):
            text = f"shape {shape.name} {shape.shorthand}: {fault.text}"
            yield Breach(text, bar=bar)
        for string, fret in zip(reversed(STRINGS), shape.frets, strict=False):
            if fret is not None and fret > _highest_fret(music, string):
                text = f"shape {shape.name} {shape.shorthand}: fret {fret} is too high"
                yield Breach(text, bar=bar)


RULES: tuple[Rule, ...] = (
    the_string_gives_the_note,
    on_the_neck,
    frets_of_the_level,
    top_of_the_tune,
    exact_times,
    in_its_bar,
    told_in_order,
    one_note_a_string,
    a_grip_a_hand_can_hold,
    slurs_need_a_string,
    slurs_of_the_player,
    bass_by_the_thumb,
    one_string_a_finger,
    melody_on_top,
    notes_at_once,
    key_of_the_level,
    shapes_to_learn,
    shapes_a_hand_can_hold,
)


ARRANGING_RULES: tuple[Rule, ...] = (
    top_of_the_tune,
    bass_by_the_thumb,
    melody_on_top,
    notes_at_once,
    key_of_the_level,
    shapes_to_learn,
)
"""What an arrangement owes its level and its tune; a tab from elsewhere owes it nothing."""


def hand_violations(
    arrangement: Arrangement, level: Level, player: Player
) -> tuple[Violation, ...]:
    """Every rule of the hand and of exact writing that a tab from anywhere breaks."""
    rules = tuple(rule for rule in RULES if rule not in ARRANGING_RULES)
    return violations(arrangement, level, player, rules=rules)


def violations(
    arrangement: Arrangement, level: Level, player: Player, *, rules: Sequence[Rule] = RULES
) -> tuple[Violation, ...]:
    """Every rule that the arrangement breaks, each breach once, in the order of the piece.

    ``Violation.rule`` is the rule's name in words; ``bar`` is the printed number of the
    bar where the breach begins (of the first bar when it concerns the whole piece).
    """
    music = hear(arrangement, level, player)
    found: dict[tuple[str, tuple[int, ...], str], Violation] = {}
    for rule in rules:
        for breach in rule(music):
            name = breach.rule or rule.__name__.replace("_", " ")
            # A held grip stays wrong from onset to onset: tell it once.
            once = (name, tuple(sorted(breach.notes)), "" if breach.notes else breach.text)
            if once not in found:
                bar = _bar_of(arrangement, breach)
                found[once] = Violation(
                    rule=name, bar=bar, text=breach.text, notes=breach.notes
                )
    return tuple(sorted(found.values(), key=lambda v: (v.bar, v.notes)))


def _bar_of(arrangement: Arrangement, breach: Breach) -> int:
    """A printed number of a bar that exists, wherever the notes claim to be."""
    if breach.bar is not None:
        return breach.bar
    onsets = [arrangement.notes[index].onset for index in breach.notes]
    return _printed_bar(arrangement, max(onsets, default=Fraction(0)))


def _printed_bar(arrangement: Arrangement, onset: Fraction) -> int:
    """The bar that holds ``onset``; before or after the piece its first or last bar."""
    if not arrangement.bars:
        return 0
    return arrangement.bars[bar_index_at(arrangement, onset)].bar
