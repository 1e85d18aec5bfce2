"""MusicXML, Humdrum and ABC give the Score of the same piece's MIDI file."""

from __future__ import annotations

import zipfile
from fractions import Fraction
from pathlib import Path

import pytest
from music21 import bar, note, spanner, stream
from music21.repeat import ExpanderException

from arranger.music.errors import UnreadableInput, UsageError
from arranger.read import read

ABC = """X:1
T:Three Bars
C:Trad.
M:3/4
L:1/4
Q:1/4=100
K:G
D | G A B | c2 A | G3 |]
"""

KERN = """!!!OTL: Two Staves
**kern\t**kern
*clefF4\t*clefG2
*M2/4\t*M2/4
=1\t=1
4C\t8cc
.\t8dd
4G\t4ee
=2\t=2
2C\t2cc
==\t==
*-\t*-
"""


def test_abc_with_a_pickup(tmp_path: Path) -> None:
    (tmp_path / "tune.abc").write_text(ABC)
    score = read(tmp_path / "tune.abc")
    assert score.title == "Three Bars"
    assert score.composer == "Trad."
    assert [(bar.number, bar.length) for bar in score.bars] == [(0, 1), (1, 3), (2, 3), (3, 3)]
    assert [(n.midi, n.onset) for n in score.notes][:3] == [(62, 0), (67, 1), (69, 2)]
    assert score.keys[0].key.name == "G major"
    assert (score.tempo, score.tempo_stated) == (100, True)


def test_humdrum_with_two_staves(tmp_path: Path) -> None:
    (tmp_path / "piece.krn").write_text(KERN)
    score = read(tmp_path / "piece.krn")
    right = [(n.midi, n.onset) for n in score.notes if n.hand == "right"]
    left = [(n.midi, n.onset) for n in score.notes if n.hand == "left"]
    assert right == [(72, 0), (74, Fraction(1, 2)), (76, 1), (72, 2)]
    assert left == [(48, 0), (55, 1), (48, 2)]
    assert len(score.bars) == 2


def test_a_humdrum_repeat_sign_without_a_number_is_followed(tmp_path: Path) -> None:
    """``=:|!`` ends a repeat (Huron, The Humdrum Toolkit: **kern barlines; from memory)."""
    whole = "**kern\n*M2/4\n=1\n2c\n=2\n2d\n=:|!\n2e\n=4\n2f\n==|!\n*-\n"
    (tmp_path / "tune.krn").write_text(whole)
    score = read(tmp_path / "tune.krn")
    assert [note.midi for note in score.notes] == [60, 62, 60, 62, 64, 65]
    assert not {"repeat-open", "repeats-as-printed"} & {w.code for w in score.warnings}


def test_a_repeat_that_is_not_ended_leaves_the_other_repeats(tmp_path: Path) -> None:
    tune = "X:1\nT:Reel\nM:2/4\nL:1/4\nK:C\n|: C D | E F |] |: G A | B c :|\n"
    (tmp_path / "reel.abc").write_text(tune)
    score = read(tmp_path / "reel.abc")
    second = [67, 69, 71, 72]
    assert [note.midi for note in score.notes] == [60, 62, 64, 65, *second, *second]
    assert "repeat-open" in {warning.code for warning in score.warnings}


@pytest.mark.parametrize(
    ("tune", "played"),
    [
        ("C D | E F :| G A | B c :|", "CDEF CDEF GABc GABc"),
        ("C | D E | F G :| A B | c d :| e |]", "CDEFG CDEFG ABcd ABcd e"),
        ("C D |1 E F :|2 G A || B c | d e :|", "CDEF CDGA Bcde Bcde"),
        ("C D | D E :| E F |1 G A :|2 B c |]", "CDDE CDDE EFGA EFBc"),
        ("C D | E F :|: G A | B c :| d |: e | d :|", "CDEF CDEF GABc GABc d ed ed"),
    ],
)
def test_a_repeat_without_its_sign_begins_after_the_one_before(
    tmp_path: Path, tune: str, played: str
) -> None:
    """The ABC Standard 2.1, section 4.8, repeat/bar symbols (from memory)."""
    (tmp_path / "tune.abc").write_text(f"X:1\nT:Jig\nM:2/4\nL:1/4\nK:C\n{tune}\n")
    score = read(tmp_path / "tune.abc")
    letters = "CDEFGABcde"
    steps = [60, 62, 64, 65, 67, 69, 71, 72, 74, 76]
    heard = "".join(letters[steps.index(note.midi)] for note in score.notes)
    assert heard == played.replace(" ", "")


