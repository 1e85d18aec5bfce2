"""The tables and the page of a collection say the same, and nothing a file says can act."""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from faithful import HEARD

from arranger.music.outcome import Outcome
from arranger.run.overview import COLUMNS, write_overview
from arranger.run.shelf import FolderShelf
from arranger.run.store import NotOurs

EVIL = '</script><img src=x onerror="alert(1)">\u202e\0\x1b[2J'
OUTCOMES = [
    Outcome(
        piece="a/Für\udcff Elise.mid",
        level=level,
        status="done",
        folder=f"a/Für_Elise/{level}",
        title='=HYPERLINK("x"), "quoted"\nand two lines',
        composer="Anonymous",
        key="G major",
        capo=2,
        bars=32,
        difficulty=31.25,
        band="beginner",
        fidelity=HEARD,
        gap=0.01234567,
        warnings=("bar 3: odd", "odd too"),
        music="same",
    )
    for level in ("beginner", "advanced")
] + [
    Outcome(piece=f"{EVIL}.mid", level="beginner", status="unreadable", reason=EVIL),
    Outcome(piece="c.mid", level="beginner", status="refused", reason="x", unfit=(3, 4)),
    Outcome(piece="d.mid", level="beginner", status="refused", title=EVIL, music="same"),
]


def _rows() -> Iterator[Outcome]:
    return iter(OUTCOMES)


@pytest.fixture
def out(tmp_path: Path) -> Path:
    write_overview(_rows, FolderShelf(root=tmp_path, force=False))
    return tmp_path


def _summary(out: Path) -> list[dict[str, str]]:
    with (out / "summary.csv").open(encoding="utf-8", newline="") as source:
        return list(csv.DictReader(source))


def test_summary_has_a_row_for_each(out: Path) -> None:
    rows = _summary(out)
    assert len(rows) == len(OUTCOMES)
    assert list(rows[0]) == list(COLUMNS)
    assert rows[0]["piece"] == "a/Für? Elise.mid"
    assert rows[0]["title"] == f"'{OUTCOMES[0].title}"  # no formula
    assert (rows[0]["difficulty"], rows[0]["gap"], rows[0]["melody_kept"]) == (
        "31.25",
        "0.0123",
        "0.98",
    )
    assert rows[2]["difficulty"] == ""


def test_same_music_under_other_names_is_named(out: Path) -> None:
    alike = [row["same_music_as"] for row in _summary(out)]
    assert alike == ["d.mid", "d.mid", "", "", "a/Für? Elise.mid"]


def test_failures_are_those_without_a_result(out: Path) -> None:
    with (out / "failures.csv").open(encoding="utf-8", newline="") as source:
        rows = list(csv.DictReader(source))
    assert [row["status"] for row in rows] == ["unreadable", "refused", "refused"]
    assert rows[1] == {
        "piece": "c.mid",
        "level": "beginner",
        "status": "refused",
        "reason": "x",
        "bars": "3 4",
    }


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t=", "\r=", " =", "＝"])
def test_text_from_outside_is_no_formula(sign: str, tmp_path: Path) -> None:
    """A spreadsheet computes what begins so (OWASP, CSV injection)."""
    evil = f"{sign}cmd|'/c calc'!A1"
    rows = [
        replace(OUTCOMES[0], piece=evil, title=evil, composer=evil, warnings=(evil,)),
        replace(OUTCOMES[2], piece=evil, reason=evil),
    ]
    write_overview(lambda: iter(rows), FolderShelf(root=tmp_path, force=False))
    for name in ("summary.csv", "failures.csv"):
        with (tmp_path / name).open(encoding="utf-8", newline="") as source:
            cells = [cell for row in csv.reader(source) for cell in row if "calc" in cell]
        assert cells
        assert {cell[0] for cell in cells} == {"'"}, name


def test_parquet_says_what_the_summary_says(out: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet")
    table = parquet.read_table(out / "summary.parquet").to_pydict()
    rows = _summary(out)
    for name, kind in COLUMNS.items():
        expected = [kind(row[name]) if row[name] or kind is str else None for row in rows]
        assert table[name] == expected, name


def test_page_holds_every_row_and_no_foreign_markup(out: Path) -> None:
    page = (out / "index.html").read_text("utf-8")
    found = re.search(r'<script type="application/json" id="rows">(.*?)</script>', page, re.S)
    assert found
    rows = json.loads(found[1])
    assert [row[4] for row in rows] == [outcome.level for outcome in OUTCOMES]
    assert "onerror" in rows[2][12], "the text is there, as text"
    assert "\\u003c/script" in found[1]
    assert "<img" not in page
    assert page.count("<script") == 2
    assert "default-src 'none'" in page
    assert not re.search(r'(?:src|href)="(?!data:,|summary|failures)', page)


def test_same_outcomes_give_the_same_bytes(
    out: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    again = tmp_path_factory.mktemp("again")
    write_overview(_rows, FolderShelf(root=again, force=False))
    for name in ("index.html", "summary.csv", "failures.csv", ".made.json"):
        assert (again / name).read_bytes() == (out / name).read_bytes(), name


def test_file_of_that_name_that_is_not_ours_stays(tmp_path: Path) -> None:
    (tmp_path / "index.html").write_text("my home page")
    with pytest.raises(NotOurs, match=r"index\.html"):
        write_overview(_rows, FolderShelf(root=tmp_path, force=False))
    assert (tmp_path / "index.html").read_text() == "my home page"
    write_overview(_rows, FolderShelf(root=tmp_path, force=True))
    assert "A collection" in (tmp_path / "index.html").read_text("utf-8")
