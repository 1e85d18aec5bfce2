"""What a teacher tells the reader: hands, parts, beats; and parts that sing."""

from __future__ import annotations

import mido
import pytest
from midi_by_hand import QUARTER, conductor, track_of

from arranger.music.errors import UnreadableInput, UsageError
from arranger.read import read

# A tune over a piano in two staves, four bars of 3/4.
SUNG = [
    (3.0 * bar + beat, 1.0, midi) for bar in range(4) for beat, midi in enumerate((64, 67, 65))
]
CHORDS = [
    (3.0 * bar + beat, 1.0, m) for bar in range(4) for beat in (1, 2) for m in (60, 64, 67)
]
BASS = [(3.0 * bar, 2.0, m) for bar in range(4) for m in (36, 43)]


def song(path, *, names=("", "", ""), parts=(SUNG, CHORDS, BASS)):
    """Writes three parts; returns the path."""
    midi = mido.MidiFile(type=1, ticks_per_beat=QUARTER)
    midi.tracks.append(conductor([(0, "3/4")], [], ""))
    for number, (notes, name) in enumerate(zip(parts, names, strict=True)):
        midi.tracks.append(track_of(notes, name=name, channel=number))
    midi.save(path)
    return path


def hands_of(score):
    return {(note.onset, note.midi): note.hand for note in score.notes}


def test_a_named_voice_has_the_tune_and_the_piano_keeps_two_hands(tmp_path):
    score = read(song(tmp_path / "song.mid", names=("Voice", "Piano", "Piano")))
    assert score.parts == ("Voice", "Piano", "Piano")
    assert score.voice == 0
    assert {n.hand for n in score.notes if n.track < 2} == {"right"}
    assert {n.hand for n in score.notes if n.track == 2} == {"left"}
    assert [w.code for w in score.warnings] == ["voice-part"]


def test_one_line_beside_a_piano_in_two_staves_sings(tmp_path):
    assert read(song(tmp_path / "song.mid")).voice == 0


def test_three_lines_are_no_song(tmp_path):
    lines = (SUNG, [(at, 1.0, midi - 9) for at, _, midi in SUNG], BASS[::2])
    assert read(song(tmp_path / "trio.mid", parts=lines)).voice is None


def test_melody_and_accompaniment_are_two_hands(make_midi, march):
    score = read(make_midi(*march, names=("Melody", "Accompaniment"), meters=[(0, "2/4")]))
    assert score.voice == 0
    assert {(n.track, n.hand) for n in score.notes} == {(0, "right"), (1, "left")}


def test_hands_from_a_note_up(make_midi, march):
    path = make_midi(merged=[*march[0], *march[1]], meters=[(0, "2/4")])
    score = read(path, hands="C5")
    assert all((note.hand == "right") == (note.midi >= 72) for note in score.notes)
    assert score.hands_from == "teacher"
    assert "hands-split" not in {w.code for w in score.warnings}


def test_hands_by_part(tmp_path):
    score = read(song(tmp_path / "song.mid"), hands="1/2,3")
    assert {(n.track, n.hand) for n in score.notes} == {(0, "right"), (1, "left"), (2, "left")}


def test_hands_heard_although_the_parts_say_otherwise(make_midi, march):
    right, left = march
    path = make_midi([*right, *left[::2]], left[1::2], meters=[(0, "2/4")])
    told = read(path, hands="heard")
    assert {n.midi for n in told.notes if n.hand == "right"} == {n[2] for n in right}


def test_hands_bar_by_bar_from_a_file(make_midi, march, tmp_path):
    path = make_midi(*march, meters=[(0, "2/4")])
    rows = tmp_path / "hands.txt"
    rows.write_text("# the tune crosses\n2 left\n5-6 F#4  # the rest is right\n", "utf-8")
    score, plain = read(path, hands=str(rows)), read(path)
    for note, before in zip(score.notes, plain.notes, strict=False):
        bar = note.onset // 2 + 1
        if bar == 2:
            assert note.hand == "left"
        elif bar in (5, 6):
            assert note.hand == ("right" if note.midi >= 66 else "left")
        else:
            assert note.hand == before.hand


