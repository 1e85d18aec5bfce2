"""practice.mid: counted in, one channel a string, swung, at the student's tempo."""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO

import mido
import pytest
from render_tunes import TUNES, alternating_bass, arrangement_of, bars_of, little_rag, waltz

from arranger.music.arrangement import Arrangement
from arranger.render.midi import TICKS, practice_midi


def _read(arrangement: Arrangement) -> mido.MidiFile:
    return mido.MidiFile(file=BytesIO(practice_midi(arrangement)), charset="utf-8")


def _strokes(file: mido.MidiFile) -> list[tuple[int, int, int, int]]:
    """(start tick, end tick, channel, pitch) of every note."""
    strokes = []
    for track in file.tracks:
        now, sounding = 0, {}
        for message in track:
            now += message.time
            if message.type == "note_on":
                assert (message.channel, message.note) not in sounding
                sounding[message.channel, message.note] = now
            elif message.type == "note_off":
                start = sounding.pop((message.channel, message.note))
                strokes.append((start, now, message.channel, message.note))
        assert not sounding
    return sorted(strokes)


@pytest.mark.parametrize("tune", TUNES)
def test_every_note_sounds_on_the_channel_of_its_string(tune) -> None:  # type: ignore[no-untyped-def]
    strokes = [stroke for stroke in _strokes(_read(tune())) if stroke[2] != 9]
    assert sorted((channel + 1, pitch) for _, _, channel, pitch in strokes) == sorted(
        (note.string, note.midi) for note in tune().notes
    )


def test_four_clicks_before_a_bar_of_four() -> None:
    strokes = _strokes(_read(alternating_bass()))
    clicks = [start for start, _, channel, _ in strokes if channel == 9]
    assert clicks == [0, TICKS, 2 * TICKS, 3 * TICKS]
    assert min(start for start, _, channel, _ in strokes if channel != 9) == 4 * TICKS


def test_a_pick_up_comes_in_where_its_bar_would_reach_it() -> None:
    """Three beats counted, then one, two of the pick-up's own bar; it begins on three."""
    strokes = _strokes(_read(waltz()))
    assert len([stroke for stroke in strokes if stroke[2] == 9]) == 5
    assert min(start for start, _, channel, _ in strokes if channel != 9) == 5 * TICKS


def test_the_second_eighth_of_a_swung_pair_comes_late() -> None:
    """At 1.7 to 1 the off-beat of a quarter comes after 1.7 / 2.7 of it."""
    starts = {start for start, _, channel, _ in _strokes(_read(little_rag())) if channel != 9}
    assert 4 * TICKS + round(TICKS * 17 / 27) in starts
    assert 4 * TICKS + TICKS // 2 not in starts
    assert 5 * TICKS in starts


def test_without_swing_onsets_are_exact() -> None:
    strokes = _strokes(_read(alternating_bass()))
    notes = alternating_bass().notes
    assert sorted(start for start, _, channel, _ in strokes if channel != 9) == sorted(
        int((4 + note.onset) * TICKS) for note in notes
    )


def test_the_tempo_is_the_students_in_written_quarters() -> None:
    tempo = next(m.tempo for m in _read(little_rag()).tracks[0] if m.type == "set_tempo")
    assert mido.tempo2bpm(tempo) == pytest.approx(126, abs=0.01)


def test_every_string_is_a_nylon_guitar() -> None:
    programs = [m for t in _read(waltz()).tracks for m in t if m.type == "program_change"]
    assert [m.channel for m in programs] == [0, 1, 2, 3, 4, 5]
    assert {m.program for m in programs} == {24}


def test_odd_titles_become_one_printable_line() -> None:
    titles = {"A\x00 tune\n<b>\u2028ő\ud800": "A tune <b> ő", "x" * 5000: "x" * 200}
    for title, printed in titles.items():
        piece = replace(alternating_bass(), title=title)
        name = next(m.name for m in _read(piece).tracks[0] if m.type == "track_name")
        assert name == printed


def test_a_very_slow_tempo_still_fits_the_format() -> None:
    piece = arrangement_of("Slow", bars_of("4/4", 1), "0 1 1:0 0 i m", "0 C", student=1.0)
    assert _strokes(_read(piece))


@pytest.mark.parametrize("tune", TUNES)
def test_the_same_bytes_each_time(tune) -> None:  # type: ignore[no-untyped-def]
    assert practice_midi(tune()) == practice_midi(tune())
