"""Damaged files: each mend has a name and a place. Bytes in hex, as the format counts them."""

from __future__ import annotations

import pytest

from arranger.music.errors import UnreadableInput
from arranger.read import read

HEADER = "4D546864 00000006 0000 0001 0060"  # MThd, 6 bytes, type 0, 1 track, 96 a quarter
NOTE_60 = "00 903C40 60 803C40"  # strike middle C, a quarter later let go
NOTE_64 = "00 904040 60 804040"
END = "00 FF2F00"


def track(events: str, *, length: int | None = None) -> str:
    body = bytes.fromhex(events)
    stated = len(body) if length is None else length
    return f"4D54726B {stated:08X} {body.hex()}"


def read_hex(tmp_path, text):
    path = tmp_path / "piece.mid"
    path.write_bytes(bytes.fromhex(text))
    return read(path)


def codes(score):
    return {w.code for w in score.warnings} - {"no-meter", "single-voice", "hands-split"}


def pitches(score):
    return [note.midi for note in score.notes]


@pytest.mark.parametrize(
    ("code", "text"),
    [
        ("junk-before-header", "DEADBEEF" + HEADER + track(NOTE_60 + NOTE_64 + END)),
        (
            "junk-before-header",  # RIFF....RMIDdata....
            "52494646 00000040 524D4944 64617461 00000030"
            + HEADER
            + track(NOTE_60 + NOTE_64 + END),
        ),
        ("header-missing", track(NOTE_60 + NOTE_64 + END)),
        (
            "division-zero",
            "4D546864 00000006 0000 0001 0000" + track(NOTE_60 + NOTE_64 + END),
        ),
        (
            "track-count",
            "4D546864 00000006 0001 0007 0060" + track(NOTE_60 + NOTE_64 + END),
        ),
        (
            "type-unknown",
            "4D546864 00000006 0009 0001 0060" + track(NOTE_60 + NOTE_64 + END),
        ),
        ("track-truncated", HEADER + track(NOTE_60 + NOTE_64 + "00 90", length=40)),
        ("status-skipped", HEADER + track("00 FD" + NOTE_60 + NOTE_64 + END)),
        ("status-skipped", HEADER + track("00 F17F" + NOTE_60 + NOTE_64 + END)),
        ("data-without-status", HEADER + track("00 3C" + NOTE_60 + NOTE_64 + END)),
        ("meter-dropped", HEADER + track("00 FF5804 00021808" + NOTE_60 + NOTE_64 + END)),
        ("key-dropped", HEADER + track("00 FF5902 0900" + NOTE_60 + NOTE_64 + END)),
        ("key-dropped", HEADER + track("00 FF5902 0005" + NOTE_60 + NOTE_64 + END)),
        ("tempo-dropped", HEADER + track("00 FF5103 000000" + NOTE_60 + NOTE_64 + END)),
        ("delta-clamped", HEADER + track(NOTE_60 + "FFFFFF7F 904040 60 804040" + END)),
        ("note-not-ended", HEADER + track("00 903C40" + "60 904040 60 804040" + END)),
    ],
)
def test_each_mend_keeps_the_notes_and_is_told(tmp_path, code, text):
    score = read_hex(tmp_path, text)
    assert pitches(score) == [60, 64]
    assert code in codes(score)


def test_a_sound_file_is_not_mended(tmp_path):
    assert codes(read_hex(tmp_path, HEADER + track(NOTE_60 + NOTE_64 + END))) == set()


def test_a_mend_says_where(tmp_path):
    score = read_hex(tmp_path, HEADER + track(NOTE_60 + "00 FD" + NOTE_64 + END))
    (warning,) = [w for w in score.warnings if w.code == "status-skipped"]
    assert "track 1, quarter 1" in warning.text
    assert warning.bar == 1


def test_running_status_is_read(tmp_path):
    """90 3C 40, then 3C 00 without a status byte: velocity 0 lets go."""
    score = read_hex(tmp_path, HEADER + track("00 903C40 60 3C00 00 4040 60 4000" + END))
    assert [(n.midi, n.onset, n.length) for n in score.notes] == [(60, 0, 1), (64, 1, 1)]


