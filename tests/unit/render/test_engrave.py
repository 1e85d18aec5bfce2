"""Engraved systems: every note drawn once, letters and barres added, nothing odd left over."""

from __future__ import annotations

import re
from collections import Counter
from fractions import Fraction

import pytest
from lxml import etree
from render_tunes import TUNES, alternating_bass, arrangement_of, bars_of, little_rag

from arranger.music.arrangement import Arrangement
from arranger.render.barre import barre_marks
from arranger.render.engrave import System, _bars, engraved
from arranger.render.fold import folded
from arranger.render.groups import Groups
from arranger.render.hand_row import Ending, HandMark, under_endings
from arranger.render.mei import ROOM, mei
from arranger.render.ringing import ringing
from arranger.render.written import in_notatable_time, in_written_time

_SVG = "{http://www.w3.org/2000/svg}"


def _systems(arrangement: Arrangement) -> tuple[System, ...]:
    return engraved(folded(in_notatable_time(in_written_time(arrangement))), width=2000)


def long_piece() -> Arrangement:
    """Twelve bars of running eighths over alternating bass: several systems."""
    lines = []
    for bar in range(12):
        for beat in range(4):
            onset = 4 * bar + beat
            lines.append(f"{onset} 1 {6 if beat % 2 == 0 else 4}:{beat} {beat or 0} p b")
            lines.append(f"{onset} 1/2 1:{beat} {beat or 0} m m")
            lines.append(f"{2 * onset + 1}/2 1/2 2:1 1 i m")
    return arrangement_of("Long", bars_of("4/4", 12), "\n".join(lines), "0 Bb 4 F#m7b5")


ALL = (*TUNES, long_piece)


@pytest.mark.parametrize("tune", ALL)
def test_every_bar_and_every_note_stands_once(tune) -> None:  # type: ignore[no-untyped-def]
    systems = _systems(tune())
    assert [bar for system in systems for bar in system.bars] == list(range(len(tune().bars)))
    ids = Counter(re.findall(r'id="([nt]-\d+)"', "".join(system.svg for system in systems)))
    numbers = range(len(tune().notes))
    assert ids == Counter([f"{kind}-{index}" for kind in "nt" for index in numbers])


@pytest.mark.parametrize("tune", ALL)
def test_tab_numbers_are_the_frets(tune) -> None:  # type: ignore[no-untyped-def]
    for system in _systems(tune()):
        for group in etree.fromstring(system.svg).iter(f"{_SVG}g"):
            if group.get("id", "").startswith("t-"):
                drawn = "".join(group.itertext()).strip()
                assert drawn == str(tune().notes[int(group.get("id")[2:])].fret)


@pytest.mark.parametrize("tune", ALL)
def test_the_right_hand_stands_under_the_tab(tune) -> None:  # type: ignore[no-untyped-def]
    letters: Counter[str] = Counter()
    for system in _systems(tune()):
        hands = etree.fromstring(system.svg).find(f".//{_SVG}g[@class='hands']")
        texts = ["".join(text.itertext()) for text in hands.iter(f"{_SVG}text")]
        letters.update(text for text in texts if text in "pima")
    assert letters == Counter(note.right for note in tune().notes if note.slur is None)


def test_barres_and_slurs_are_marked() -> None:
    (system,) = _systems(alternating_bass())
    texts = ["".join(t.itertext()) for t in etree.fromstring(system.svg).iter(f"{_SVG}text")]
    assert "CI" in texts
    assert "H" in texts


@pytest.mark.parametrize("tune", ALL)
def test_no_text_needs_the_music_font(tune) -> None:  # type: ignore[no-untyped-def]
    """Characters of the private use area are boxes wherever that font is missing."""
    for system in _systems(tune()):
        text = "".join(etree.fromstring(system.svg).itertext())
        assert not re.search("[\ue000-\uf8ff]", text)


def test_chord_names_have_printed_signs() -> None:
    text = "".join("".join(etree.fromstring(s.svg).itertext()) for s in _systems(long_piece()))
    assert "B♭" in text
    assert "F♯m7♭5" in text


def test_a_long_piece_breaks_into_systems_of_one_width() -> None:
    systems = _systems(long_piece())
    assert len(systems) > 1
    assert len({system.width for system in systems}) == 1


