"""What strangers may send is read, or refused with exit code 3 in one sentence; at once.

Each named attack of ``hostile_files`` is tried once, and mutants by their seed;
``tests/bench/fuzz.py`` tries very many.
"""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hostile_files import MEAN_TEXTS, MIDI_ATTACKS, NOTATION_ATTACKS, mutant
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from small_pieces import small_piece
from typer.testing import CliRunner

from arranger.music.analysis import Analysis
from arranger.music.errors import ArrangerError, UnreadableInput, UsageError
from arranger.render import arrangement_from_json
from arranger.run.cli import app
from arranger.run.look import page
from arranger.run.pipeline import arrange
from arranger.run.rate import rate
from arranger.run.understand import understand
from arranger.tables import level_named, player_from_file
from arranger.tables.marks import marks_from_file

RAW_CONTROL = re.compile(r"[\x00-\x09\x0b-\x1f\x7f\u200e\u200f\u202a-\u202e\u2066-\u2069]")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("hostile")


def heard(file: Path) -> Analysis | None:
    """What is heard in the file, shown; None where it is refused as it should be."""
    try:
        analysis = understand(file)
    except UnreadableInput as error:
        said = str(error)
        assert said.startswith(f"{file.name}: ")
        assert "\n" not in said
        assert len(said) < 300
        return None
    shown = page(analysis)
    assert not RAW_CONTROL.search(shown)
    assert len(analysis.score.title) <= 100
    return analysis


def refused(reading: Callable[..., object], file: Path, *others: object) -> int | None:
    """The exit code where ``reading`` refuses the file by name, in one sentence."""
    try:
        reading(file, *others)
    except ArrangerError as error:
        said = str(error)
        assert said.startswith(file.name)
        assert "\n" not in said
        return error.exit_code
    return None


@pytest.mark.parametrize("attack", MIDI_ATTACKS)
def test_attack_on_the_midi_reader(attack: str, folder: Path) -> None:
    file = folder / "attack.mid"
    file.write_bytes(MIDI_ATTACKS[attack]())
    heard(file)


@pytest.mark.parametrize("attack", NOTATION_ATTACKS)
def test_attack_on_the_notation_readers(attack: str, folder: Path) -> None:
    name, written = NOTATION_ATTACKS[attack]
    file = folder / name
    file.write_bytes(written())
    heard(file)
    if not name.endswith((".krn", ".abc")):
        assert refused(rate, file) in (None, 3)


def test_nothing_of_this_machine_gets_into_a_score(folder: Path) -> None:
    """An entity that names a file is left alone, whoever reads the score."""
    secret = folder / "secret.txt"
    secret.write_text("the colour of the curtains", "utf-8")
    file = folder / "outside.musicxml"
    attack = NOTATION_ATTACKS["a file of this machine as a name"][1]()
    file.write_bytes(attack.replace(b"/etc/hostname", secret.as_posix().encode()))
    analysis = heard(file)
    assert analysis is None or "curtains" not in page(analysis)


LIMITS = {
    "20,000 empty tracks": "more than 256 tracks",
    "10^6 notes at one tick": "more than 60000 notes",
    "a meter for every tick": "more than 1500",
    "bars of 64 thirty-seconds, most of them silent": "more than 20000",
    "waits just below the limit": "more than 60",
}


@pytest.mark.parametrize("attack", LIMITS)
def test_limit_is_answered_with_3_in_one_sentence(attack: str, folder: Path) -> None:
    file = folder / "attack.mid"
    file.write_bytes(MIDI_ATTACKS[attack]())
    result = CliRunner().invoke(app, ["look", str(file)])
    assert result.exit_code == 3
    assert LIMITS[attack] in result.stderr
    assert result.stderr.count("\n") == 1


def test_ornament_that_leads_to_an_ornament(folder: Path) -> None:
    """A fault that mutants found: two very short notes, each leading to the other."""
    file = folder / "ornament.mid"
    file.write_bytes(mutant(1549))
    assert heard(file) is not None


