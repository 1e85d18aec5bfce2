"""Hands told apart where the file does not."""

from __future__ import annotations

from pathlib import Path

import pytest

from arranger.read import read, split
from arranger.read.hand_features import TOTAL
from arranger.read.hands import find_hands, struck
from arranger.read.reading import gridded_piece
from arranger.read.split import (
    SplitTable,
    Struck,
    backwards,
    best_counts,
    border,
    grouped,
    parted,
    split_hands,
)
from arranger.read.table import reading_table
from arranger.tables import load


def test_the_border_of_two_registers():
    assert border([36, 40, 43, 72, 76, 79]) == 57.5


def test_a_stride_bass_under_a_syncopated_tune(make_midi):
    """Low notes, middle chords, and a tune that rests while the left hand plays on."""
    tune, stride = [], []
    for bar in range(16):
        at = 2.0 * bar
        steps = ((0.25, 0.25, 76), (0.5, 0.5, 79), (1, 0.25, 76), (1.25, 0.75, 72))
        tune += [(at + onset, length, midi + 2 * (bar % 2)) for onset, length, midi in steps]
        stride += [(at, 0.5, 36), (at, 0.5, 48), (at + 1, 0.5, 43), (at + 1, 0.5, 31)]
        stride += [(at + k, 0.5, midi) for k in (0.5, 1.5) for midi in (52, 55, 60)]
    score = read(make_midi(merged=tune + stride, meters=[(0, "2/4")]))
    right = {(note.onset, note.midi) for note in score.notes if note.hand == "right"}
    assert right == {(onset, midi) for onset, _, midi in tune}


def test_jitter_and_tempo_do_not_upset_the_hands(make_midi, march):
    straight = read(make_midi(merged=[*march[0], *march[1]], meters=[(0, "2/4")]))
    loose = [
        (at + 0.01 * (k % 3), length * 0.9, midi)
        for k, (at, length, midi) in enumerate([*march[0], *march[1]])
    ]
    played = read(make_midi(merged=loose, meters=[(0, "2/4")], tempos=[(0, 66)]))
    assert [(n.midi, n.hand) for n in played.notes] == [
        (n.midi, n.hand) for n in straight.notes
    ]


MARCH = [
    Struck(onset, 0.5, midi)
    for onset, chord in enumerate([(76, 48), (72, 64, 55), (74, 60, 43), (71, 67, 50)] * 4)
    for midi in chord
]


def test_music_turned_round_twice_is_as_it_was():
    groups = grouped(MARCH)
    turned = backwards(groups)
    assert [group.pitches for group in turned] == [group.pitches for group in groups[::-1]]
    assert turned[0].onset == 0
    assert backwards(turned) == groups
    assert backwards([]) == []


def test_what_was_heard_from_the_end_decides_where_the_other_hearing_does_not_know():
    learnt = load("hands", SplitTable).hearings()
    deaf = learnt._replace(onward=[0.0] * TOTAL)
    groups = grouped(MARCH)
    heard = best_counts(backwards(groups), learnt.backward, learnt.backward_beam)[::-1]
    assert set(heard) != {0}
    assert parted(groups, deaf) == heard
    assert parted(groups, deaf._replace(price=0.0)) != heard


def test_a_piece_of_very_many_notes_is_heard_once(monkeypatch):
    monkeypatch.setattr(split, "TWICE", len(MARCH) - 1)
    by = load("hands", SplitTable).hearings()
    deaf = by._replace(onward=[0.0] * TOTAL)
    groups = grouped(MARCH)
    assert parted(groups, deaf) == best_counts(groups, deaf.onward, by.beam)


@pytest.mark.parametrize(
    ("name", "least"),
    [
        ("joplins_entertainer", 0.985),
        ("kuhlauf_sonatine-1-andante", 0.965),
    ],
)
def test_open_piano_data_with_its_tracks_merged(data: Path, name: str, least: float):
    """The aims are those of the project; kept-back figures stand in tables/hands.toml."""
    piece, gridded = gridded_piece(data / "piano" / f"{name}.mid")
    known = find_hands(piece, gridded.notes, reading_table().hands).hands
    told = split_hands(struck(gridded.notes, piece.unit))
    right = sum(a == b for a, b in zip(known, told, strict=True))
    assert right >= least * len(known)


def test_open_piano_data_lies_on_the_grid(data: Path):
    _, gridded = gridded_piece(data / "piano" / "joplins_original.mid")
    assert gridded.quantised
    assert gridded.miss == 0
    assert {note.ornament for note in gridded.notes} == {None, "grace"}
