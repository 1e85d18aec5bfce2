"""The meter of a piece whose file states none, as notated and as played without a click."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from pathlib import Path
from statistics import fmean

import numpy as np
import pytest
from pydantic import ValidationError

from arranger.music.errors import UnreadableInput
from arranger.read import read
from arranger.read.meter_heard import FEATURES, LAGS, METERS, HeardMeters, meter_features
from arranger.read.pickup import Listener, PickupTable, find_pickup
from arranger.read.piece import Piece, PlayedNote, Signature
from arranger.read.reading import piece_in_time
from arranger.read.signatures import read_signatures
from arranger.tables import load

UNIT = 480
Hands = tuple[list[tuple[float, float, int]], list[tuple[float, float, int]]]


def march() -> Hands:
    """A bass on each quarter, root and fifth, a tune of two bars over it: 2/4 or 4/4."""
    right, left = [], []
    for bar in range(16):
        at, root = bar * 2.0, (48, 43, 48, 43)[bar % 4] - 12
        tune = [(0, 0.5, 76), (0.5, 0.5, 74), (1, 1, 72)], [(0, 1, 71), (1, 1, 74)]
        right += [(at + k, length, midi) for k, length, midi in tune[bar % 2]]
        left += [(at, 1, root), (at + 1, 1, root + 7)]
    return right, left


def waltz() -> Hands:
    right, left = [], []
    for bar in range(16):
        at, root = bar * 3.0, (48, 43, 41, 43)[bar % 4] - 12
        right += [(at, 2, 79 - bar % 4), (at + 2, 0.5, 77), (at + 2.5, 0.5, 76)]
        left += [(at, 1, root), (at + 1, 1, root + 19), (at + 2, 1, root + 19)]
    return right, left


def jig() -> Hands:
    right, left = [], []
    for bar in range(16):
        at, root = bar * 3.0, (48, 43, 41, 43)[bar % 4] - 12
        for half, tune in ((0.0, (79, 76, 72)), (1.5, (74, 77, 76))):
            right += [(at + half, 1, tune[0] - bar % 2), (at + half + 1, 0.5, tune[2])]
            left += [(at + half, 1, root + int(5 * half)), (at + half + 1, 0.5, root + 12)]
    return right, left


def played(hands: Hands, *, late: float = 0.0, seed: int = 5) -> Hands:
    """The hands in quarters of the file, on a beat of .56 s that sways, 10 ms off the mark."""
    dice = random.Random(seed)

    def quarters(at: float) -> float:
        return (0.3 + 0.56 * (at + late) + 0.12 * math.sin(at / 5)) / 0.5

    right, left = (
        [
            (max(0.0, quarters(at) + dice.gauss(0, 0.02)), length, midi)
            for at, length, midi in hand
        ]
        for hand in hands
    )
    return right, left


@pytest.mark.parametrize(
    ("hands", "meters", "by_hand"),
    [
        (march(), {(2, 4), (4, 4)}, False),
        (march(), {(2, 4), (4, 4)}, True),
        (waltz(), {(3, 4)}, False),
        (waltz(), {(3, 4)}, True),
        (jig(), {(6, 8)}, False),
    ],
    ids=["march", "march by hand", "waltz", "waltz by hand", "jig"],
)
def test_dances_have_their_meters(make_midi, hands, meters, by_hand):
    """A jig played without a click is followed in dotted beats, and is not among them."""
    score = read(make_midi(*(played(hands) if by_hand else hands)))
    codes = {warning.code for warning in score.warnings}
    assert ("performed" in codes) == by_hand
    assert "no-meter" in codes
    assert {(bar.numerator, bar.denominator) for bar in score.bars[1:]} <= meters


@pytest.mark.parametrize(
    ("hands", "stated", "meter"),
    [
        (waltz(), "4/4", (3, 4)),
        (jig(), "4/4", (6, 8)),
        (march(), "4/4", (4, 4)),
        (waltz(), "2/4", (2, 4)),
    ],
    ids=["waltz", "jig", "march", "waltz in 2/4"],
)
def test_four_four_is_doubted_where_programs_write_it_for_something_else(
    make_midi, hands, stated, meter
):
    """A 2/4 was chosen by someone, and is believed."""
    path = make_midi(*hands, meters=[(0, stated)])
    score = read(path)
    found = {(bar.numerator, bar.denominator) for bar in score.bars}
    assert found == {meter}
    doubted = "meter-doubted" in {warning.code for warning in score.warnings}
    assert doubted == (f"{meter[0]}/{meter[1]}" != stated)
    told = read(path, meter="4/4")
    assert {(bar.numerator, bar.denominator) for bar in told.bars} == {(4, 4)}
    assert "meter-doubted" not in {warning.code for warning in told.warnings}


def test_a_few_bars_raise_no_doubt(make_midi):
    right, left = ([note for note in hand if note[0] < 24] for hand in waltz())
    score = read(make_midi(right, left, meters=[(0, "4/4")]))
    assert "meter-doubted" not in {warning.code for warning in score.warnings}


def of(notes: list[tuple[float, float, int]], *, followed: float | None = None) -> Piece:
    """A piece of notes in quarters."""
    return Piece(
        unit=UNIT,
        notes=tuple(
            PlayedNote(
                start=round(at * UNIT),
                end=round((at + length) * UNIT),
                midi=midi,
                velocity=80,
                track=0,
                channel=0,
            )
            for at, length, midi in sorted(notes)
        ),
        followed=followed,
    )


def test_likeness_is_the_autocorrelation_that_numpy_finds():
    """numpy.correlate over the rows written out by hand, lag by lag, against their mean."""
    dice = random.Random(3)
    notes = [(k / 4, dice.choice((0.25, 0.5, 2)), dice.randrange(40, 84)) for k in range(64)]
    notes = [note for note in notes if dice.random() < 0.6]
    count = 1 + max(round(4 * at) for at, _, _ in notes)
    middle = sum(midi for _, _, midi in notes) / len(notes)
    rows = np.zeros((3, count))
    for at, length, midi in notes:
        rows[:, round(4 * at)] = 1.0, max(0.0, (middle - midi) / 12), min(4.0, length)
    bar, two_bars, beat = [], [], []
    for row in rows - rows.mean(1, keepdims=True):
        whole = np.correlate(row, row, "full")[count - 1 :]
        shares = whole / whole[0] * count / (count - np.arange(count))
        after = {lag: float(shares[int(4 * lag)]) for lag in LAGS}
        bar.append(after[3] - fmean(after.values()))
        two_bars.append(after[6] - fmean(after.values()))
        beat.append(after[1] - fmean(after.values()))
    waltz_row = meter_features(of(notes))[1]
    found = waltz_row[FEATURES.index("bar: onsets") : FEATURES.index("others: onsets")]
    assert list(found) == pytest.approx([*bar, *two_bars, *beat])


def test_a_piece_too_short_for_a_lag_has_no_likeness_after_it():
    features = meter_features(of([(0, 1, 60), (1, 1, 64)]))
    first, last = FEATURES.index("bar: onsets"), FEATURES.index("middle, 6/8")
    assert np.isfinite(features).all()
    assert not features[:, first:last].any()


def test_beats_followed_by_ear_may_begin_anywhere_in_a_bar():
    """A waltz from its second beat on: a file's own first beat is likelier a downbeat than
    another, one that was found by ear is not.
    """
    right, left = waltz()
    late = [(at - 1, length, midi) for at, length, midi in (*right, *left) if at >= 1]
    counted, found = of(late), of(late, followed=0.9)
    first, *others = Listener(counted).phases(3 * UNIT)
    assert Listener(found).phases(3 * UNIT) == pytest.approx(
        [first - load("pickup", PickupTable).none, *others]
    )
    assert find_pickup(found, Signature(at=0, numerator=3, denominator=4)) == 2 * UNIT


def test_beats_followed_begin_with_the_first_note_where_a_bar_does():
    """A waltz half a beat after the first beat that was found, and from its last beat on."""
    whole = [note for hand in waltz() for note in hand]
    off = [(at + 0.5, length, midi) for at, length, midi in whole]
    found, signatures, _ = read_signatures(of(off, followed=0.9))
    assert found.notes == of(whole).notes
    assert [signature.at for signature in signatures] == [0]
    assert read_signatures(of(off))[0] == of(off)
    upbeat = of([(0, 1, 76), *[(at + 1, length, midi) for at, length, midi in whole]])
    kept, signatures, _ = read_signatures(replace(upbeat, followed=0.9))
    assert kept.notes == upbeat.notes
    assert [signature.at for signature in signatures] == [0, UNIT]


def test_another_beat_is_listened_for_where_the_usual_one_explains_little(make_midi):
    """A bass on dotted eighths against a slow beat pulls towards three for two."""
    right, left = [], []
    for bar in range(40):
        at = bar * 2.0
        figure = (0, 0.75, 1.5) if bar % 2 else (0, 0.75, 1.5, 1.75)
        right += [(at + k, 0.25, 72 + round(4 * k)) for k in figure]
        left += [(at + k, 0.5, 36 + 7 * (k > 0)) for k in (0, 0.5, 1, 1.5)]
    slow = [
        [(1.36 * (at + 0.05 * math.sin(at / 5)), length, midi) for at, length, midi in hand]
        for hand in (right, left)
    ]
    path = make_midi(*slow)
    piece = piece_in_time(path)
    assert piece.followed is not None
    assert piece.followed > 0.8


def test_the_table_has_a_weight_for_each_feature():
    table = load("heard_meters", HeardMeters)
    assert tuple(table.weights) == FEATURES
    assert meter_features(of([(0, 1, 60)])).shape == (len(METERS), len(FEATURES))


def test_a_table_without_bars_is_refused():
    with pytest.raises(ValidationError):
        HeardMeters(weights={}, longest=4, least_bars=0, doubt_bars=8, sure=0.9)


OPEN = ("joplins_maple", "joplins_entertainer", "beethovenlv_menuett-woo82", "griege_troldtog")
TRIPLE = {"beethovenlv_menuett-woo82"}


@pytest.mark.parametrize("name", OPEN)
def test_open_piano_music_played_without_a_click(make_midi, data: Path, name: str):
    """Rags, a minuet and a march of the open piano data: in two or in three."""
    score = read(data / "piano" / f"{name}.mid")
    notes = [(float(n.onset), float(n.length), n.midi) for n in score.notes]
    try:
        heard = read(make_midi(merged=played((notes, []))[0]))
    except UnreadableInput:
        pytest.fail("the beats were not followed")
    assert {bar.numerator % 3 == 0 for bar in heard.bars[1:]} == {name in TRIPLE}
