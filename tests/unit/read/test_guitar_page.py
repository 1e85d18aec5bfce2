"""A guitar score in MusicXML: exact times, voices, ties, octaves, what it states."""

from __future__ import annotations

from fractions import Fraction

import pytest

from arranger.music.errors import UnreadableInput
from arranger.read import guitar_page


def written(
    step, octave, duration, *, voice=1, stem="up", chord=False, alter=None, more="", tie=None
):
    """One note element."""
    changed = f"<alter>{alter}</alter>" if alter else ""
    tied = f'<tie type="{tie}"/>' if tie else ""
    return (
        f"<note>{'<chord/>' if chord else ''}<pitch><step>{step}</step>{changed}"
        f"<octave>{octave}</octave></pitch><duration>{duration}</duration>{tied}"
        f"<voice>{voice}</voice><stem>{stem}</stem>{more}</note>"
    )


def score(*measures, clef="<clef-octave-change>-1</clef-octave-change>", name="Guitar"):
    """A part of 2/4 bars, four divisions a quarter; each measure is its content."""
    bars = []
    for number, content in enumerate(measures, 1):
        attributes = (
            "<attributes><divisions>4</divisions><key><fifths>1</fifths></key>"
            "<time><beats>2</beats><beat-type>4</beat-type></time>"
            f"<clef><sign>G</sign><line>2</line>{clef}</clef></attributes>"
        )
        start = attributes if number == 1 else ""
        bars.append(f'<measure number="{number}">{start}{content}</measure>')
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0">'
        f'<part-list><score-part id="P1"><part-name>{name}</part-name></score-part></part-list>'
        f'<part id="P1">{"".join(bars)}</part></score-partwise>'
    ).encode()


BACK = "<backup><duration>8</duration></backup>"


@pytest.fixture
def page_of(tmp_path):
    def read_page(data, **options):
        path = tmp_path / "study.musicxml"
        path.write_bytes(data)
        return guitar_page(path, **options)

    return read_page


def test_onsets_lengths_and_pitches_are_exact(page_of):
    triplets = "".join(written(step, 4, 1) for step in "CDE")
    page = page_of(score(triplets + written("G", 4, 5)))
    assert [(n.onset, n.length, n.midi) for n in page.notes] == [
        (Fraction(0), Fraction(1, 4), 60),
        (Fraction(1, 4), Fraction(1, 4), 62),
        (Fraction(1, 2), Fraction(1, 4), 64),
        (Fraction(3, 4), Fraction(5, 4), 67),
    ]


def test_stems_down_are_the_thumbs_voice(page_of):
    two = written("E", 4, 8) + BACK + written("E", 3, 8, voice=2, stem="down")
    alone = written("G", 4, 8)
    page = page_of(score(two, alone))
    assert [note.voice for note in page.notes] == [1, 2, 0]


def test_a_tie_makes_one_note_of_two_elements(page_of):
    page = page_of(score(written("G", 3, 8, tie="start"), written("G", 3, 8, tie="stop")))
    assert [(n.onset, n.length) for n in page.notes] == [(0, Fraction(4))]
    assert page.elements == ((0, 1),)


def test_an_octave_clef_says_that_pitches_sound_as_given(page_of):
    page = page_of(score(written("E", 2, 8)))
    assert page.notes[0].midi == 40
    assert page.decisions == ()


def test_a_transposing_part_sounds_where_it_says(page_of):
    down = "<transpose><chromatic>0</chromatic><octave-change>-1</octave-change></transpose>"
    data = score(written("E", 3, 8), clef="").replace(
        b"</attributes>", down.encode() + b"</attributes>"
    )
    assert page_of(data).notes[0].midi == 40


def test_a_guitar_part_that_never_goes_low_is_written_an_octave_up(page_of):
    data = score(written("E", 3, 4) + written("G", 5, 4), clef="")
    page = page_of(data)
    assert [note.midi for note in page.notes] == [40, 67]
    assert [decision.option for decision in page.decisions] == ["--as-sounding"]
    assert [note.midi for note in page_of(data, octave_down=False).notes] == [52, 79]


def test_another_part_is_taken_as_sounding_and_says_so(page_of):
    data = score(written("E", 3, 4) + written("G", 5, 4), clef="", name="Lute")
    page = page_of(data)
    assert [note.midi for note in page.notes] == [52, 79]
    assert [decision.option for decision in page.decisions] == ["--octave-down"]
    assert [note.midi for note in page_of(data, octave_down=True).notes] == [40, 67]