@pytest.mark.parametrize(
    ("seed", "fault"),
    [
        (501149, "notes without length end no stretch of a key"),
        (501243, "a beat shorter than the ticks of the notes: a meter of 64ths"),
        (848, "an ornament of an ornament"),
    ],
)
def test_what_mutants_found_is_read(folder: Path, seed: int, fault: str) -> None:
    file = folder / "found.mid"
    file.write_bytes(mutant(seed))
    assert heard(file) is not None, fault


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(seed=st.integers(0, 2**40))
def test_mutant_is_read_or_refused(folder: Path, seed: int) -> None:
    file = folder / "mutant.mid"
    file.write_bytes(mutant(seed))
    heard(file)


# ---- marks, player and JSON files ------------------------------------------------------

ODD_VALUES = (
    "0", "-1", "1e999", "nan", "99999999999999999999999", "true", '""', '"x"', "[]", "{}",
    "[[1]]", "1979-05-27", '"\\u0000"', '"../../x"', '[{bar = -1}]', '["1/0 melody"]',
    '[{bar = 1, beat = "1e99999999"}]', "inf",
)  # fmt: skip
MARKS = ("key", "capo", "bars", "leave_out", "ritardando", "voicings", "bar", "note")
PLAYER = ("name", "reach", "scale_length", "highest_fret", "techniques")


@pytest.mark.parametrize("value", ODD_VALUES)
@pytest.mark.parametrize("key", MARKS)
def test_marks_file_of_wrong_types(key: str, value: str, folder: Path) -> None:
    file = folder / "marks.toml"
    file.write_text(f"{key} = {value}\n", "utf-8")
    assert refused(marks_from_file, file) in (None, 2)


@pytest.mark.parametrize("value", ODD_VALUES)
@pytest.mark.parametrize("key", PLAYER)
def test_player_file_of_wrong_types(key: str, value: str, folder: Path) -> None:
    file = folder / "player.toml"
    file.write_text(f"{key} = {value}\n", "utf-8")
    assert refused(player_from_file, file, level_named("beginner")) in (None, 2)


DEEP_TOML = (
    "x = " + "[" * 100_000,
    "x" + ".x" * 20_000 + " = 1",
    "x = [\n" + "[\n" * 9000,
    "\ufeff[",
    "key = 'G'\0",
)


@pytest.mark.parametrize("text", DEEP_TOML, ids=["brackets", "dots", "lines", "mark", "NUL"])
def test_toml_that_is_none(text: str, folder: Path) -> None:
    file = folder / "deep.toml"
    file.write_text(text, "utf-8")
    with pytest.raises(UsageError):
        marks_from_file(file)
    with pytest.raises(UsageError):
        player_from_file(file, level_named("beginner"))


@pytest.fixture(scope="module")
def document(folder: Path) -> dict[str, Any]:
    """The JSON of a small arrangement."""
    made = arrange(small_piece(folder / "small.mid"), anyway=True)
    found: dict[str, Any] = json.loads(made.documents()["arrangement.json"])
    return found


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The ways to every value in a JSON document."""
    inside = (
        value.items()
        if isinstance(value, dict)
        else enumerate(value)
        if isinstance(value, list)
        else ()
    )
    return [path] * bool(path) + [
        way for key, held in inside for way in places(held, (*path, key))
    ]


ODD_JSON = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**20), 10**20),
    st.floats(allow_nan=False, allow_infinity=False),
    st.sampled_from((*MEAN_TEXTS, "1/0", "-1", "1e400", "9" * 5000, "0", "1/3", "T", "melody")),
    st.just([]),
    st.just({}),
    st.just([[[1]]]),
)


@settings(max_examples=80, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data(), value=ODD_JSON)
def test_arrangement_of_wrong_values(
    folder: Path, document: dict[str, Any], data: st.DataObject, value: Any
) -> None:
    way = data.draw(st.sampled_from(places(document)))
    wrong = copy.deepcopy(document)
    held: Any = wrong
    for key in way[:-1]:
        held = held[key]
    held[way[-1]] = value
    file = folder / "arrangement.json"
    file.write_text(json.dumps(wrong), "utf-8")
    assert refused(rate, file) in (None, 3)


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", "{}", "[1]", "null", "[" * 100_000, '{"schema": NaN}', '{"a": 1e999}'],
    ids=lambda text: text[:12],
)
def test_json_that_is_no_arrangement(text: str) -> None:
    with pytest.raises(UnreadableInput):
        arrangement_from_json(text)
