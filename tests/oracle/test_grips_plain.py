"""Grips found by columns against the plain enumeration, row for row and in order."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plain_grips import Held as PlainHeld
from plain_grips import PlainGripMaker

from arranger.music.chord import Chord
from arranger.neck.fretboard import neck_of
from arranger.neck.grip_maker import GripMaker
from arranger.neck.grips import NONE, RELEASED, Context, Grip, Grips, Held, spot_code, tenths
from arranger.neck.hands import Hand, Hands, hands_for
from arranger.neck.reach import THUMB, HandRules
from arranger.tables import default_player, level_named
from arranger.tables.arranging import arranging
from arranger.tables.fingering import fingering
from arranger.tables.hand import hand as common_hand
from arranger.tables.solving import solving

LEVELS = ("beginner", "elementary", "intermediate", "advanced")
CHORDS = (Chord(0, "", 0), Chord(7, "7", 7), Chord(5, "", 5), Chord(9, "m", 9), None)
NO_END = 10**5
"""A ceiling, in tenths, that no grip reaches: nothing is left out as too dear."""


@dataclass(frozen=True)
class Pair:
    """Both makers for the same hand, and the hands that each chord offers."""

    fast: GripMaker
    plain: PlainGripMaker
    under: dict[Chord | None, tuple[int, ...]]

    @property
    def hands(self) -> Hands:
        return self.fast.hands

    def free(self) -> tuple[int, ...]:
        return tuple(i for i, hand in enumerate(self.hands.all()) if hand.shape is None)


@cache
def makers(level_name: str, thumb_over: bool = False, ceiling: int | None = None) -> Pair:
    level, table, common = level_named(level_name), arranging(), common_hand()
    player = default_player(level)
    if thumb_over:
        techniques = player.techniques | {"thumb over"}
        player = player.model_copy(update={"techniques": techniques})
    rules = HandRules(neck_of(player, 0), player, level, fingering().hold)
    hands = Hands()
    under = {
        chord: tuple(
            hands.number(hand)
            for hand in hands_for(chord, rules, rules.neck, fingering().shape)
        )
        for chord in CHORDS
    }
    given_to_both: dict[str, Any] = {
        "rules": rules,
        "hands": hands,
        "melody_costs": table.melody,
        "bass_costs": table.bass,
        "fill_costs": table.fill,
        "lowest_tune": solving().lowest_tune,
        "bass_below": common.bass_below_melody,
        "inner_below": common.inner_below_melody,
        "ceiling": tenths(solving().ceiling) if ceiling is None else ceiling,
    }
    plain = PlainGripMaker(**given_to_both)
    return Pair(GripMaker(**given_to_both), plain, under)


# One slot and what it leaves held ------------------------------------------------------


def same(pair: Pair, context: Context) -> Grips:
    """The grips of a context, after checking them against the plain enumeration."""
    grips = pair.fast.grips(context)
    assert list(grips.items) == list(pair.plain.grips(context))
    check_columns(grips, pair)
    return grips


def same_after(
    pair: Pair, before: Context, after: Context, *, tune: bool, bass: bool, changes: bool
) -> Grips:
    """The grips of ``after`` where the notes of ``before`` are held on, checked likewise."""
    step = {"tune": tune, "bass": bass, "changes": changes}
    held = Held.after(same(pair, before), **step)
    grips = pair.fast.grips(after, held)
    plain_held = PlainHeld.after(pair.plain.grips(before), **step)
    assert list(grips.items) == list(pair.plain.grips(after, plain_held))
    check_columns(grips, pair)
    return grips


def check_columns(grips: Grips, pair: Pair) -> None:
    """Every column says what the grip of its row says."""
    tuning = pair.fast.rules.neck.tuning
    expected = [row_of(grip, pair.hands[grip.hand], tuning) for grip in grips.items]
    for row, values in enumerate(expected):
        assert {name: int(getattr(grips, name)[row]) for name in values} == values
    assert grips.planted.tolist() == [list(grip.planted) for grip in grips.items]
    assert grips.planted.shape == (len(grips), 5)


def row_of(grip: Grip, hand: Hand, tuning: tuple[int, ...]) -> dict[str, int]:
    """The columns of one grip, from its value."""
    tune, bass = grip.tune, grip.bass
    sounding = [spot for spot, _ in grip.fills]
    sounding += [tune] if tune else []
    sounding += [bass] if bass and grip.bass_active else []
    return {
        "hand": grip.hand,
        "octave": grip.octave,
        "tune": spot_code(tune, grip.tune_finger),
        "tune_string": tune.string if tune else NONE,
        "tune_finger": grip.tune_finger if tune and tune.fret else NONE,
        "bass": spot_code(bass, grip.bass_finger if grip.bass_active else RELEASED),
        "bass_string": bass.string if bass else NONE,
        "bass_midi": tuning[bass.string - 1] + bass.fret if bass else NONE,
        "bass_active": int(grip.bass_active),
        "finger_strings": sum(
            1 << string
            for string in {spot.string for spot, _ in grip.fills}
            | ({tune.string} if tune else set())
        ),
        "fretted": int(any(spot.fret for spot in sounding)),
        "third_given": int(grip.gives_third),
        "third_heard": int(grip.third_heard),
        "cost": grip.cost,
        "low": hand.low,
        "high": hand.high,
    }


# Contexts made by hand -----------------------------------------------------------------


def context(pair: Pair, chord: Chord | None = CHORDS[0], **changed: Any) -> Context:
    """A tune note over C with the thumb on C, E or G, both beginning; then ``changed``."""
    plain = Context(
        chord=chord,
        hands=pair.under[chord],
        tune=64,
        tune_begins=True,
        octaves=(-12, 0, 12),
        choices=((0, 0), (4, 12), (7, 7)),
        stroke_begins=True,
        rest_cost=40,
        fill=None,
        third=None,
        opens_bar=True,
        third_cost=0,
        missing_cost=9,
        released_cost=5,
    )
    return replace(plain, **changed)


@pytest.fixture(params=LEVELS)
def level(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def pair(level: str) -> Pair:
    return makers(level)


@pytest.mark.parametrize("chord", CHORDS, ids=str)
def test_tune_and_thumb_begin(pair: Pair, chord: Chord | None) -> None:
    grips = same(pair, context(pair, chord))
    assert any(grip.tune and grip.bass for grip in grips.items)


def test_an_inner_note_is_wished_for(pair: Pair, level: str) -> None:
    grips = same(pair, context(pair, tune=67, fill=((0, 4, 7), 15)))
    assert any(grip.fills for grip in grips.items) == (level != "beginner")


def test_two_inner_notes_where_four_voices_are_held() -> None:
    grips = same(makers("advanced"), context(makers("advanced"), tune=72, fill=((0, 4, 7), 90)))
    assert any(len(grip.fills) == 2 for grip in grips.items)


@pytest.mark.parametrize("opens_bar", [True, False])
def test_the_bar_owes_its_third(pair: Pair, opens_bar: bool) -> None:
    """Where the bar is open already, each grip without a third stands twice."""
    owing = context(pair, tune=67, third=4, third_cost=20, opens_bar=opens_bar)
    grips = same(pair, owing)
    assert any(grip.gives_third for grip in grips.items)
    without = [grip for grip in grips.items if not grip.gives_third]
    assert {grip.third_heard for grip in without} == ({False} if opens_bar else {True, False})


def test_a_third_and_inner_notes_are_wished_for(pair: Pair) -> None:
    same(pair, context(pair, tune=67, fill=((0, 7), 15), third=4, third_cost=20))


def test_the_tune_is_silent(pair: Pair) -> None:
    silent = context(pair, tune=None, tune_begins=False, fill=((0, 4, 7), 15))
    assert all(grip.tune is None for grip in same(pair, silent).items)


def test_the_thumb_is_silent(pair: Pair) -> None:
    silent = context(pair, choices=(), stroke_begins=False, fill=((0, 4, 7), 15))
    assert all(grip.bass is None for grip in same(pair, silent).items)


def test_both_are_silent(pair: Pair) -> None:
    silent: dict[str, Any] = {
        "tune": None,
        "tune_begins": False,
        "choices": (),
        "stroke_begins": False,
    }
    assert len(same(pair, context(pair, **silent)))


@pytest.mark.parametrize("changes", [True, False])
def test_the_tune_is_held_under_a_new_stroke(pair: Pair, changes: bool) -> None:
    held = context(pair, tune_begins=False, opens_bar=False)
    grips = same_after(pair, context(pair), held, tune=True, bass=False, changes=changes)
    assert any(grip.tune for grip in grips.items)


@pytest.mark.parametrize("changes", [True, False])
def test_the_bass_is_held_or_let_go_under_a_new_tune_note(pair: Pair, changes: bool) -> None:
    held = context(pair, tune=67, stroke_begins=False, opens_bar=False)
    grips = same_after(pair, context(pair), held, tune=False, bass=True, changes=changes)
    active = {grip.bass_active for grip in grips.items if grip.bass and grip.bass.fret}
    assert active == {True, False}


@pytest.mark.parametrize("changes", [True, False])
def test_nothing_begins(pair: Pair, changes: bool) -> None:
    """Both notes are held on: no grip is too dear, only what was held decides."""
    held = context(pair, tune_begins=False, stroke_begins=False, opens_bar=False)
    grips = same_after(pair, context(pair), held, tune=True, bass=True, changes=changes)
    assert len(grips)


def test_notes_are_held_on_over_a_change_of_chord(pair: Pair) -> None:
    held = context(
        pair, CHORDS[1], tune_begins=False, stroke_begins=False, third=11, third_cost=20
    )
    same_after(pair, context(pair), held, tune=True, bass=True, changes=True)


def test_the_thumb_comes_over_the_neck(level: str) -> None:
    pair = makers(level, thumb_over=True)
    over = context(pair, CHORDS[2], choices=((5, 0), (9, 5)), fill=((0, 5, 9), 15))
    assert any(grip.bass_finger == THUMB for grip in same(pair, over).items)


# Every place of the neck ---------------------------------------------------------------


def test_the_tune_anywhere_on_the_neck(level: str) -> None:
    """Sums of points that end in half a tenth round alike from every hand."""
    pair = makers(level, ceiling=NO_END)
    alone: dict[str, Any] = {"choices": (), "stroke_begins": False, "octaves": (0,)}
    for hands in (pair.free(), pair.under[CHORDS[0]]):
        for midi in range(48, pair.fast.rules.level.top_note + 1):
            same(pair, context(pair, tune=midi, hands=hands, **alone))


@pytest.mark.parametrize("begins", [True, False])
@pytest.mark.parametrize("thumb_over", [True, False])
def test_the_bass_anywhere_on_the_neck(level: str, begins: bool, thumb_over: bool) -> None:
    pair = makers(level, thumb_over=thumb_over, ceiling=NO_END)
    alone: dict[str, Any] = {"tune": None, "tune_begins": False, "hands": pair.free()}
    for tone in range(12):
        made = context(pair, choices=((tone, 3),), stroke_begins=begins, **alone)
        assert len(same(pair, made))


# Contexts of any kind ------------------------------------------------------------------

TONES = st.integers(0, 11)
TENTHS = st.integers(0, 60)


@st.composite
def contexts(draw: st.DrawFn, pair: Pair) -> Context:
    """A slot as a reduction may ask for it, from up to eight hands of a chord."""
    chord = draw(st.sampled_from(CHORDS))
    tune = draw(st.none() | st.integers(45, 84))
    tones = draw(st.lists(TONES, unique=True, max_size=4))
    wished = st.tuples(st.lists(TONES, unique=True, min_size=1, max_size=4), TENTHS)
    fill = draw(st.none() | wished)
    hands = st.lists(st.sampled_from(pair.under[chord]), unique=True, min_size=1, max_size=8)
    return Context(
        chord=chord,
        hands=tuple(draw(hands)),
        tune=tune,
        tune_begins=tune is not None and draw(st.booleans()),
        octaves=draw(st.sampled_from(((0,), (-12, 0), (-12, 0, 12), (12, 24)))),
        choices=tuple((tone, draw(TENTHS)) for tone in tones),
        stroke_begins=bool(tones) and draw(st.booleans()),
        rest_cost=draw(TENTHS),
        fill=None if fill is None else (tuple(sorted(fill[0])), fill[1]),
        third=draw(st.none() | TONES),
        opens_bar=draw(st.booleans()),
        third_cost=draw(TENTHS),
        missing_cost=draw(TENTHS),
        released_cost=draw(TENTHS),
    )


@st.composite
def steps(draw: st.DrawFn) -> tuple[Pair, Context, Context, dict[str, bool]]:
    """Two slots and what the second holds on to; often it goes on from the first's notes."""
    pair = makers(draw(st.sampled_from(LEVELS)), draw(st.booleans()))
    before, after = draw(contexts(pair)), draw(contexts(pair))
    if draw(st.booleans()):
        after = replace(after, chord=before.chord, hands=before.hands)
    step = {name: draw(st.booleans()) for name in ("tune", "bass", "changes")}
    if step["tune"]:
        after = replace(after, tune=before.tune, tune_begins=False, octaves=before.octaves)
    if step["bass"]:
        after = replace(after, choices=before.choices, stroke_begins=False)
    return pair, before, after, step


