"""Small pieces of the corpus placed for a beginner, with the judge as a second view."""

from __future__ import annotations

import os
import subprocess
import sys
from itertools import groupby
from pathlib import Path

import pytest

from arranger import Result, arrange
from arranger.music.arrangement import Arrangement

ROOT = Path(__file__).parents[3]
PIECES = ("tin_kettle_rag", "augustin_waltz", "amazing_grace_hymn")


@pytest.fixture(scope="module", params=PIECES)
def name(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture(scope="module")
def result(name: str) -> Result:
    return arrange(ROOT / "corpus" / f"{name}.mid", level="beginner")


def tab(arrangement: Arrangement) -> dict[int, list[tuple[object, ...]]]:
    """What is played in each bar, onsets counted from its start."""
    starts = {bar.bar: bar.start for bar in arrangement.bars}
    return {
        number: [
            (n.onset - starts[number], n.length, n.string, n.fret, n.left, n.right, n.voice)
            for n in notes
        ]
        for number, notes in groupby(arrangement.notes, key=lambda note: note.bar)
    }


def test_the_judge_finds_nothing(result: Result) -> None:
    assert result.verdict.violations == ()


def test_the_tune_is_on_top(result: Result) -> None:
    """Whenever a tune note begins, what sounds below it is lower and on a lower string."""
    notes = result.arrangement.notes
    tune = [note for note in notes if note.voice == "melody"]
    assert tune
    for note in tune:
        for other in notes:
            if other.voice != "melody" and other.onset <= note.onset < other.end:
                assert other.midi < note.midi
                assert other.string > note.string


def test_bars_said_to_be_the_same_have_the_same_tab(result: Result) -> None:
    played = tab(result.arrangement)
    same = [bar for bar in result.arrangement.bars if bar.same_as is not None]
    assert same
    for bar in same:
        assert bar.same_as < bar.bar
        assert played[bar.bar] == played[bar.same_as]


def test_the_proof_leaves_little_room(result: Result) -> None:
    proof = result.arrangement.proof
    assert proof.bound <= proof.objective
    assert proof.gap <= 0.03


@pytest.fixture(scope="module")
def salted() -> dict[str, str]:
    """The pieces arranged by another process, whose hashes are salted differently."""
    script = (
        "import sys; from arranger import arrange;"
        "[print(repr(arrange(p, level='beginner').arrangement)) for p in sys.argv[1:]]"
    )
    told = subprocess.run(
        [sys.executable, "-c", script, *(ROOT / "corpus" / f"{name}.mid" for name in PIECES)],
        env={**os.environ, "PYTHONHASHSEED": "4242"},
        capture_output=True,
        text=True,
        check=True,
    )
    return dict(zip(PIECES, told.stdout.splitlines(), strict=True))


def test_another_process_comes_to_the_same(
    name: str, result: Result, salted: dict[str, str]
) -> None:
    assert salted[name] == repr(result.arrangement)


def test_a_piece_arranged_twice_comes_out_the_same() -> None:
    """What the first run leaves in memory must not change the second."""
    path = ROOT / "corpus" / "amazing_grace_hymn.mid"
    assert arrange(path).arrangement == arrange(path).arrangement
