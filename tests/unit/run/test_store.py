"""Results are written whole or not at all, and only inside the folder asked for."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arranger.music.errors import UsageError
from arranger.run.store import LONGEST_NAME, keep, keep_fault, piece_name


@pytest.mark.parametrize(
    ("file", "name"),
    [
        ("corpus/tin_kettle_rag.mid", "tin_kettle_rag"),
        ("Für Elise (easy).mid", "Für_Elise_easy"),
        ("..mid", "piece"),
        ("../../etc/passwd.mid", "passwd"),
        ("a/...", "piece"),
        ("🎸.mid", "piece"),
    ],
)
def test_folder_is_named_after_the_file(file: str, name: str) -> None:
    assert piece_name(Path(file)) == name


@given(st.text(min_size=1).filter(lambda text: "\0" not in text))
def test_folder_name_never_leads_elsewhere(text: str) -> None:
    name = piece_name(Path(text))
    assert 0 < len(name) <= LONGEST_NAME
    assert not set(name) & set("/\\.:\0")


def test_new_results_replace_old_ones_whole(tmp_path: Path) -> None:
    folder = tmp_path / "piece" / "beginner"
    keep({"tab.txt": b"one", "old.txt": b"old"}, folder)
    keep({"tab.txt": b"two"}, folder)
    assert {file.name: file.read_bytes() for file in folder.iterdir()} == {"tab.txt": b"two"}
    assert list(folder.parent.iterdir()) == [folder]


def test_nothing_changes_when_a_file_cannot_be_written(tmp_path: Path) -> None:
    folder = tmp_path / "piece" / "beginner"
    keep({"tab.txt": b"one"}, folder)
    with pytest.raises(UsageError, match="--out"):
        keep({"tab.txt": b"two", "no/such/folder.txt": b""}, folder)
    assert (folder / "tab.txt").read_bytes() == b"one"
    assert list(folder.parent.iterdir()) == [folder]


def test_place_that_is_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file")
    with pytest.raises(UsageError, match="cannot be written"):
        keep({"tab.txt": b""}, tmp_path / "out" / "piece" / "beginner")


def test_fault_keeps_the_input_beside_the_report(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setenv("HOME", str(tmp_path))
    source = tmp_path / "piece.mid"
    source.write_bytes(b"MThd")
    folder = keep_fault(source, "what happened")
    assert (folder / "input.mid").read_bytes() == b"MThd"
    assert (folder / "report.txt").read_text("utf-8") == "what happened"
    assert folder != keep_fault(source, "again")
