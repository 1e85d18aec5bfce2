"""Bars as a musician would print them."""

from __future__ import annotations

from fractions import Fraction

from arranger.read import read

HALF = Fraction(1, 2)


def bars_of(path):
    return [(bar.number, str(bar.length)) for bar in read(path).bars]


def test_plain_bars_are_counted_from_one(make_midi, march):
    score = read(make_midi(*march, meters=[(0, "2/4")]))
    assert [bar.number for bar in score.bars] == list(range(1, 9))
    assert score.end == 16
    assert {(bar.numerator, bar.denominator) for bar in score.bars} == {(2, 4)}


def test_a_short_first_signature_is_a_pickup_and_bar_0(make_midi):
    right = [(0, 0.5, 67), *[(0.5 + k, 1, 72) for k in range(8)]]
    left = [(0.5 + k, 1, 48) for k in range(8)]
    path = make_midi(right, left, meters=[(0, "1/8"), (0.5, "2/4")])
    assert bars_of(path) == [(0, "1/2"), (1, "2"), (2, "2"), (3, "2"), (4, "2")]


def test_halves_of_a_bar_at_a_repeat_become_one_bar(make_midi):
    """6/8 with a pick-up, repeated: ... 5/8 :| 1/8 ... is one bar of 6/8 when played."""
    right = [(k / 2, 0.5, 72) for k in range(25)]
    left = [(0.5 + 1.5 * k, 1.5, 48) for k in range(8)]
    meters = [(0, "1/8"), (0.5, "6/8"), (3.5, "5/8"), (6.0, "1/8"), (6.5, "6/8")]
    score = read(make_midi(right, left, meters=meters))
    assert [bar.length for bar in score.bars] == [HALF, 3, 3, 3, 3]
    assert {(bar.numerator, bar.denominator) for bar in score.bars} == {(6, 8)}


def test_a_bar_in_three_pieces_becomes_one_bar(make_midi):
    """3/4 written as 1/4 and two bars of 2/8 each: no meter changes for so little."""
    right = [(k, 1, 72) for k in range(27)]
    left = [(3.0 * k, 3, 48) for k in range(9)]
    meters = [(0, "3/4"), (6, "1/4"), (7, "2/8"), (9, "3/4")]
    score = read(make_midi(right, left, meters=meters))
    assert [bar.length for bar in score.bars] == [3] * 9
    assert {(bar.numerator, bar.denominator) for bar in score.bars} == {(3, 4)}


def test_a_bar_stretched_by_grace_notes_keeps_its_meter_and_shifts_nothing(make_midi):
    """25/32 in 3/4: a thirty-second too long because of grace notes."""
    stretched = 6.125
    right = [(k, 1, 72) for k in range(6)]
    right += [(stretched + k, 1, 74) for k in range(6)]
    left = [(0, 3, 48), (3, 3, 48), (stretched, 3, 50), (stretched + 3, 3, 50)]
    meters = [(0, "3/4"), (3, "25/32"), (stretched, "3/4")]
    score = read(make_midi(right, left, meters=meters))
    assert [bar.length for bar in score.bars] == [3, 3, 3, 3]
    assert [note.onset for note in score.notes if note.midi == 74] == [6, 7, 8, 9, 10, 11]


def test_a_volta_bar_half_a_beat_long_counts_as_its_surroundings(make_midi):
    right = [(k / 2, 0.5, 72) for k in range(31)]
    left = [(0, 3, 48), (3, 3, 48), (6, 3.5, 48), (9.5, 3, 48), (12.5, 3, 48)]
    meters = [(0, "3/4"), (6, "7/8"), (9.5, "3/4")]
    score = read(make_midi(right, left, meters=meters))
    assert [str(bar.length) for bar in score.bars] == ["3", "3", "7/2", "3", "3"]
    assert {(bar.numerator, bar.denominator) for bar in score.bars} == {(3, 4)}


def test_a_plain_longer_bar_is_a_change_of_meter(make_midi):
    right = [(k, 1, 72) for k in range(11)]
    left = [(0, 2, 48), (2, 2, 48), (4, 3, 48), (7, 2, 48), (9, 2, 48)]
    score = read(make_midi(right, left, meters=[(0, "2/4"), (4, "3/4"), (7, "2/4")]))
    meters = [f"{bar.numerator}/{bar.denominator}" for bar in score.bars]
    assert meters == ["2/4", "2/4", "3/4", "2/4", "2/4"]


def test_a_pickup_that_the_file_does_not_state_is_heard(make_midi, march):
    right, left = march
    shifted_right = [(0, 0.5, 67), *[(at + 0.5, length, midi) for at, length, midi in right]]
    shifted_left = [(at + 0.5, length, midi) for at, length, midi in left]
    score = read(make_midi(shifted_right, shifted_left, meters=[(0, "2/4")]))
    assert (score.bars[0].number, score.bars[0].length) == (0, HALF)
    assert "pickup-found" in {warning.code for warning in score.warnings}


def test_no_pickup_is_heard_where_there_is_none(make_midi, march):
    score = read(make_midi(*march, meters=[(0, "2/4")]))
    assert "pickup-found" not in {warning.code for warning in score.warnings}


def test_bars_cover_the_piece_without_gaps(make_midi, march):
    score = read(make_midi(*march, meters=[(0, "2/4"), (6, "3/4"), (12, "2/4")]))
    assert score.bars[0].start == 0
    for before, after in zip(score.bars, score.bars[1:], strict=False):
        assert before.end == after.start
    assert all(note.end <= score.end for note in score.notes)


def test_a_file_without_meter_says_so(make_midi, march):
    score = read(make_midi(*march))
    assert "no-meter" in {warning.code for warning in score.warnings}


def test_whole_bars_of_silence_before_the_piece_are_left_out(make_midi, march):
    right, left = ([(at + 8, length, midi) for at, length, midi in hand] for hand in march)
    score = read(make_midi(right, left, meters=[(0, "2/4")]))
    assert score.notes[0].onset == 0
    assert len(score.bars) == 8
    assert "silence-cut" in {warning.code for warning in score.warnings}
