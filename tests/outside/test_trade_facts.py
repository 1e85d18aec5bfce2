"""What fingerstyle players know. Common practice, no source, every line of it."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest
from heard_pieces import heard

from arranger import arrange
from arranger.judge import any_hand, hand_faults, judge
from arranger.music.analysis import Analysis
from arranger.music.arrangement import Arrangement
from arranger.neck import place
from arranger.reduce import reduce
from arranger.tables import instrument, level_named, load
from arranger.tables.fingering import fingering
from arranger.tables.player import PlayerFile, Reaches, player_of
from arranger.tables.shapes import shape_book

CORPUS = Path(__file__).parents[2] / "corpus"
LEVEL = level_named("intermediate")

# A tune in F over an alternating bass, with a diminished chord in its third bar.
IN_F = heard(
    "C5:1 A4:1 F4:1 A4:1 | C5:2 A4:2 | B4:1 D5:1 B4:1 G#4:1 | C5:1 A4:1 F4:2",
    "F2:1 r:1 C3:1 r:1 | F2:1 r:1 C3:1 r:1 | G#2:1 r:1 D3:1 r:1 | F2:1 r:1 C3:1 r:1",
    "r:1 A3+C4:1 r:1 A3+C4:1 | r:1 A3+C4:1 r:1 A3+C4:1 "
    "| r:1 B3+D4:1 r:1 B3+D4:1 | r:1 A3+C4:1 r:1 A3+C4:1",
    chords="F:8 G#dim7:4 F:4",
    key="F",
)


# A run up to the third of C over an alternating bass, the hook of many a rag.
RUN_IN_C = heard(
    "C5:2 C5:1/2 D5:1/2 D#5:1/2 E5:1/2 | C5:1 D5:1 E5:2",
    "C3:1 r:1 G2:1 r:1 | C3:1 r:1 G2:1 r:1",
    "r:1 E3+G3:1 r:1 E3+G3:1 | r:1 E3+G3:1 r:1 E3+G3:1",
    chords="C:8",
    key="C",
)


def played(piece: Analysis, *techniques: str) -> Arrangement:
    """The piece in its own key by an intermediate player with these techniques."""
    player = player_of(PlayerFile.model_validate({"techniques": techniques}), LEVEL)
    reduction = reduce(piece, level=LEVEL, level_name="intermediate", player=player, key="F")
    arrangement = place(reduction, level=LEVEL, player=player)
    assert judge(arrangement, piece, LEVEL, player).violations == ()
    return arrangement


def sounds(frets: str) -> list[int]:
    """Pitch classes of a shape such as x32010, string 6 first."""
    tuning = reversed(instrument().tuning)
    return [
        (open_string + int(fret)) % 12
        for open_string, fret in zip(tuning, frets, strict=True)
        if fret != "x"
    ]


def can_be_held(frets: str, fingers: str) -> bool:
    numbers = tuple(None if fret == "x" else int(fret) for fret in frets)
    names = tuple(None if name in "x0" else name for name in fingers)
    limits = any_hand(load("reach", Reaches).medium)
    return hand_faults(numbers, names, limits=limits) == ()


def test_f_is_a_barre_for_one_player_and_the_thumb_for_another() -> None:
    """The thumb at string 6 fret 1, string 5 silent, frets 3, 2, 1 on strings 4, 3, 2."""
    barre = played(IN_F, "half barre", "full barre")
    thumb = played(IN_F, "thumb over")
    assert [shape.shorthand for shape in barre.shapes if shape.name == "F"] == ["133211"]
    (shape,) = (shape for shape in thumb.shapes if shape.name == "F")
    assert shape.shorthand == "1x321x"
    assert shape.fingers == ("T", None, "3", "2", "1", None)
    assert {note.left for note in thumb.notes if note.string == 6 and note.fret == 1} == {"T"}
    assert [note.midi for note in barre.notes if note.voice == "melody"] == [
        note.midi for note in thumb.notes if note.voice == "melody"
    ]


def test_leaving_f_for_a_diminished_chord_is_easier_with_the_thumb() -> None:
    """Two chords a bar: who has both tricks takes the thumb, and is free for what comes after,
    where the tune alone goes on and there is no shape to show.
    """
    bar = "F2:1 r:1 G#2:1 r:1"
    piece = heard(
        " | ".join(["C5:1 A4:1 B4:1 D5:1"] * 4),
        " | ".join([bar] * 4),
        chords=" ".join(["F:2 G#dim7:2"] * 4),
        key="F",
    )
    both = played(piece, "thumb over", "half barre", "full barre")
    assert [shape.shorthand for shape in both.shapes] == ["1x321x"]
    first = [note.left for note in both.notes if note.voice == "bass" and note.onset % 4 == 0]
    assert set(first) == {"T"}


def test_g7_also_lies_as_3x3030_and_the_voicing_book_is_kept(tmp_path: Path) -> None:
    """Weight without high notes: the teacher's shape wherever the chord occurs."""
    assert set(sounds("3x3030")) == {7, 5, 2, 4}  # root, seventh, fifth, and an open sixth
    marks = tmp_path / "marks.toml"
    marks.write_text('[voicings]\nG7 = "3x3030"\n', "utf-8")
    piece = CORPUS / "auld_lang_syne.mid"
    arrangement = arrange(piece, level="elementary", key="C", marks=marks).arrangement
    held: dict[str | None, set[int]] = {}
    for mark in arrangement.chords:
        if mark.name.startswith("G7"):
            shape = None if mark.shape is None else arrangement.shapes[mark.shape].shorthand
            bar = next(bar.bar for bar in arrangement.bars if mark.onset < bar.end)
            held.setdefault(shape, set()).add(bar)
    assert {"3x3030"} <= held.keys() <= {"3x3030", None}
    said = [decision.text for decision in arrangement.decisions if decision.option == "--marks"]
    beside = ", ".join(str(bar) for bar in sorted(held.get(None, ())))
    assert all(f"in bars {beside}: the tune is out of its reach" in text for text in said)
    assert len(said) == bool(beside)