def test_stated_strings_and_fingers_are_pins_when_wanted(page_of):
    stated = (
        "<notations><technical><string>2</string><fingering>3</fingering></technical>"
        "</notations>"
    )
    data = score(written("D", 4, 8, more=stated))
    assert page_of(data).notes[0].string is None
    kept = page_of(data, keep_fingering=True).notes[0]
    assert (kept.string, kept.finger) == (2, 3)


def test_a_short_first_bar_is_bar_nought(page_of):
    page = page_of(score(written("D", 4, 2), written("E", 4, 8)))
    assert [(bar.number, bar.length) for bar in page.score.bars] == [
        (0, Fraction(1, 2)),
        (1, Fraction(2)),
    ]


def test_a_grace_note_comes_before_the_beat(page_of):
    grace = (
        "<note><grace/><pitch><step>D</step><octave>4</octave></pitch><voice>1</voice></note>"
    )
    page = page_of(score(written("G", 4, 4) + grace + written("E", 4, 4)))
    assert [(n.onset, n.midi) for n in page.notes] == [
        (0, 67),
        (Fraction(15, 16), 62),
        (1, 64),
    ]


@pytest.mark.parametrize(
    "data",
    [
        b"<?xml version='1.0'?><score-partwise><part",
        b"<?xml version='1.0'?><score-timewise/>",
        b"<?xml version='1.0'?><score-partwise/>",
        score("<note><rest/><duration>8</duration></note>"),
        score(written("H", 4, 8)),
        score(written("G", 4, "long")),
        b"PK\x03\x04 no archive",
    ],
)
def test_what_is_no_score_is_refused_in_words(page_of, data):
    with pytest.raises(UnreadableInput) as error:
        page_of(data)
    assert "study.musicxml" in str(error.value)


def slur(kind, number=1):
    return f'<notations><slur type="{kind}" number="{number}"/></notations>'


def slurs(page):
    return [note.slur for note in page.notes]


def test_notes_under_a_short_slur_are_the_left_hands(page_of):
    bar = (
        written("E", 4, 2, more=slur("start"))
        + written("F", 4, 2)
        + written("G", 4, 2, more=slur("stop"))
        + written("A", 4, 2)
    )
    assert slurs(page_of(score(bar))) == [None, "slur", "slur", None]


def test_a_note_ends_one_slur_and_begins_the_next(page_of):
    both = '<notations><slur type="start"/><slur type="stop"/></notations>'
    bar = (
        written("E", 4, 2, more=slur("start"))
        + written("F", 4, 2, more=both)
        + written("E", 4, 4, more=slur("stop"))
    )
    assert slurs(page_of(score(bar))) == [None, "slur", "slur"]


def test_a_long_slur_marks_a_phrase(page_of):
    steps = "CDEFG"
    marks = [slur("start"), "", "", "", slur("stop")]
    notes = zip(steps, marks, (1, 1, 1, 1, 4), strict=True)
    bar = "".join(written(step, 4, length, more=more) for step, more, length in notes)
    assert slurs(page_of(score(bar))) == [None] * 5


def test_a_slur_over_chords_marks_a_phrase(page_of):
    bar = (
        written("E", 4, 2, more=slur("start"))
        + written("F", 4, 2)
        + written("C", 5, 2, chord=True)
        + written("G", 4, 4, more=slur("stop"))
    )
    assert slurs(page_of(score(bar))) == [None] * 4


def test_a_slur_belongs_to_its_voice(page_of):
    upper = written("E", 5, 4, more=slur("start")) + written("D", 5, 4, more=slur("stop"))
    lower = "".join(written("E", 3, 2, voice=2, stem="down") for _ in range(4))
    page = page_of(score(upper + BACK + lower))
    assert [note.midi for note in page.notes if note.slur] == [74]


def test_a_slide_is_told_from_a_slur(page_of):
    start, stop = (
        f'<notations><slide type="{kind}" number="1"/></notations>'
        for kind in ("start", "stop")
    )
    bar = written("E", 4, 4, more=start) + written("G", 4, 4, more=stop)
    assert slurs(page_of(score(bar))) == [None, "slide"]