@pytest.mark.parametrize("tune", ALL)
def test_the_same_drawing_twice(tune) -> None:  # type: ignore[no-untyped-def]
    assert _systems(tune()) == _systems(tune())


def test_a_finger_that_stays_is_written_once_a_bar() -> None:
    """In bar 1 of the rag the little finger presses once; the bass finger stays down."""
    score = etree.fromstring(mei(folded(in_written_time(little_rag()))))
    first = next(iter(score.iter("{*}measure")))
    assert sorted(fing.text for fing in first.iter("{*}fing")) == ["2", "4", "4"]


def test_a_note_struck_again_is_not_held_on() -> None:
    """The chord's lower note is plucked anew on beat two; only the upper one is tied over."""
    piece = arrangement_of(
        "Held",
        bars_of("4/4", 1),
        "1/2 1/2 4:2 2 i i\n1/2 3/2 1:0 0 a m\n1 1 4:2 2 p b\n2 2 1:3 4 a m",
        "0 Em",
    )
    score = etree.fromstring(mei(folded(piece)))
    tied = [note.get("pname") for note in score.iter("{*}note") if note.get("tie") == "i"]
    assert tied == ["e"]
    assert [note.get("oct") for note in score.iter("{*}note") if note.get("tie") == "i"] == [
        "4"
    ]


def test_a_bass_note_written_on_makes_no_barre() -> None:
    """Finger 1 leaves string 4 for string 1: it never lies on both."""
    piece = arrangement_of(
        "Leaps",
        bars_of("3/4", 1),
        "0 1/2 4:2 1 p b\n1/2 1/2 1:2 1 m m\n1 1 4:0 0 p b",
        "0 D",
    )
    folds = folded(ringing(piece), held=piece)
    assert folds.drawn.notes[0].length == 1
    assert "½CII" not in "".join(system.svg for system in engraved(folds, width=2000))


def test_an_inner_note_shares_the_stem_of_a_tied_one() -> None:
    """On beat two the tune is held and an inner note joins it: one chord, one stem, one tie."""
    piece = arrangement_of(
        "Shared",
        bars_of("4/4", 1),
        "0 1 6:3 3 p b\n1/2 3/2 1:0 0 a m\n1 1 4:2 2 i i\n2 2 1:3 4 a m",
        "0 Em",
    )
    score = etree.fromstring(mei(folded(piece)))
    chord = next(score.iter("{*}chord"))
    assert [(note.get("pname"), note.get("tie")) for note in chord.iter("{*}note")] == [
        ("e", None),
        ("e", "t"),
    ]
    assert not [layer for layer in score.iter("{*}layer") if layer.get("n") == "3"]
    in_tab = [note for note in score.iter("{*}note") if note.get("tab.fret")]
    assert len(in_tab) == len(piece.notes)


@pytest.mark.parametrize(
    ("inner", "with_thumb"),
    [
        ("1 1 3:0 0 i i", True),
        ("1 1/2 3:0 0 i i", True),  # it rings as long as the thumb's note
        ("1 1/2 3:0 0 i i\n3/2 1/2 3:2 2 i i", False),  # its string is needed before
        ("1 2 3:0 0 i i", False),  # it outlasts the thumb's note
        ("3/2 1/2 3:0 0 i i", False),  # it comes after the thumb
    ],
)
def test_an_inner_note_under_a_held_tune_shares_the_thumbs_stem(
    inner: str, with_thumb: bool
) -> None:
    piece = arrangement_of(
        "With the thumb",
        bars_of("4/4", 1),
        f"0 1 6:3 3 p b\n0 4 1:0 0 a m\n1 1 4:0 0 p b\n{inner}\n2 1 6:3 3 p b\n3 1 4:0 0 p b",
        "0 G",
    )
    score = etree.fromstring(mei(folded(ringing(piece), held=piece)))
    lower = next(layer for layer in score.iter("{*}layer") if layer.get("n") == "2")
    chords = [[note.get("pname") for note in chord] for chord in lower.iter("{*}chord")]
    assert (chords == [["d", "g"]]) is with_thumb
    inner_layers = [layer for layer in score.iter("{*}layer") if layer.get("n") == "3"]
    assert bool(inner_layers) is not with_thumb


