"""A tune with chord names gets a left hand of bass and chord in turn.

Common practice, no source; which tones a name means is checked against music21's reading of it.
"""

from __future__ import annotations

import re
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest
from music21 import converter, corpus, harmony, note, stream

from arranger.music.errors import UnreadableInput
from arranger.music.score import Score
from arranger.read import read
from arranger.run.pipeline import arrange

WALTZ = """X:1
T:Two Chords
M:3/4
L:1/4
K:G
D | "G"G A B | "D7"c2 A | "G"G3 |]
"""


def score_of(folder: Path, text: str) -> Score:
    path = folder / "tune.abc"
    path.write_text(text, "utf-8")
    return read(path)


def left(score: Score) -> list[tuple[Fraction, int]]:
    return [(note.onset, note.midi) for note in score.notes if note.hand == "left"]


def test_a_waltz_has_its_bass_on_one_and_the_chord_on_two_and_three(tmp_path: Path) -> None:
    score = score_of(tmp_path, WALTZ)
    struck: dict[Fraction, list[int]] = {}
    for onset, midi in left(score):
        struck.setdefault(onset, []).append(midi % 12)
    assert [sorted(struck[Fraction(beat)]) for beat in range(1, 7)] == [
        [7], [2, 7, 11], [2, 7, 11], [2], [0, 2, 6, 9], [0, 2, 6, 9],
    ]  # fmt: skip
    assert min(struck) == 1  # nothing under the pick-up
    assert "chord-names" in {warning.code for warning in score.warnings}
    assert "single-voice" not in {warning.code for warning in score.warnings}


@pytest.mark.parametrize(
    ("meter", "bar", "bass"),
    [
        ("4/4", '"C"c2 e2 g2 e2', [(0, 0), (2, 7)]),
        ("2/4", '"C"c2 e2', [(0, 0)]),
        ("2/2", '"C"c2 e2 g2 e2', [(0, 0), (2, 7)]),
        ("6/8", '"C"c3 e3', [(0, 0)]),
        ("4/4", '"C/E"c2 e2 g2 e2', [(0, 4), (2, 0)]),
        ("4/4", '"C"c2 "F"f2 "G"g2 e2', [(0, 0), (1, 5), (2, 7)]),
    ],
)
def test_bass_notes_of_a_bar(
    tmp_path: Path, meter: str, bar: str, bass: list[tuple[int, int]]
) -> None:
    """Beats and pitch classes: the root, the fifth on the other strong beat."""
    text = f"X:1\nT:One\nM:{meter}\nL:1/8\nK:C\n{bar} | {bar} | {bar} |]\n"
    found = left(score_of(tmp_path, text))
    alone = [(onset, midi) for onset, midi in found if [o for o, _ in found].count(onset) == 1]
    first = [(onset, midi % 12) for onset, midi in alone if onset < 2 * len(bass)]
    assert first[: len(bass)] == bass


def test_a_piece_with_a_bass_of_its_own_keeps_it(tmp_path: Path) -> None:
    chords = WALTZ.replace('"G"G A B', '"G"[G,G] A B')
    assert "chord-names" not in {w.code for w in score_of(tmp_path, chords).warnings}


def test_nothing_is_made_of_a_tune_without_names(tmp_path: Path) -> None:
    bare = WALTZ.replace('"G"', "").replace('"D7"', "")
    score = score_of(tmp_path, bare)
    assert left(score) == []
    assert "single-voice" in {warning.code for warning in score.warnings}


def test_no_chord_is_a_silence(tmp_path: Path) -> None:
    """Of N.C. nothing is made, until the next name."""
    path = tmp_path / "tune.musicxml"
    whole = converter.parse(WALTZ, format="abc")
    measure = whole.parts[0].getElementsByClass("Measure")[2]
    for symbol in list(measure.getElementsByClass(harmony.ChordSymbol)):
        measure.remove(symbol)
    measure.insert(0, harmony.NoChord())
    whole.write("musicxml", path)
    onsets = {onset for onset, _ in left(read(path))}
    assert onsets == {1, 2, 3, 7, 8, 9}


@pytest.mark.parametrize("name", ["fosterBrownHair", "berlinAlexandersRagtime"])
def test_lead_sheets_are_played_with_the_chords_they_name(name: str) -> None:
    """Source: two lead sheets of music21's corpus; the tones of a name as music21 says."""
    path = next(p for p in corpus.getPaths() if p.stem == name)
    score = read(path)
    page = converter.parse(path, forceSource=True).expandRepeats()
    symbols = list(page.flatten().getElementsByClass(harmony.ChordSymbol))
    assert len(symbols) > 15
    for symbol, following in pairwise(symbols):
        tones = {pitch.pitchClass for pitch in symbol.pitches}
        heard = {m % 12 for o, m in left(score) if symbol.offset <= o < following.offset}
        assert heard <= tones
        assert symbol.root().pitchClass in heard


def test_a_beginner_gets_an_alternating_bass_from_a_lead_sheet() -> None:
    path = next(p for p in corpus.getPaths() if p.stem == "fosterBrownHair")
    result = arrange(path)
    heard = result.verdict.fidelity
    assert result.verdict.violations == ()
    assert (heard.bass_roots, heard.thumb_beats) == (1.0, 1.0)
    assert heard.alternation >= 0.9


@pytest.mark.parametrize(
    "kind", ["major-minor", "pedal", "Tristan", "none", "other", "xyz", ""]
)
def test_a_strange_name_is_a_chord_or_a_silence(tmp_path: Path, kind: str) -> None:
    """Kinds of MusicXML 4.0 (``kind-value``) and what is none."""
    path = tmp_path / "tune.musicxml"
    converter.parse(WALTZ, format="abc").write("musicxml", path)
    text = path.read_text("utf-8")
    strange = re.sub(r"<kind[^>]*>dominant</kind>", f"<kind>{kind}</kind>", text)
    assert strange != text
    path.write_text(strange, "utf-8")
    assert {1, 2, 3} <= {onset for onset, _ in left(read(path))}


@pytest.mark.parametrize("kind", ["dominant", "none"])
def test_a_bar_without_end_is_refused_at_once(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "tune.musicxml"
    converter.parse(WALTZ, format="abc").write("musicxml", path)
    text = re.sub(r"<beats>3</beats>", "<beats>999999999</beats>", path.read_text("utf-8"))
    path.write_text(text.replace(">dominant<", f">{kind}<").replace(">major<", f">{kind}<"))
    with pytest.raises(UnreadableInput):
        read(path)


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("tune.abc", WALTZ.replace("M:3/4", "M:999999999/4")),
        ("tune.krn", "**kern\n*M999999999/4\n=1\n4c\n4d\n=2\n4e\n4f\n==\n*-\n"),
    ],
)
def test_so_is_one_in_abc_and_humdrum(tmp_path: Path, name: str, text: str) -> None:
    (tmp_path / name).write_text(text, "utf-8")
    with pytest.raises(UnreadableInput):
        read(tmp_path / name)


def test_the_tune_may_stand_in_any_part(tmp_path: Path) -> None:
    """An empty part before it, as of a staff nobody has filled, changes nothing."""
    whole = converter.parse(WALTZ, format="abc")
    empty = stream.Part([stream.Measure([note.Rest(quarterLength=1)])])
    whole.insert(0, empty)
    whole.elements = [empty, *(one for one in whole.elements if one is not empty)]
    path = tmp_path / "tune.musicxml"
    whole.write("musicxml", path)
    plain = score_of(tmp_path, WALTZ)
    found = read(path)
    assert [(n.midi, n.hand) for n in found.notes] == [(n.midi, n.hand) for n in plain.notes]
