"""Hands from tracks, the prevailing tempo, title and composer."""

from __future__ import annotations

import hashlib
from pathlib import Path

import mido
import pytest

from arranger.read import read
from arranger.read.title import title_from_name

TUNE = [(k, 1, 72 + k % 4) for k in range(8)]
BASS = [(k, 1, 48 - k % 3) for k in range(8)]


def codes(score):
    return {warning.code for warning in score.warnings}


def hand_of(score, midi):
    return {note.hand for note in score.notes if note.midi == midi}


def test_named_tracks_are_believed_where_hands_cross(make_midi):
    crossing = [*TUNE, (8, 1, 40)]
    score = read(make_midi(crossing, [*BASS, (8, 1, 76)], meters=[(0, "4/4")]))
    assert hand_of(score, 40) == {"right"}
    assert hand_of(score, 76) == {"left"}


def test_tracks_with_swapped_names_are_swapped_back(make_midi):
    score = read(make_midi(BASS, TUNE, meters=[(0, "4/4")]))
    assert hand_of(score, 72) == {"right"}
    assert "hands-swapped" in codes(score)


@pytest.mark.parametrize("names", [("", ""), ("Piano", "Piano"), ("droite", "gauche")])
def test_two_tracks_of_any_name_are_two_hands(make_midi, names):
    score = read(make_midi(TUNE, BASS, meters=[(0, "4/4")], names=names))
    assert hand_of(score, 72) == {"right"}
    assert hand_of(score, 48) == {"left"}
    assert "hands-split" not in codes(score)


def test_one_merged_track_is_split_and_says_so(make_midi):
    score = read(make_midi(merged=[*TUNE, *BASS], meters=[(0, "4/4")]))
    assert {n.hand for n in score.notes if n.midi >= 72} == {"right"}
    assert {n.hand for n in score.notes if n.midi <= 48} == {"left"}
    assert "hands-split" in codes(score)


def test_a_single_line_is_a_warning(make_midi):
    score = read(make_midi(merged=TUNE, meters=[(0, "4/4")]))
    assert "single-voice" in codes(score)
    assert {note.hand for note in score.notes} == {"right"}


def test_the_tempo_that_holds_longest_prevails(make_midi):
    tempos = [(0, 80), (2, 100), (7, 60)]
    score = read(make_midi(TUNE, BASS, meters=[(0, "4/4")], tempos=tempos))
    assert (score.tempo, score.tempo_stated) == (100, True)
    assert [round(mark.quarters) for mark in score.tempos] == [80, 100, 60]


def test_no_tempo_is_120_and_not_stated(make_midi):
    score = read(make_midi(TUNE, BASS, meters=[(0, "4/4")]))
    assert (score.tempo, score.tempo_stated) == (120, False)


def test_a_stated_tempo_is_kept_when_an_exporter_falls_back_to_the_default(make_midi):
    """A first tempo for less than a bar, then 120 again and again."""
    tempos = [(0, 100), (0.75, 120), (4, 120)]
    score = read(make_midi(TUNE, BASS, meters=[(0, "4/4")], tempos=tempos))
    assert score.tempo == 100
    assert "tempo-default" in codes(score)


@pytest.mark.parametrize(
    ("title", "expected"),
    [
        ("Winter Waltz", "Winter Waltz"),
        ("  Zwei\tLieder\n", "Zwei Lieder"),
        ("Piano", "My Piece"),
        ("Soprano", "My Piece"),
        ("MusicXML Part", "My Piece"),
        ("Guitar 2", "My Piece"),
        ("Guitar Rag", "Guitar Rag"),
        ("Violin Concerto", "Violin Concerto"),
        ("", "My Piece"),
        ("\x1b[31mRed\x07", "[31mRed"),
    ],
)
def test_title_from_the_first_track_else_the_file_name(make_midi, title, expected):
    path = make_midi(TUNE, BASS, meters=[(0, "4/4")], title=title, file="my_piece.mid")
    assert read(path).title == expected


@pytest.mark.parametrize(
    ("name", "title"),
    [
        ("tin_kettle_rag.mid", "Tin Kettle Rag"),
        ("the_maid_of_the_mill.mid", "The Maid of the Mill"),
        ("maple-leaf.mid", "Maple Leaf"),
        ("song-without-words no 2.mid", "Song-without-words No 2"),
        ("sonata_iv_largo.mid", "Sonata IV Largo"),
        ("élégie.mid", "Élégie"),
        ("BWV_846a.mid", "BWV 846a"),
        ("___.mid", "Untitled"),
    ],
)
def test_a_file_name_reads_as_a_title(name, title):
    assert title_from_name(Path(name)) == title


def test_a_title_in_unicode_survives(tmp_path):
    midi = mido.MidiFile(charset="utf-8")
    track = mido.MidiTrack([mido.MetaMessage("track_name", name="Prélude – 春")])
    for note in (60, 64):
        track.append(mido.Message("note_on", note=note))
    for note in (60, 64):
        track.append(mido.Message("note_off", note=note, time=480))
    midi.tracks.append(track)
    midi.save(tmp_path / "spring.mid")
    assert read(tmp_path / "spring.mid").title == "Prélude – 春"


def test_the_composer_if_the_file_says_so(tmp_path):
    midi = mido.MidiFile()
    track = mido.MidiTrack([mido.MetaMessage("text", text="Composed by Ann O. Nymous")])
    track.append(mido.Message("note_on", note=60))
    track.append(mido.Message("note_off", note=60, time=480))
    midi.tracks.append(track)
    midi.save(tmp_path / "x.mid")
    assert read(tmp_path / "x.mid").composer == "Ann O. Nymous"


def test_sha256_is_that_of_the_file(make_midi):
    path = make_midi(TUNE, BASS, meters=[(0, "4/4")])
    assert read(path).sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
