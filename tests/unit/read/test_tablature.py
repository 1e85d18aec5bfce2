"""A tab in MusicXML is read as the hands it writes down."""

from __future__ import annotations

import zipfile
from fractions import Fraction
from pathlib import Path

import pytest

from arranger.music.errors import UnreadableInput
from arranger.read import tablature

NOTE = """<note>{chord}<pitch><step>{step}</step><octave>{octave}</octave></pitch>
<duration>{duration}</duration><voice>1</voice>{tie}<notations><technical>
<string>{string}</string><fret>{fret}</fret>{fingers}</technical></notations></note>"""


def note(step, octave, string, fret, *, left="", right="", duration=2, chord=False, tie=""):
    fingers = f"<fingering>{left}</fingering>" if left else ""
    fingers += f"<pluck>{right}</pluck>" if right else ""
    return NOTE.format(
        step=step,
        octave=octave,
        string=string,
        fret=fret,
        fingers=fingers,
        duration=duration,
        chord="<chord/>" if chord else "",
        tie=f'<tie type="{tie}"/>' if tie else "",
    )


def score(*bars: str, more: str = "") -> str:
    attributes = (
        "<attributes><divisions>2</divisions><key><fifths>1</fifths></key>"
        f"<time><beats>2</beats><beat-type>4</beat-type></time>{more}</attributes>"
        '<direction><sound tempo="72"/></direction>'
    )
    measures = "".join(
        f'<measure number="{k}">{attributes if k == 1 else ""}{bar}</measure>'
        for k, bar in enumerate(bars, start=1)
    )
    return (
        '<?xml version="1.0"?><score-partwise><work><work-title>A tab</work-title></work>'
        f'<part id="P1">{measures}</part></score-partwise>'
    )


@pytest.fixture
def read(tmp_path: Path):
    def reading(text: str):
        path = tmp_path / "tab.musicxml"
        path.write_text(text, "utf-8")
        return tablature(path)

    return reading


def test_notes_bars_tempo_and_hands(read):
    found = read(
        score(
            note("G", 2, 6, 3, left="3", right="p")
            + note("B", 3, 2, 0, left="0", right="m", chord=True)
            + note("D", 4, 2, 3, left="4", right="a"),
            note("G", 2, 6, 3, left="3", right="p", duration=4),
        )
    )
    assert found.title == "A tab"
    assert found.key.name == "G major"
    assert (found.student_tempo, found.capo, found.tuning) == (72, 0, (64, 59, 55, 50, 45, 40))
    assert [(bar.bar, bar.start, bar.length) for bar in found.bars] == [(1, 0, 2), (2, 2, 2)]
    told = [(n.onset, n.length, n.string, n.fret, n.left, n.right) for n in found.notes]
    assert told == [
        (0, 1, 6, 3, "3", "p"),
        (0, 1, 2, 0, "0", "m"),
        (1, 1, 2, 3, "4", "a"),
        (2, 2, 6, 3, "3", "p"),
    ]
    assert [n.voice for n in found.notes] == ["bass", "melody", "melody", "bass"]


def test_tied_notes_are_one(read):
    found = read(
        score(
            note("E", 4, 1, 0, duration=4, tie="start"),
            note("E", 4, 1, 0, duration=2, tie="stop") + note("F", 4, 1, 1, left="1"),
        )
    )
    assert [(n.onset, n.length) for n in found.notes] == [(0, 3), (3, 1)]


def test_what_the_page_leaves_open_is_plucked_by_the_finger_of_the_string(read):
    found = read(score(note("E", 2, 6, 0) + note("G", 3, 3, 0, chord=True)))
    assert [(n.string, n.left, n.right) for n in found.notes] == [(6, "0", "p"), (3, "0", "i")]


def test_an_octave_written_but_not_said_is_heard(read):
    """Guitar music stands an octave above its sound, whether its clef says so or not."""
    found = read(score(note("E", 5, 1, 0)))
    assert (found.notes[0].midi, found.tuning[0]) == (64, 64)


def test_a_capo_moves_what_sounds_not_what_the_hand_does(read):
    more = (
        "<staff-details><capo>2</capo></staff-details>"
        "<transpose><chromatic>2</chromatic></transpose>"
    )
    found = read(score(note("F", 4, 1, 1, left="1"), more=more))
    assert (found.capo, found.notes[0].fret, found.notes[0].midi) == (2, 1, 67)


@pytest.mark.parametrize(
    "bar",
    [
        note("F", 4, 1, 1),  # no finger
        "<note><pitch><step>E</step><octave>4</octave></pitch><duration>2</duration></note>"
        + note("E", 4, 1, 0),  # the first note has no string
        "<note><rest/><duration>4</duration></note>",
    ],
)
def test_a_page_that_leaves_out_a_string_or_a_finger_is_no_tab(read, bar):
    assert read(score(bar)) is None


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("not xml", "MusicXML file is damaged"),
        ("<html/>", "no partwise MusicXML"),
        (score(note("E", 4, 1, 0) + note("F", 4, 1, 3, left="3")), "bar 1: string 1 at fret 3"),
        (score(note("E", 4, 7, 0)), "no string 7"),
        (score(note("H", 4, 1, 0)), "bar 1: .*no music"),
        (score(note("E", "x", 1, 0)), "bar 1: .*no music"),
        (score(note("E", 4, 1, 0)).replace("<divisions>2", "<divisions>0"), "no music"),
    ],
)
def test_what_cannot_be_meant_is_said(read, text, what):
    with pytest.raises(UnreadableInput, match=what):
        read(text)


def test_entities_of_a_hostile_file_are_not_opened(read, tmp_path):
    (tmp_path / "secret").write_text("secret", "utf-8")
    text = score(note("E", 4, 1, 0)).replace("A tab", "&leak;")
    entity = f'<!DOCTYPE x [<!ENTITY leak SYSTEM "{(tmp_path / "secret").as_uri()}">]>'
    found = read(text.replace('<?xml version="1.0"?>', f'<?xml version="1.0"?>{entity}'))
    assert "secret" not in found.title


def test_a_packed_score_is_unpacked(tmp_path):
    path = tmp_path / "tab.mxl"
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr("META-INF/container.xml", "<container/>")
        packed.writestr("tab.xml", score(note("E", 4, 1, 0)))
    assert tablature(path).notes[0].length == Fraction(1)
    path.write_bytes(b"PK\x03\x04 nothing")
    with pytest.raises(UnreadableInput, match="damaged"):
        tablature(path)


BACK = "<backup><duration>4</duration></backup>"


@pytest.mark.parametrize(("finger", "held"), [("1", 1), ("2", 2)])
def test_a_finger_that_is_called_to_another_fret_lets_its_note_go(read, finger, held):
    bass = note("B", 2, 5, 2, left="1", right="p", duration=4)
    tune = note("E", 4, 1, 0) + note("C", 4, 2, 1, left=finger)
    lengths = {n.midi: n.length for n in read(score(bass + BACK + tune)).notes}
    assert lengths == {47: held, 64: 1, 60: 1}