@pytest.mark.parametrize("hands", ["no such file", "1/1", "1/7", "H4", "0/1", "1/2/3"])
def test_hands_that_mean_nothing_are_refused(make_midi, march, hands):
    with pytest.raises(UsageError, match="--hands"):
        read(make_midi(*march, meters=[(0, "2/4")]), hands=hands)


@pytest.mark.parametrize("line", ["2", "left", "3-x left", "2 up", "900 left"])
def test_lines_that_tell_no_hand_are_refused(make_midi, march, tmp_path, line):
    rows = tmp_path / "hands.txt"
    rows.write_text(line + "\n", "utf-8")
    with pytest.raises(UsageError):
        read(make_midi(*march, meters=[(0, "2/4")]), hands=str(rows))


# ---- beats ----------------------------------------------------------------------------


def rubato(march, path):
    """The march as a hand plays it without a click; returns the file and its beats (s)."""
    beats = [1.0]
    for beat in range(20):
        beats.append(beats[-1] + 0.6 + 0.15 * (beat % 5 in (2, 3)) - 0.002 * beat)

    def seconds(at):
        whole = int(at)
        return beats[whole] + (at - whole) * (beats[whole + 1] - beats[whole])

    played = [
        [(2 * seconds(at), 2 * (seconds(at + n) - seconds(at)), m) for at, n, m in part]
        for part in march
    ]
    midi = mido.MidiFile(type=1, ticks_per_beat=QUARTER)  # 120 a minute: 2 quarters a second
    midi.tracks.append(conductor([], [], ""))
    for part in played:
        midi.tracks.append(track_of(part))
    midi.save(path)
    return path, beats


def test_tapped_beats_are_followed(march, tmp_path):
    path, beats = rubato(march, tmp_path / "rubato.mid")
    taps = tmp_path / "taps.txt"
    loose = [f"{beat + 0.03 * (-1) ** k:.3f}" for k, beat in enumerate(beats[:17])]
    taps.write_text("# tapped with the foot\n" + "\n".join(loose) + "\n", "utf-8")
    score = read(path, meter="2/4", beats=taps)
    written = sorted((at, -midi) for part in march for at, _, midi in part)
    first = score.notes[0].onset
    assert [(n.onset - first, -n.midi) for n in score.notes] == written
    assert score.followed is not None
    assert score.followed > 0.9
    assert len(score.tempos) > 1


def test_in_six_eight_a_tap_is_a_dotted_quarter(make_midi, tmp_path):
    jig = [(1.5 * beat + k / 2, 0.5, 72 + k) for beat in range(12) for k in range(3)]
    path = make_midi(jig, meters=[(0, "4/4")])
    taps = tmp_path / "taps.txt"
    taps.write_text("\n".join(f"{0.75 * beat}" for beat in range(12)), "utf-8")
    score = read(path, meter="6/8", beats=taps)
    assert [n.onset for n in score.notes] == [at for at, _, _ in jig]
    assert score.tempo == 120


@pytest.mark.parametrize(
    "text",
    ["", "1\n2\n", "1\n2\nx\n3\n4", "1\n2\n1.5\n3\n4", "1\n9\n10\n11\n12", "90\n91\n92\n93"],
)
def test_taps_that_are_no_beats_are_refused(make_midi, march, tmp_path, text):
    taps = tmp_path / "taps.txt"
    taps.write_text(text, "utf-8")
    with pytest.raises(UsageError):
        read(make_midi(*march, meters=[(0, "2/4")]), beats=taps)


def test_a_tempo_hint_chooses_the_level_of_the_beat(march, tmp_path):
    path, _ = rubato(march, tmp_path / "rubato.mid")
    slow, fast = read(path, tempo_hint=90), read(path, tempo_hint=180)
    assert slow.tempo < 1.4 * 90
    assert fast.tempo > 180 / 1.4
    with pytest.raises(UsageError, match="--tempo-hint"):
        read(path, tempo_hint=1)


def test_noise_is_refused_and_the_help_named(make_midi):
    dice = [(0.731 * k * (k % 7 + 1) % 61, 0.3, 60 + k % 13) for k in range(300)]
    with pytest.raises(UnreadableInput, match="--tempo-hint"):
        read(make_midi(merged=dice))
