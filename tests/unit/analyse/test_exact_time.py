"""Ticks measure every onset exactly, and bars know their place in the meter."""

from __future__ import annotations

from fractions import Fraction

from little_scores import score_of

from arranger.analyse.timeline import timeline


def test_triplets_and_sixteenths_fall_on_ticks() -> None:
    line = timeline(score_of("C5:1/3 D5:1/3 E5:1/3 F5:1/4 G5:3/4"))
    assert line.unit % 3 == 0
    assert line.unit % 4 == 0
    assert [line.beats(int(onset)) for onset in line.onset] == [
        0,
        Fraction(1, 3),
        Fraction(2, 3),
        1,
        Fraction(5, 4),
    ]


def test_a_pick_up_ends_where_its_meter_ends() -> None:
    line = timeline(score_of("G4:1/2 C5:2", meter=(2, 4), pickup="1/2"))
    assert line.beats(line.measures[0].phase) == Fraction(3, 2)
    assert line.measures[1].phase == 0
    assert line.beats(line.position(0)) == Fraction(3, 2)


def test_six_eight_counts_dotted_beats_and_three_four_does_not() -> None:
    six = timeline(score_of("C5:3", meter=(6, 8))).measures[0]
    three = timeline(score_of("C5:3", meter=(3, 4))).measures[0]
    assert six.compound
    assert not three.compound
    assert six.beat * 2 == three.beat * 3
