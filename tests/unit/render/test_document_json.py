"""arrangement.json: the contract, its schema, and the way back."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction

import pytest
from render_tunes import LESSON, TUNES, alternating_bass, jig, little_rag, verdict_of, waltz

from arranger.music.errors import InternalFault, UnreadableInput
from arranger.render import arrangement_from_json, documents
from arranger.render.document_json import arrangement_json, schema_validator


def _text(arrangement) -> str:  # type: ignore[no-untyped-def]
    return arrangement_json(arrangement, verdict_of(arrangement), LESSON)


def test_the_schema_is_a_schema() -> None:
    schema_validator().check_schema(schema_validator().schema)


def test_the_keys_and_their_order_are_those_of_the_contract() -> None:
    document = json.loads(_text(little_rag()))
    assert list(document) == [
        "schema",
        "title",
        "level",
        "source",
        "key",
        "transposed_by",
        "capo",
        "tuning",
        "tempo",
        "swing",
        "written_scale",
        "bars",
        "shapes",
        "notes",
        "difficulty",
        "fidelity",
        "proof",
        "lesson",
        "dropped",
    ]
    assert document["bars"][1] == {
        "bar": 2,
        "start": "2",
        "length": "2",
        "beat": "1/2",
        "written_bar": 2,
        "chord": None,
        "same_as": 1,
    }
    assert document["notes"][0] == {
        "onset": "0",
        "length": "1/2",
        "midi": 43,
        "string": 6,
        "fret": 3,
        "left": "2",
        "right": "p",
        "voice": "bass",
        "bar": 1,
        "slur": None,
        "from": [0],
    }
    assert document["proof"]["gap"] == pytest.approx((812 - 806) / 812)
    assert document["shapes"][0]["fingers"] == ["2", "1", None, None, None, "3"]


@pytest.mark.parametrize("tune", TUNES)
def test_what_is_played_comes_back(tune) -> None:  # type: ignore[no-untyped-def]
    piece = tune()
    (back,) = arrangement_from_json(_text(piece))
    for field in ("notes", "key", "capo", "tuning", "shapes", "dropped", "proof", "warnings"):
        assert getattr(back, field) == getattr(piece, field)
    for bar, original in zip(back.bars, piece.bars, strict=True):
        assert replace(bar, section=original.section) == original


def test_a_list_of_documents_is_read_as_several() -> None:
    text = f"[{_text(jig())}, {_text(waltz())}]"
    assert [piece.title for piece in arrangement_from_json(text)] == ["A Jig", "A Waltz"]


def _changed(**fields: object) -> str:
    return json.dumps(json.loads(_text(alternating_bass())) | fields)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        "null",
        "[" * 100_000,
        '{"schema": 1}',
        _changed(schema=2),
        _changed(surprise=True),
        _changed(bars=[]),
        _changed(tuning=[64, 59]),
        _changed(tempo={"target": float("nan"), "student": 60}),
        _changed(key="H major"),
    ],
)
def test_anything_else_is_refused_in_words(text: str) -> None:
    with pytest.raises(UnreadableInput):
        arrangement_from_json(text)


def _with_note(**fields: object) -> str:
    document = json.loads(_text(alternating_bass()))
    document["notes"][0] |= fields
    return json.dumps(document)


@pytest.mark.parametrize(
    "fields",
    [
        {"midi": 49},
        {"string": 0},
        {"fret": -1},
        {"fret": 1.5},
        {"left": "5"},
        {"onset": "1/0"},
        {"onset": "100"},
        {"length": "0"},
        {"length": "1" * 5000},
    ],
)
def test_a_note_that_cannot_be_is_refused(fields: dict[str, object]) -> None:
    with pytest.raises(UnreadableInput):
        arrangement_from_json(_with_note(**fields))


def test_bars_must_follow_each_other() -> None:
    document = json.loads(_text(alternating_bass()))
    document["bars"][1]["start"] = "5"
    with pytest.raises(UnreadableInput, match="bar 2"):
        arrangement_from_json(json.dumps(document))


def test_our_own_mistake_is_a_fault_of_ours() -> None:
    piece = alternating_bass()
    wrong = replace(piece.notes[0], length=Fraction(0))
    with pytest.raises(InternalFault, match="schema"):
        _text(replace(piece, notes=(wrong, *piece.notes[1:])))


@pytest.mark.parametrize("tune", TUNES)
def test_all_documents_are_the_same_bytes_twice(tune) -> None:  # type: ignore[no-untyped-def]
    first, second = (documents(tune(), verdict_of(tune()), LESSON) for _ in range(2))
    assert first == second
    assert {"tab.txt", "arrangement.json", "score.musicxml", "practice.mid"} <= set(first)


def test_a_file_name_that_is_no_text_is_still_written() -> None:
    piece = replace(alternating_bass(), file="\udcff.mid", title="\udcff")
    assert documents(piece, verdict_of(piece), LESSON)