def test_a_long_header_is_honoured_and_alien_chunks_are_skipped(tmp_path):
    header = "4D546864 00000008 0000 0001 0060 AAAA"
    alien = "58585858 00000003 414243"  # XXXX, three bytes
    assert pitches(read_hex(tmp_path, header + alien + track(NOTE_60 + END))) == [60]


def test_a_wrong_track_length_does_not_cost_the_next_track(tmp_path):
    two = "4D546864 00000006 0001 0002 0060"
    text = two + track(NOTE_60 + END, length=500) + track(NOTE_64 + END)
    assert pitches(read_hex(tmp_path, text)) == [64, 60]


def test_tracks_of_a_type_2_file_are_played_in_turn(tmp_path):
    header = "4D546864 00000006 0002 0002 0060"
    score = read_hex(tmp_path, header + track(NOTE_60 + END) + track(NOTE_64 + END))
    assert [(n.midi, n.onset) for n in score.notes] == [(60, 0), (64, 4)]
    assert "tracks-in-turn" in codes(score)


def test_two_strikes_that_share_one_let_go(tmp_path):
    """on, on, off: the first ends where the second begins."""
    score = read_hex(tmp_path, HEADER + track("00 903C40 60 903C40 60 803C40" + END))
    assert [(n.onset, n.length) for n in score.notes] == [(0, 1), (1, 1)]


@pytest.mark.parametrize(
    "name", ["春", "エリーゼのために", "月光", "ﾊﾞｯﾊ", "Piano ソナタ", "曲 1"]
)
def test_japanese_titles_of_old_files(tmp_path, name):
    text = HEADER + track(f"00 {title(name.encode('cp932'))}" + NOTE_60 + NOTE_64 + END)
    assert read_hex(tmp_path, text).title == name


@pytest.mark.parametrize(
    "name",
    [
        "Für Elise",
        "Prélude",
        "À la claire fontaine",
        "L’été",
        "Canción",
        "Waltz nº 2",
        "Élégie",
    ],
)
def test_western_titles_of_old_files(tmp_path, name):
    text = HEADER + track(f"00 {title(name.encode('cp1252'))}" + NOTE_60 + NOTE_64 + END)
    assert read_hex(tmp_path, text).title == name


def title(text: bytes) -> str:
    """A track name as hex."""
    return f"FF03{len(text):02X}{text.hex()}"


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("", "empty"),
        ("6E6F74206D757369", "not a MIDI file"),
        (HEADER, "no tracks"),
        (HEADER + track(END), "no notes"),
        (HEADER + track("00 993C40 60 893C40" + END), "drums only"),
    ],
)
def test_what_is_no_music_is_refused_in_words(tmp_path, text, what):
    with pytest.raises(UnreadableInput, match=what) as refusal:
        read_hex(tmp_path, text)
    assert refusal.value.exit_code == 3
    assert refusal.value.where == "piece.mid"
    assert refusal.value.next_step


def test_a_missing_file_is_refused_in_words(tmp_path):
    with pytest.raises(UnreadableInput, match="cannot be opened"):
        read(tmp_path / "none.mid")


def test_a_folder_is_refused_in_words(tmp_path):
    with pytest.raises(UnreadableInput, match="cannot be opened"):
        read(tmp_path)


def test_an_hour_of_music_is_refused(tmp_path):
    """120 waits of 256 quarters at 120 to the minute: over four hours."""
    rest = "8140"  # 192 ticks = 2 quarters
    long = "00 FF5103 07A120" + ("8180 00 903C40" + rest + "803C40") * 140
    with pytest.raises(UnreadableInput, match="minutes"):
        read_hex(tmp_path, HEADER + track(long + END))


def read_or_told_what_next(path) -> bool:
    try:
        return bool(read(path).notes)
    except UnreadableInput as refusal:
        return bool(refusal.next_step)


def test_every_odd_file_is_read_or_refused_in_words(data):
    files = sorted((data / "odd-midi").iterdir())
    assert [path.name for path in files if not read_or_told_what_next(path)] == []