def _barres(*lines: str) -> list[tuple[Fraction, Fraction, str]]:
    piece = arrangement_of("Barre", bars_of("4/4", 1), "\n".join(lines), "0 F")
    return [(mark.start, mark.end, mark.text) for mark in barre_marks(piece)]


def test_a_barre_lies_while_the_finger_holds_two_strings() -> None:
    assert _barres("0 2 6:1 1 p b", "1 1 2:1 1 i i") == [(0, 2, "CI")]
    assert _barres("0 2 4:2 1 p b", "0 2 3:2 1 i i") == [(0, 2, "½CII")]


def test_no_barre_lies_over_a_string_that_sounds_open() -> None:
    """The finger is set on its tip and lies down after, or lifts while the bass is held."""
    half = Fraction(1, 2)
    down = ("0 1 5:2 1 p b", "0 1/2 1:0 0 a m", "1/2 1/2 1:2 1 a m h")
    assert _barres(*down) == [(half, 1, "CII")]
    up = ("0 2 6:1 1 p b", "0 1 1:1 1 a m", "1 1 1:0 0 a m p")
    assert _barres(*up) == [(0, 1, "CI")]
    beside = ("0 1 5:2 1 p b", "0 1 3:2 1 i i", "0 1 1:0 0 a m")
    assert _barres(*beside) == [(0, 1, "½CII")]


def test_marks_of_the_hand_stand_under_the_bracket_of_their_ending() -> None:
    """A roman numeral over a bracket reads like another ending."""
    ending = Ending(etree.Element("g"), 1000.0, 3000.0, 334.0)
    inside, outside = HandMark("I", 1200.0, 1300.0), HandMark("V", 200.0, 400.0)
    assert under_endings([inside, outside], [ending]) == {inside: ending}
    across = HandMark("CII", 900.0, 1500.0)
    assert under_endings([inside, across], [ending]) == {}


def test_a_finger_between_the_staves_has_room_over_an_arc() -> None:
    """A slur of string 1 arches over a thumb's note: its finger must not stand on the arc."""
    text = "0 1 6:0 0 p b\n1/2 1 1:7 3 m m\n1 1 6:4 1 p b\n3/2 1/2 1:10 4 m m h\n2 2 6:0 0 p b"
    piece = arrangement_of("Arc", bars_of("4/4", 1), text, "0 E")
    (system,) = _systems(piece)
    texts = list(etree.fromstring(system.svg).iter(f"{_SVG}text"))
    said = ["".join(text.itertext()) for text in texts]
    assert ROOM not in said
    low = max(float(t.get("y")) for t, s in zip(texts, said, strict=True) if s == "1")
    tab = min(float(t.get("y")) for t, s in zip(texts, said, strict=True) if s == "7")
    assert low < tab - 300


@pytest.mark.parametrize("inner", ["1 3/2 4:2 2 i i", "1 1/2 4:2 2 i i\n3/2 1/2 3:0 0 i i"])
def test_an_inner_part_of_its_own_keeps_its_stems(inner: str) -> None:
    """It outlasts the tied note, or moves on while that one is held."""
    piece = arrangement_of(
        "Apart",
        bars_of("4/4", 1),
        f"0 1 6:3 3 p b\n1/2 3/2 1:0 0 a m\n{inner}\n2 2 1:3 4 a m",
        "0 Em",
    )
    score = etree.fromstring(mei(folded(piece)))
    assert [layer for layer in score.iter("{*}layer") if layer.get("n") == "3"]


@pytest.mark.parametrize(
    ("name", "index"), [("b-12", 12), ("b613223", None), ("n-12", None), ("b-x", None)]
)
def test_an_id_of_the_engraver_is_never_taken_for_ours(name: str, index: int | None) -> None:
    """Of 254,172 ids it gave to notes and bars, nine were n, t or b and digits alone."""
    drawing = f'<svg xmlns="{_SVG[1:-1]}"><g class="measure" id="{name}"/></svg>'
    assert list(_bars(Groups(etree.fromstring(drawing)))) == ([] if index is None else [index])
