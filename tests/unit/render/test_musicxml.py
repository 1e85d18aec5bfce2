"""The MusicXML score is valid and says what the arrangement says, read by three others."""

from __future__ import annotations

import base64
import warnings
from collections import Counter
from fractions import Fraction
from functools import partial
from io import BytesIO

import mido
import music21
import partitura
import pytest
import verovio
from lxml import etree
from render_tunes import (
    TUNES,
    alternating_bass,
    arrangement_of,
    bars_of,
    jig,
    little_rag,
    twice,
    waltz,
)

from arranger.music.arrangement import Arrangement
from arranger.read import tablature
from arranger.render.fold import folded
from arranger.render.musicxml import musicxml_score
from arranger.render.written import in_notatable_time, in_written_time


def many_values() -> Arrangement:
    """Awkward lengths: dots, triplets of sixteenths, notes across bar lines, an inner voice."""
    return arrangement_of(
        "Values",
        bars_of("4/4", 3),
        """
        0    4   6:0 0 p b
        1/6  1/6 1:0 0 m m
        1/3  5/3 1:1 1 m m
        1    1/2 3:0 0 i i
        7/4  1/4 3:2 2 i i
        2    5/8 2:0 0 i m
        21/8 1/8 2:1 1 i m
        3    9/2 1:3 4 m m
        5    1   4:0 0 p b
        13/2 1/2 3:2 2 i i
        39/5 1/5 2:3 4 i m
        8    4   5:1 1 p b
        """,
        "0 Em 4 D/F# 25/4 N.C. 8 A#dim7 10 G7sus4 11 Gxyz",
        key="Em",
    )


def shared_stems() -> Arrangement:
    """Inner notes that begin where a note is tied over to their moment."""
    return arrangement_of(
        "Shared",
        bars_of("4/4", 2),
        "0 1 6:3 3 p b\n1/2 3/2 1:0 0 a m\n1 1 4:2 2 i i\n1 1 6:0 0 p b\n"
        "2 1/2 1:3 4 a m\n5/2 1 1:0 0 m m\n3 1/2 3:0 0 i i\n7/2 3/2 1:3 4 a m\n"
        "4 1 2:0 0 m i\n4 1 3:0 0 i i\n5 3 1:0 0 a m",
        "0 Em",
    )


def with_the_thumb() -> Arrangement:
    """Inner notes on the thumb's stem under a tune that is held, over a bar line too."""
    return arrangement_of(
        "With the thumb",
        bars_of("4/4", 2),
        "0 1 6:3 3 p b\n0 3/2 1:0 0 a m\n1 1 4:0 0 p b\n1 1/2 3:0 0 i i\n1 1/2 2:0 0 m i\n"
        "2 1 6:3 3 p b\n2 1 1:3 4 a m\n3 1 4:0 0 p b\n7/2 5/2 1:0 0 a m\n"
        "4 1 6:0 0 p b\n4 1 3:0 0 i i\n5 1 4:2 2 p b\n6 2 6:0 0 p b\n6 2 1:0 0 a m",
        "0 G 4 Em",
    )


FOLDED = (
    twice,
    partial(twice, last="1:1 1"),
    partial(twice, pickup=True),
    partial(twice, last="1:1 1", pickup=True),
)
ALL = (*TUNES, *FOLDED, many_values, shared_stems, with_the_thumb)


def _drawn(arrangement: Arrangement) -> Arrangement:
    return folded(in_notatable_time(in_written_time(arrangement))).drawn


@pytest.mark.parametrize("tune", ALL)
def test_valid_against_the_schema(tune, schema) -> None:  # type: ignore[no-untyped-def]
    document = etree.fromstring(musicxml_score(tune()))
    assert schema.validate(document), schema.error_log


def _expected(arrangement: Arrangement) -> Counter[tuple[Fraction, int]]:
    """Sounding notes in written time as played, twice: once for each staff."""
    notes = Counter((note.onset, note.midi) for note in in_written_time(arrangement).notes)
    return notes + notes


def _played(arrangement: Arrangement) -> music21.stream.Score:
    """The score as music21 reads it, with its repeats played out."""
    text = musicxml_score(arrangement).decode()
    score = music21.converter.parseData(text, format="musicxml")
    return score.expandRepeats() if "<repeat" in text else score


