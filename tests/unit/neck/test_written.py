"""From chosen grips to notes: how long they are held, shapes in order, equal bars, drops."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from heard_pieces import heard

from arranger.music.analysis import Analysis
from arranger.music.arrangement import Arrangement, Placement, Proof
from arranger.music.reduction import Reduction
from arranger.neck.fretboard import Spot, neck_of
from arranger.neck.grips import Grip
from arranger.neck.hands import free_hands, shape_hand
from arranger.neck.reach import HandRules
from arranger.neck.written import Chosen, arrangement
from arranger.reduce import reduce
from arranger.tables import default_player, level_named
from arranger.tables.fingering import fingering
from arranger.tables.shapes import chord_shape

LEVEL = level_named("beginner")
PLAYER = default_player(LEVEL)
NECK = neck_of(PLAYER, 0)
RULES = HandRules(NECK, PLAYER, LEVEL, fingering().hold)
HANDS = (
    shape_hand(chord_shape("G7", "320001", "320001", 1), 0.0),
    shape_hand(chord_shape("C", "x32010", "x32010", 1), 0.0),
    *free_hands(RULES, 4.0)[:1],
)
G7, C, FREE = 0, 1, 2
SILENT = Grip(
    hand=C, octave=0, tune=None, tune_finger=0, bass=None, bass_finger=0, bass_active=False,
    fills=(), gives_third=False, third_heard=False, cost=0, planted=(-1,) * 5,
)  # fmt: skip


def grip(
    hand: int,
    tune: tuple[int, int, int] | None = None,
    bass: tuple[int, int, int] | None = None,
    *,
    active: bool = True,
    inner: tuple[tuple[int, int, int], ...] = (),
) -> Grip:
    """Notes as (string, fret, finger)."""
    return replace(
        SILENT,
        hand=hand,
        tune=None if tune is None else Spot(*tune[:2]),
        tune_finger=0 if tune is None else tune[2],
        bass=None if bass is None else Spot(*bass[:2]),
        bass_finger=0 if bass is None else bass[2],
        bass_active=bass is not None and active,
        fills=tuple((Spot(string, fret), finger) for string, fret, finger in inner),
    )


def reduced(analysis: Analysis) -> Reduction:
    return reduce(analysis, level=LEVEL, level_name="beginner", player=PLAYER, key="C")


def written(reduction: Reduction, *grips: Grip) -> Arrangement:
    """The arrangement of one grip a slot."""
    return arrangement(
        reduction,
        reduction.settings[0],
        neck=NECK,
        hands=HANDS,
        chosen=[Chosen(s, g) for s, g in zip(reduction.slots, grips, strict=True)],
        level=LEVEL,
        player=PLAYER,
        proof=Proof(objective=0.0, bound=0.0, seconds=0.0),
        decisions=(),
    )


def note(made: Arrangement, voice: str, onset: int = 0) -> Placement:
    (found,) = [n for n in made.notes if n.voice == voice and n.onset == onset]
    return found


@pytest.fixture
def long_note() -> Reduction:
    """A whole note over four beats of an alternating bass."""
    return reduced(heard("C5:4", "C3:1 r:1 G2:1 r:1", chords="C:4"))


TUNE, LOW, HIGH = (2, 1, 1), (5, 3, 3), (4, 2, 2)


def test_a_note_is_held_until_the_hand_lets_go(long_note: Reduction) -> None:
    whole = written(long_note, *(grip(C, TUNE, bass) for bass in (LOW, HIGH, LOW, HIGH)))
    assert note(whole, "melody").length == 4
    let_go = (grip(C, TUNE, LOW), grip(C, TUNE, HIGH), grip(C, None, LOW), grip(C, None, HIGH))
    assert note(written(long_note, *let_go), "melody").length == 2


def test_a_thumb_note_ends_where_the_next_begins(long_note: Reduction) -> None:
    made = written(long_note, *(grip(C, TUNE, bass) for bass in (LOW, HIGH, LOW, HIGH)))
    basses = [n for n in made.notes if n.voice == "bass"]
    assert [(n.onset, n.length, n.string) for n in basses] == [
        (0, 1, 5), (1, 1, 4), (2, 1, 5), (3, 1, 4),
    ]  # fmt: skip


def test_a_bass_note_let_go_early_is_shorter() -> None:
    """A tune note enters off the beat and the thumb's note is released for it."""
    reduction = reduced(
        heard("E4:1/2 G4:1/2 E4:1", "C3:2", chords="C:2", meter=(2, 4), beat="2", tempo=40)
    )
    assert [slot.onset for slot in reduction.slots] == [0, Fraction(1, 2), 1]
    tunes = ((4, 2, 2), (3, 0, 0), (4, 2, 2))
    held = [grip(C, tune, LOW) for tune in tunes]
    assert note(written(reduction, *held), "bass").length == 2
    released = [
        held[0],
        grip(C, tunes[1], LOW, active=False),
        grip(C, tunes[2], LOW, active=False),
    ]
    assert note(written(reduction, *released), "bass").length == Fraction(1, 2)