def test_an_ending_of_several_bars_is_no_new_beginning(tmp_path: Path) -> None:
    """``|: 1 2 [1. 3 4 5 :| [2. 6 | 7 8 :|`` as MusicXML, written by music21."""
    part = stream.Part([stream.Measure([note.Note(59 + n, type="whole")]) for n in range(1, 9)])
    bars = list(part.getElementsByClass(stream.Measure))
    bars[0].leftBarline = bar.Repeat(direction="start")
    bars[4].rightBarline = bar.Repeat(direction="end")
    bars[7].rightBarline = bar.Repeat(direction="end")
    part.insert(0, spanner.RepeatBracket(bars[2], bars[4], number=1))
    part.insert(0, spanner.RepeatBracket(bars[5], number=2))
    stream.Score([part]).write("musicxml", tmp_path / "tune.musicxml")
    score = read(tmp_path / "tune.musicxml")
    assert [n.midi - 59 for n in score.notes] == [1, 2, 3, 4, 5, 1, 2, 6, 7, 8, 7, 8]
    assert not {"repeat-open", "repeats-as-printed"} & {w.code for w in score.warnings}


def test_of_several_tunes_the_first_is_read_and_the_page_says_so(tmp_path: Path) -> None:
    book = ABC + "\n" + ABC.replace("X:1", "X:2").replace("Three Bars", "The Other")
    (tmp_path / "book.abc").write_text(book)
    score = read(tmp_path / "book.abc")
    assert score.title == "Three Bars"
    assert len(score.notes) == 7
    said = {warning.code: warning.text for warning in score.warnings}
    assert said["first-of-several"].startswith("The file holds 2 tunes; the first was read")


def test_musicxml_is_the_same_score_as_its_midi(tmp_path: Path) -> None:
    """A rag of music21's corpus, with its repeats played out, written in both formats."""
    corpus = pytest.importorskip("music21.corpus")
    rag = corpus.parse("joplin/maple_leaf_rag")
    rag.write("musicxml", tmp_path / "rag.musicxml")
    rag.expandRepeats().write("midi", tmp_path / "rag.mid")
    notation, midi = read(tmp_path / "rag.musicxml"), read(tmp_path / "rag.mid")

    def essence(score):
        return [(n.onset, n.length, n.midi, n.hand) for n in score.notes]

    assert essence(notation) == essence(midi)
    assert notation.bars == midi.bars
    assert notation.keys == midi.keys
    assert notation.tempo == midi.tempo == 100


@pytest.mark.parametrize(
    "name",
    [
        "bach/bwv846.mxl",
        "mozart/k545/movement1_exposition.mxl",
        "liliuokalani/aloha_oe.mxl",
        "ryansMammoth/7thRegimentReel.abc",
        "bach/bwv281.krn",
    ],
)
def test_works_of_the_corpus_read_as_their_midi(tmp_path: Path, name: str) -> None:
    """Prelude, sonata, song with piano, reel, chorale: the same notes, meters and keys.

    Ornaments are apart, for each writer of MIDI plays them in a way of its own.
    """
    corpus = pytest.importorskip("music21.corpus")
    found = [path for path in corpus.getCorePaths() if str(path).endswith(name)]
    if not found:
        pytest.skip(f"music21 does not carry {name}")
    work = corpus.parse(name)
    work = work.scores[0] if hasattr(work, "scores") and work.scores else work
    try:
        played = work.expandRepeats()
    except ExpanderException:
        played = work
    played.write("midi", tmp_path / "work.mid")
    notation, midi = read(found[0]), read(tmp_path / "work.mid")

    def essence(score):
        notes = [note for note in score.notes if note.ornament is None]
        return sorted((n.onset, n.midi, n.hand, n.length) for n in notes)

    assert essence(notation) == essence(midi)
    assert notation.keys == midi.keys
    assert notation.tempo == midi.tempo
    assert notation.voice == midi.voice
    assert notation.bars[-1].end == midi.bars[-1].end


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("bad.musicxml", b"<?xml version='1.0'?><score-partwise><part"),
        ("bad.mxl", b"PK\x03\x04 and then nothing"),
        ("bad.krn", b"**kern\n4Q\x00\n"),
        ("bad.abc", b"X:1\n"),
    ],
)
def test_damaged_notation_is_refused_in_words(
    tmp_path: Path, name: str, content: bytes
) -> None:
    (tmp_path / name).write_bytes(content)
    with pytest.raises(UnreadableInput):
        read(tmp_path / name)


def test_a_packed_score_that_unpacks_to_far_too_much_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "bomb.mxl"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("score.xml", b" " * 60_000_000)
    with pytest.raises(UnreadableInput, match="far too much"):
        read(path)


@pytest.mark.parametrize("meter", ["", "3", "3/5", "0/4", "waltz"])
def test_a_meter_that_is_none_is_wrong_usage(tmp_path: Path, meter: str) -> None:
    (tmp_path / "tune.abc").write_text(ABC)
    with pytest.raises(UsageError, match="not a meter"):
        read(tmp_path / "tune.abc", meter=meter)