@pytest.mark.parametrize("tune", ALL)
def test_music21_reads_the_same_pitches_and_onsets(tune) -> None:  # type: ignore[no-untyped-def]
    score = _played(tune())
    heard = Counter(
        (Fraction(note.getOffsetInHierarchy(score)).limit_denominator(960), pitch.midi)
        for note in score.toSoundingPitch().stripTies().recurse().notes
        if not isinstance(note, music21.harmony.ChordSymbol)
        for pitch in note.pitches
    )
    assert heard == _expected(tune())


@pytest.mark.parametrize("tune", ALL)
def test_partitura_reads_the_same_pitches_and_onsets(tune, tmp_path) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "score.musicxml"
    path.write_bytes(musicxml_score(tune()))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        printed = partitura.load_musicxml(str(path))[0]
        part = partitura.score.unfold_part_maximal(printed)
    moved = [change.chromatic for change in printed.iter_all(partitura.score.Transposition)]
    heard = Counter(
        (Fraction(note.start.t, int(part._quarter_durations[0])), note.midi_pitch + sum(moved))
        for note in part.notes_tied
    )
    assert heard == _expected(tune())


@pytest.mark.parametrize("tune", [*TUNES, *FOLDED, shared_stems, with_the_thumb])
def test_the_engraver_reads_the_same_pitches_and_onsets(tune) -> None:  # type: ignore[no-untyped-def]
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.setOptions({"inputFrom": "musicxml"})
    assert toolkit.loadData(musicxml_score(tune()).decode())
    played = mido.MidiFile(file=BytesIO(base64.b64decode(toolkit.renderToMIDI())))
    heard: Counter[tuple[Fraction, int]] = Counter()
    for track in played.tracks:
        now = 0
        for message in track:
            now += message.time
            if message.type == "note_on" and message.velocity:
                heard[Fraction(now, played.ticks_per_beat), message.note] += 1
    assert heard == _expected(tune())


@pytest.mark.parametrize("tune", [*TUNES, *FOLDED, shared_stems, with_the_thumb])
def test_the_engraver_reads_the_strings_and_frets(tune) -> None:  # type: ignore[no-untyped-def]
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.setOptions({"inputFrom": "musicxml"})
    assert toolkit.loadData(musicxml_score(tune()).decode())
    score = etree.fromstring(toolkit.getMEI().encode())
    placed = Counter(
        (int(note.get("tab.course")), int(note.get("tab.fret")))
        for note in score.iter("{*}note")
        if note.get("tab.fret")
    )
    assert placed == Counter((note.string, note.fret) for note in _drawn(tune()).notes)


def test_an_inner_note_under_a_held_tune_needs_no_voice_of_its_own() -> None:
    root = etree.fromstring(musicxml_score(with_the_thumb()))
    voices = {voice.text for voice in root.iter("voice")}
    assert voices == {"1", "2", "5", "6"}


@pytest.mark.parametrize("tune", ALL)
def test_strings_and_frets_of_the_tab_staff(tune) -> None:  # type: ignore[no-untyped-def]
    root = etree.fromstring(musicxml_score(tune()))
    placed = Counter(
        (int(note.findtext(".//string")), int(note.findtext(".//fret")))
        for note in root.iter("note")
        if note.findtext(".//string") and note.find("tie[@type='stop']") is None
    )
    assert placed == Counter((note.string, note.fret) for note in _drawn(tune()).notes)


@pytest.mark.parametrize("tune", ALL)
def test_music21_reads_the_strings_and_frets(tune) -> None:  # type: ignore[no-untyped-def]
    score = _played(tune())
    strings, frets = Counter(), Counter()
    for note in score.parts[1].stripTies().recurse().notes:
        for mark in note.articulations:
            if isinstance(mark, music21.articulations.StringIndication):
                strings[mark.number] += 1
            if isinstance(mark, music21.articulations.FretIndication):
                frets[mark.number] += 1
    assert strings == Counter(note.string for note in tune().notes)
    assert frets == Counter(note.fret for note in tune().notes)


@pytest.mark.parametrize("tune", ALL)
def test_every_voice_fills_its_bar(tune) -> None:  # type: ignore[no-untyped-def]
    root = etree.fromstring(musicxml_score(tune()))
    divisions = int(root.findtext(".//divisions"))
    for measure, bar in zip(root.iter("measure"), _drawn(tune()).bars, strict=True):
        lengths: Counter[str] = Counter()
        for element in measure.iter("note", "forward", "backup"):
            if element.tag == "note" and element.find("chord") is None:
                lengths[element.findtext("voice")] += int(element.findtext("duration"))
        for voice in ("1", "2", "5", "6"):
            assert lengths[voice] == bar.length * divisions