def test_inner_notes_last_for_their_moment(long_note: Reduction) -> None:
    first = grip(C, TUNE, LOW, inner=((3, 0, 0),))
    rest = (grip(C, TUNE, HIGH), grip(C, TUNE, LOW), grip(C, TUNE, HIGH))
    inner = note(written(long_note, first, *rest), "inner")
    assert (inner.length, inner.midi, inner.left, inner.source) == (1, 55, "0", ())


def test_pitch_string_and_finger_are_those_of_the_grip(long_note: Reduction) -> None:
    made = written(long_note, *(grip(C, TUNE, bass) for bass in (LOW, HIGH, LOW, HIGH)))
    tune, bass = note(made, "melody"), note(made, "bass")
    assert (tune.midi, tune.string, tune.fret, tune.left) == (60, 2, 1, "1")
    assert (bass.midi, bass.string, bass.fret, bass.left, bass.right) == (48, 5, 3, "3", "p")
    assert [n.string for n in made.notes if n.onset == 0] == [5, 2]


def test_a_thumb_note_names_its_source_only_where_it_has_its_tone(
    long_note: Reduction,
) -> None:
    """Beat 1 of the source has C in the bass, beat 3 has G: the thumb plays C both times."""
    made = written(long_note, *(grip(C, TUNE, bass) for bass in (LOW, HIGH, LOW, HIGH)))
    low = long_note.analysis.bass[0]
    assert [n.source for n in made.notes if n.voice == "bass"] == [(low,), (), (), ()]


def test_a_tune_note_that_no_grip_reaches_is_told(long_note: Reduction) -> None:
    made = written(long_note, *(grip(C, None, bass) for bass in (LOW, HIGH, LOW, HIGH)))
    (dropped,) = made.dropped
    assert (dropped.onset, dropped.midi) == (0, 72)
    assert "no grip" in dropped.why


@pytest.fixture
def four_bars() -> Reduction:
    """G7 | C | G7 | G7, a note and a stroke in each."""
    return reduced(
        heard(
            "F4:2 | C4:2 | F4:2 | D4:2",
            "G2:2 | C3:2 | G2:2 | G2:2",
            chords="G7:2 C:2 G7:4",
            meter=(2, 4),
            beat="2",
        )
    )


BARS = (
    grip(G7, (1, 1, 1), (6, 3, 3)),
    grip(C, (2, 1, 1), (5, 3, 3)),
    grip(G7, (1, 1, 1), (6, 3, 3)),
)


def test_shapes_are_told_once_in_the_order_in_which_they_are_met(four_bars: Reduction) -> None:
    made = written(four_bars, *BARS, grip(G7, (2, 3, 4), (6, 3, 3)))
    assert [shape.shorthand for shape in made.shapes] == ["320001", "x32010"]
    assert [(m.onset, m.name, m.shape) for m in made.chords] == [
        (0, "G7", 0), (2, "C", 1), (4, "G7", 0),
    ]  # fmt: skip


def test_a_free_hand_has_a_chord_name_and_no_shape(four_bars: Reduction) -> None:
    made = written(four_bars, *BARS, grip(FREE, (2, 3, 4), (6, 3, 3)))
    assert [(m.onset, m.name, m.shape) for m in made.chords][2:] == [
        (4, "G7", 0), (6, "G7", None),
    ]  # fmt: skip


def test_only_a_bar_with_the_same_tab_is_the_same(four_bars: Reduction) -> None:
    made = written(four_bars, *BARS, grip(G7, (2, 3, 4), (6, 3, 3)))
    assert [bar.same_as for bar in made.bars] == [None, None, 1, None]
    other_finger = (*BARS[:2], grip(G7, (1, 1, 2), (6, 3, 3)), grip(G7, (2, 3, 4), (6, 3, 3)))
    assert [bar.same_as for bar in written(four_bars, *other_finger).bars] == [None] * 4
