"""The journal keeps what it told, whatever happens to its last line."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pytest
from faithful import HEARD

from arranger.music.outcome import Outcome
from arranger.run.journal import Entry, Journal


def _entry(number: int, **said: object) -> Entry:
    outcome = Outcome(
        piece=f"folder/Für Elise {number}\udcff.mid",  # a name that is no text
        level="beginner",
        status="done",
        unfit=(3, 4),
        warnings=("two\nlines",),
        difficulty=31.4159,
        fidelity=HEARD,
    )
    fields = {"sizes": {"tab.txt": 12}, "limits": (600.0, 0.0), **said}
    return Entry(key=hashlib.sha256(bytes([number])).hexdigest(), outcome=outcome, **fields)  # type: ignore[arg-type]


def test_what_is_added_is_there_again(tmp_path: Path) -> None:
    entries = [_entry(number) for number in range(5)]
    with Journal(tmp_path / "journal") as journal:
        for entry in entries:
            journal.add(entry)
    with Journal(tmp_path / "journal") as journal:
        assert len(journal) == 5
        assert [journal.get(entry.key) for entry in entries] == entries
        assert journal.get("f" * 64) is None


def test_the_last_word_counts(tmp_path: Path) -> None:
    with Journal(tmp_path / "journal") as journal:
        journal.add(_entry(1, tries=1))
        journal.add(_entry(2))
        journal.add(_entry(1, tries=2))
    with Journal(tmp_path / "journal") as journal:
        found = journal.get(_entry(1).key)
        assert found is not None
        assert found.tries == 2


def test_torn_anywhere_it_keeps_every_whole_line_and_goes_on(tmp_path: Path) -> None:
    file = tmp_path / "journal"
    with Journal(file) as journal:
        journal.add(_entry(1))
        whole = file.stat().st_size
        journal.add(_entry(2))
    content = file.read_bytes()
    for cut in range(whole, len(content), 5):
        file.write_bytes(content[:cut])
        with Journal(file) as journal:
            assert journal.get(_entry(1).key) == _entry(1)
            assert journal.get(_entry(2).key) is None
            journal.add(_entry(3))
        with Journal(file) as journal:
            assert len(journal) == 2
            assert journal.get(_entry(3).key) == _entry(3)


def test_damaged_line_costs_only_itself(tmp_path: Path) -> None:
    file = tmp_path / "journal"
    with Journal(file) as journal:
        for number in range(3):
            journal.add(_entry(number))
    lines = file.read_bytes().splitlines(keepends=True)
    for damaged in (b"\n", b"null\n", b'{"key": "zz"}\n', lines[1][:90] + b"}\n"):
        file.write_bytes(lines[0] + damaged + lines[2])
        with Journal(file) as journal:
            assert journal.get(_entry(0).key) == _entry(0)
            assert journal.get(_entry(1).key) is None
            assert journal.get(_entry(2).key) == _entry(2)


def test_an_entry_is_on_the_disk_before_it_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen = []
    monkeypatch.setattr(os, "fsync", lambda number: seen.append(os.fstat(number).st_size))
    with Journal(tmp_path / "journal") as journal:
        journal.add(_entry(1))
    assert seen == [(tmp_path / "journal").stat().st_size]
