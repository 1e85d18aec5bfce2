"""Rating a tab that exists, as a teacher types it."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

import arranger
from arranger.judge import difficulty
from arranger.music.rating import Rating
from arranger.run.cli import app
from arranger.tables import default_player
from arranger.tables.habits import as_written

TUNE = Path(__file__).parents[2] / "corpus" / "auld_lang_syne.mid"


def _rate(path: Path, *options: str) -> Result:
    return CliRunner().invoke(app, ["rate", str(path), *options])


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What ``arrange`` wrote of a piece for the intermediate level."""
    out = tmp_path_factory.mktemp("out")
    options = ["arrange", str(TUNE), "--level", "intermediate", "--anyway", "--out", str(out)]
    result = CliRunner().invoke(app, options)
    assert result.exit_code == 0, result.stderr
    return out / TUNE.stem / "intermediate"


@pytest.fixture(scope="module")
def rating(made: Path) -> Rating:
    return arranger.rate(made / "arrangement.json")


def test_score_bars_rules_and_what_would_ease_it(made: Path) -> None:
    result = _rate(made / "arrangement.json")
    assert result.exit_code == 0, result.stderr
    assert "of 100" in result.stdout
    assert "rules of the hand: all kept" in result.stdout
    assert "slower, " in result.stdout
    assert result.stdout.count("  bar ") >= 5


def test_the_same_as_json(made: Path, rating: Rating) -> None:
    told = json.loads(_rate(made / "arrangement.json", "--json").stdout)
    grade = rating.difficulty
    assert (told["low"], told["score"], told["high"]) == (grade.low, grade.score, grade.high)
    assert sum(one["points"] for one in told["reasons"]) == pytest.approx(grade.score, abs=0.2)
    assert [one["bar"] for one in told["hardest"]] == [one.bar for one in rating.hardest]
    assert [one["what"] for one in told["easier"]] == [one.what for one in rating.easings]


def test_our_json_is_rated_as_it_was(made: Path, rating: Rating) -> None:
    said = json.loads((made / "arrangement.json").read_text("utf-8"))["difficulty"]
    found = rating.difficulty
    assert found.score == said["score"]
    assert [bar.points for bar in found.bars] == [bar["points"] for bar in said["bars"]]


def test_the_interval_holds_the_score(rating: Rating) -> None:
    grade = rating.difficulty
    assert 0 <= grade.low < grade.score < grade.high <= 100


def test_our_score_is_a_tab_with_the_same_hands(made: Path, rating: Rating) -> None:
    """Only what MusicXML does not say of an arrangement is missing: its shapes, the tempo to
    aim at, and that the hand lets a thumb's note go before the end of its beat.
    """
    tab = arranger.rate(made / "score.musicxml")
    own = rating
    assert tab.violations == ()
    scale = own.arrangement.written_scale
    assert [(n.onset, n.string, n.fret, n.left) for n in tab.arrangement.notes] == [
        (n.onset * scale, n.string, n.fret, n.left) for n in own.arrangement.notes
    ]
    for written, held in zip(tab.arrangement.notes, own.arrangement.notes, strict=True):
        assert written.length >= held.length * scale
        assert held.voice == "bass" or written.length == held.length * scale
    bare = replace(
        own.arrangement,
        target_tempo=own.arrangement.student_tempo,
        shapes=(),
        chords=(),
        notes=tuple(
            replace(held, length=written.length / scale)
            for held, written in zip(own.arrangement.notes, tab.arrangement.notes, strict=True)
        ),
    )
    level = as_written()
    graded = difficulty(bare, level, default_player(level))
    assert tab.difficulty.score == pytest.approx(graded.score, abs=0.1)


def test_every_proposal_is_kept_to(made: Path, rating: Rating) -> None:
    """A slower tempo saves what is said when the tab is rated at that tempo."""
    slower = next(e for e in rating.easings if e.what.startswith("slower, "))
    tempo = float(slower.what.split()[1])
    again = arranger.rate(made / "arrangement.json", tempo=tempo)
    assert again.difficulty.score == slower.score
    assert rating.difficulty.score - slower.score == pytest.approx(slower.points, abs=0.05)
    assert all(easing.points > 0 for easing in rating.easings)


def test_a_score_without_fingers_is_fingered_first(made: Path) -> None:
    """The practice MIDI of an arrangement holds its notes and nothing of the hands."""
    result = _rate(made / "practice.mid")
    assert result.exit_code == 0, result.stderr
    assert "rules of the hand: all kept" in result.stdout


def test_bars_that_are_named_exist(rating: Rating) -> None:
    bars = {bar.bar for bar in rating.arrangement.bars}
    named = {reason.bar for reason in (*rating.hardest, *rating.difficulty.reasons)}
    assert named <= bars
    assert len(rating.hardest) == 5


def test_a_tab_no_hand_can_hold_is_told_by_bar(made: Path, tmp_path: Path) -> None:
    document = json.loads((made / "arrangement.json").read_text("utf-8"))
    note = next(note for note in document["notes"] if note["string"] == 1 and note["fret"])
    note["fret"] += 9
    note["midi"] += 9
    broken = tmp_path / "broken.json"
    broken.write_text(json.dumps(document), "utf-8")
    result = _rate(broken)
    assert result.exit_code == 0
    assert "broken" in result.stdout.split("rules of the hand: ")[1].splitlines()[0]


@pytest.mark.parametrize(
    ("name", "content", "code"),
    [
        ("none.json", None, 3),
        ("empty.json", b"", 3),
        ("odd.json", b"{}", 3),
        ("many.json", b"[]", 3),
        ("torn.json", b'{"schema": 1', 3),
        ("odd.musicxml", b"<html/>", 3),
        ("noise.bin", bytes(range(256)), 3),
        ("silent.mid", b"MThd\0\0\0\6\0\0\0\0\0\x60", 3),
    ],
)
def test_what_is_no_tab_is_one_sentence(
    tmp_path: Path, name: str, content: bytes | None, code: int
) -> None:
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    result = _rate(path)
    assert result.exit_code == code, result.output
    assert result.stderr.startswith("arranger: ")
    assert "Traceback" not in result.output


def test_options_that_cannot_be_meant(made: Path) -> None:
    for options in (["--level", "master"], ["--tempo", "0"], ["--player", "nobody.toml"]):
        result = _rate(made / "arrangement.json", *options)
        assert result.exit_code == 2, result.output