def test_c_slid_up_two_frets_with_the_little_finger_is_a_full_d7() -> None:
    assert set(sounds("x5453x")) == {2, 6, 0}  # D, F sharp, C: root, third, seventh
    assert can_be_held("x5453x", "x3241x")
    slid = [shape for shape in shape_book() if shape.frets == (None, 5, 4, 5, 3, None)]
    assert {(shape.root, shape.quality) for shape in slid} == {(2, "7")}


def test_f_over_c_becomes_f_minor_by_flattening_the_first_finger() -> None:
    """Fret 3 on strings 5 and 4 is held; the first finger lies on strings 2 and 3."""
    assert set(sounds("x3321x")) == {0, 5, 9}
    assert set(sounds("x3311x")) == {0, 5, 8}
    assert can_be_held("x3321x", "x3421x")
    assert can_be_held("x3311x", "x3411x")


def test_the_finger_that_held_the_bass_may_slide_with_it() -> None:
    """Sliding along the string asks less than putting a finger down or hopping strings."""
    move = fingering().move
    assert move.guide < move.place < move.hop


@pytest.mark.parametrize("frets", ["xx10xx", "10xxxx", "x10xxx"])
def test_root_and_third_alone_are_a_chord(frets: str) -> None:
    """Better two notes on the right root than six on another."""
    lower, upper = sounds(frets)
    assert (upper - lower) % 12 == 4


def test_first_position_has_four_frets_so_that_a_chromatic_run_keeps_its_octave() -> None:
    """C D D sharp E is frets 1, 3, 4 of string 2 and string 1 open: a finger a fret."""
    beginner = level_named("beginner")
    player = player_of(PlayerFile.model_validate({}), beginner)
    reduction = reduce(RUN_IN_C, level=beginner, level_name="beginner", player=player, key="C")
    arrangement = place(reduction, level=beginner, player=player)
    assert judge(arrangement, RUN_IN_C, beginner, player).violations == ()
    tune = [note for note in arrangement.notes if note.voice == "melody"]
    places = [(note.string, note.fret) for note in tune]
    assert [(2, 1), (2, 3), (2, 4), (1, 0)] in [places[at : at + 4] for at in range(4)]


def test_the_ring_finger_hops_to_the_bass_of_c_on_string_6() -> None:
    """C over C and G in the third fret: one finger hops, or 3 and 4 with 3 on string 6; the
    little finger does not cross under the third.
    """
    beginner = level_named("beginner")
    player = player_of(PlayerFile.model_validate({}), beginner)
    reduction = reduce(RUN_IN_C, level=beginner, level_name="beginner", player=player, key="C")
    arrangement = place(reduction, level=beginner, player=player)
    thumb = [(n.string, n.fret, n.left) for n in arrangement.notes if n.right == "p"]
    hops = [
        tuple(sorted(pair))
        for pair in pairwise(thumb)
        if {place[:2] for place in pair} == {(5, 3), (6, 3)}
    ]
    assert hops
    assert {(high[2], low[2]) for high, low in hops} <= {("3", "3"), ("4", "3")}


def test_the_third_finger_is_the_guide_from_a_to_d() -> None:
    """It lies on string 2, fret 2 of A and fret 3 of D, and does not leave the string."""
    piece = heard(
        "C#4:1 C#4:1 D4:1 D4:1 | C#4:1 C#4:1 D4:2",
        "A2:2 D3:2 | A2:2 D3:2",
        "r:1 E3+A3:1 r:1 F#3+A3:1 | r:1 E3+A3:1 r:1 F#3+A3:1",
        chords="A:2 D:2 A:2 D:2",
        key="A",
        texture="hymn",
    )
    level = level_named("beginner")
    player = player_of(PlayerFile.model_validate({}), level)
    reduction = reduce(piece, level=level, level_name="beginner", player=player, key="A")
    arrangement = place(reduction, level=level, player=player)
    tune = [note for note in arrangement.notes if note.voice == "melody"]
    assert {(note.string, note.fret) for note in tune} == {(2, 2), (2, 3)}
    assert all(
        note.left == after.left or (note.fret < after.fret) == (note.left < after.left)
        for note, after in pairwise(tune)
        if note.fret != after.fret
    )