@pytest.mark.parametrize("tune", ALL)
def test_our_own_reader_plays_it_out_to_the_last_finger(tune, tmp_path) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "score.musicxml"
    path.write_bytes(musicxml_score(tune()))
    played, written = tablature(path), in_notatable_time(in_written_time(tune()))
    assert played is not None
    assert [(n.onset, n.midi, n.string, n.fret, n.left, n.bar) for n in played.notes] == [
        (n.onset, n.midi, n.string, n.fret, n.left, n.bar) for n in written.notes
    ]


def _lines(arrangement: Arrangement) -> dict[str, list[tuple[str, str, str]]]:
    """By measure number: side, kind and number or direction of what its bar lines say."""
    return {
        measure.get("number"): [
            (line.get("location"), sign.tag, sign.get("number") or sign.get("direction"))
            for line in measure.iter("barline")
            for sign in line.iter("ending", "repeat")
        ]
        for measure in etree.fromstring(musicxml_score(arrangement)).iter("measure")
    }


def test_a_repeat_stands_once_with_its_endings() -> None:
    lines = _lines(twice(last="1:1 1"))
    assert list(lines) == ["1", "2", "3", "4", "5", "6", "12"]
    assert lines["1"] == [("left", "repeat", "forward")]
    assert lines["6"] == [
        ("left", "ending", "1"),
        ("right", "ending", "1"),
        ("right", "repeat", "backward"),
    ]
    assert lines["12"] == [("left", "ending", "2"), ("right", "ending", "2")]


def test_a_difference_a_fold_would_lose_is_played_out() -> None:
    """A note held over the repeat sign belongs to one pass only."""
    lines = _lines(twice(held="2"))
    assert len(lines) == 12
    assert not any(lines.values())


def test_fingers_stand_on_the_staff_once_a_note() -> None:
    root = etree.fromstring(musicxml_score(alternating_bass()))
    notes = alternating_bass().notes
    fingering = Counter(
        element.text
        for element in root.iter("fingering")
        if element.getparent().tag == "technical"
    )
    pluck = Counter(element.text for element in root.iter("pluck"))
    assert fingering == Counter(note.left for note in notes)
    assert pluck == Counter(note.right for note in notes if note.slur is None)


def test_slurs_start_and_stop_on_their_strings() -> None:
    root = etree.fromstring(musicxml_score(alternating_bass()))
    hammers = [(e.get("type"), e.get("number")) for e in root.iter("hammer-on")]
    assert hammers == [("start", "2"), ("stop", "2")]
    slides = [(e.get("type"), e.get("number")) for e in root.iter("slide")]
    assert slides == [("start", "1"), ("stop", "1")] * 2


def test_a_barre_starts_at_the_lowest_string() -> None:
    """MusicXML 4.0: the barre starts at the lowest-pitched string."""
    root = etree.fromstring(musicxml_score(alternating_bass()))
    barres = [
        (barre.getparent().findtext("string"), barre.get("type"))
        for barre in root.iter("barre")
    ]
    assert barres == [("6", "start"), ("1", "stop")]


def test_a_rag_is_written_in_four_four_with_swing() -> None:
    root = etree.fromstring(musicxml_score(little_rag()))
    assert root.findtext(".//beats") == "4"
    assert root.findtext(".//beat-type") == "4"
    assert root.findtext(".//per-minute") == "126"
    assert root.find(".//sound[@tempo='126']") is not None
    assert (root.findtext(".//swing/first"), root.findtext(".//swing/second")) == ("17", "10")
    assert not list(root.iter("type")) or all(e.text != "16th" for e in root.iter("type"))


def test_a_dotted_beat_counts_the_tempo_of_a_jig() -> None:
    root = etree.fromstring(musicxml_score(jig()))
    assert root.find(".//beat-unit-dot") is not None
    assert root.findtext(".//per-minute") == "42"


def test_a_pick_up_is_bar_zero_and_implicit() -> None:
    root = etree.fromstring(musicxml_score(waltz()))
    first = root.find(".//measure")
    assert (first.get("number"), first.get("implicit")) == ("0", "yes")
    assert root.findtext(".//staff-details/capo") == "2"
    assert root.findtext(".//transpose/chromatic") == "2"


def test_markup_in_names_is_text() -> None:
    assert b"A Small &lt;Tune&gt;" in musicxml_score(alternating_bass())


@pytest.mark.parametrize("tune", ALL)
def test_the_same_bytes_twice(tune) -> None:  # type: ignore[no-untyped-def]
    assert musicxml_score(tune()) == musicxml_score(tune())