@settings(max_examples=150, deadline=None)
@given(steps())
def test_any_slot_and_the_next(
    case: tuple[Pair, Context, Context, dict[str, bool]],
) -> None:
    pair, before, after, step = case
    same_after(pair, before, after, **step)


# Inner notes that are asked for --------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(steps())
def test_opened_inner_notes_hide_no_grip_and_every_wish_is_one_of_them(
    case: tuple[Pair, Context, Context, dict[str, bool]],
) -> None:
    """All sets hold the cheapest ones, at the same cost; a wish adds just the grips whose
    inner notes are those wished for.
    """
    pair, asked, _, _ = case
    usual = set(pair.fast.grips(asked).items)
    opened = set(pair.fast.grips(replace(asked, inner_open=True)).items)
    assert usual <= opened
    for fills in sorted({grip.fills for grip in opened}, key=repr)[:3]:
        wish = tuple((spot.string, spot.fret, finger) for spot, finger in fills)
        granted = set(pair.fast.grips(replace(asked, inner=wish)).items)
        assert granted - usual == {g for g in opened - usual if g.fills == fills}


# Rows ----------------------------------------------------------------------------------


def test_some_of_the_rows_are_the_same_rows(pair: Pair) -> None:
    grips = same(pair, context(pair, tune=67, fill=((0, 4, 7), 15)))
    rows = np.arange(len(grips))[::-3]
    assert list(grips.only(rows).items) == [grips.items[int(row)] for row in rows]


def test_the_same_grips_whatever_was_asked_before(level: str) -> None:
    """What a maker remembers from other contexts changes nothing."""
    used = makers(level)
    fresh = replace(used.fast, _hold={}, _planted={})
    for asked in (context(used, tune=67, third=4), context(used, tune=67, fill=((4,), 15))):
        assert list(used.fast.grips(asked).items) == list(fresh.grips(asked).items)
