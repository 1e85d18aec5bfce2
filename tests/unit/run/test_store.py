"""Results are written whole or not at all, and only inside the folder asked for."""

from __future__ import annotations

import errno
import os
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arranger.music.errors import UsageError
from arranger.run import store
from arranger.run.store import (
    LONGEST_NAME,
    MADE,
    NotOurs,
    Unwritable,
    keep,
    keep_fault,
    keep_file,
    made_in,
    piece_name,
)


@pytest.mark.parametrize(
    ("file", "name"),
    [
        ("corpus/tin_kettle_rag.mid", "tin_kettle_rag"),
        ("Für Elise (easy).mid", "Für_Elise_easy"),
        ("..mid", "piece"),
        ("../../etc/passwd.mid", "passwd"),
        ("a/...", "piece"),
        ("🎸.mid", "piece"),
        ("CON.mid", "CON_"),
        ("lpt1.mid", "lpt1_"),
        ("console.mid", "console"),
        ("-rf.mid", "rf"),
        ("\u202egnp.exe.mid", "gnp_exe"),
        ("a\nb\x1b[2J.mid", "a_b_2J"),
        ("ab" * 200, "ab" * 40),
        ("𠀀" * 60, "𠀀" * 40),
    ],
)
def test_folder_is_named_after_the_file(file: str, name: str) -> None:
    assert piece_name(Path(file)) == name


@given(st.text(min_size=1).filter(lambda text: "\0" not in text))
def test_folder_name_never_leads_elsewhere(text: str) -> None:
    name = piece_name(Path(text))
    assert 0 < len(name) <= LONGEST_NAME
    assert not set(name) & set("/\\.:\0")
    assert len(name.encode("utf-8")) <= 2 * LONGEST_NAME


def _content(folder: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in folder.iterdir() if file.name != MADE}


def test_new_results_replace_old_ones_whole(tmp_path: Path) -> None:
    folder = tmp_path / "piece" / "beginner"
    keep({"tab.txt": b"one", "old.txt": b"old"}, folder)
    keep({"tab.txt": b"two"}, folder)
    assert _content(folder) == {"tab.txt": b"two"}
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


def test_file_beside_the_results_is_never_lost(tmp_path: Path) -> None:
    folder = tmp_path / "piece" / "beginner"
    keep({"tab.txt": b"one"}, folder)
    (folder / "my notes.txt").write_text("bar 3 slowly")
    with pytest.raises(NotOurs, match=r"my notes\.txt.*--force"):
        keep({"tab.txt": b"two"}, folder)
    assert _content(folder) == {"tab.txt": b"one", "my notes.txt": b"bar 3 slowly"}
    keep({"tab.txt": b"two"}, folder, force=True)
    assert _content(folder) == {"tab.txt": b"two"}


def test_result_changed_by_hand_is_not_replaced(tmp_path: Path) -> None:
    folder = tmp_path / "piece" / "beginner"
    keep({"tab.txt": b"one"}, folder)
    (folder / "tab.txt").write_bytes(b"with my fingering")
    with pytest.raises(NotOurs, match="changed since"):
        keep({"tab.txt": b"two"}, folder)
    assert _content(folder) == {"tab.txt": b"with my fingering"}


def test_folder_that_was_there_before_is_not_taken(tmp_path: Path) -> None:
    folder = tmp_path / "piece" / "beginner"
    folder.mkdir(parents=True)
    keep({"tab.txt": b"one"}, folder)  # empty: nothing is lost
    other = tmp_path / "piece" / "advanced"
    other.mkdir()
    (other / "tab.txt").write_bytes(b"mine")
    with pytest.raises(NotOurs):
        keep({"tab.txt": b"one"}, other)
    assert [file.name for file in other.iterdir()] == ["tab.txt"]


def test_single_file_replaces_only_our_own(tmp_path: Path) -> None:
    page = tmp_path / "piece" / "compare.html"
    keep_file(b"one", page)
    keep_file(b"two", page)
    beside = page.with_name("other.html")
    beside.write_bytes(b"mine")
    with pytest.raises(NotOurs):
        keep_file(b"ours", beside)
    page.write_bytes(b"changed")
    with pytest.raises(NotOurs):
        keep_file(b"three", page)
    assert _content(page.parent) == {"compare.html": b"changed", "other.html": b"mine"}
    keep_file(b"three", page, force=True)
    assert page.read_bytes() == b"three"
    assert made_in(page.parent)["files"].keys() == {"compare.html"}


@pytest.mark.parametrize("step", ["fsync", "rename", "replace", "mkdir"])
@pytest.mark.parametrize("reason", [errno.ENOSPC, errno.EROFS, errno.EIO])
def test_whatever_fails_the_old_files_are_intact(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str, reason: int
) -> None:
    """A full disk, a read-only one and a broken one, at every call and each time it is made."""
    folder, page = tmp_path / "piece" / "beginner", tmp_path / "piece" / "compare.html"

    def write(content: bytes) -> None:
        with suppress(Unwritable):
            keep({"tab.txt": content, "sheet.pdf": content}, folder)
        with suppress(Unwritable):
            keep_file(content, page)

    write(b"old")
    place = os if step == "fsync" else Path
    real = getattr(place, step)
    for fails_at in range(1, 9):
        calls = 0

        def once_broken(*given: Any, fails_at: int = fails_at, **named: Any) -> Any:
            nonlocal calls
            calls += 1
            if calls == fails_at:
                raise OSError(reason, os.strerror(reason))
            return real(*given, **named)

        with monkeypatch.context() as broken:
            broken.setattr(place, step, once_broken)
            write(b"new")
        assert len(set(_content(folder).values())) == 1, "a mixture of old and new"
        assert _content(folder).keys() == {"tab.txt", "sheet.pdf"}
        assert page.read_bytes() in {b"old", b"new"}
        assert {entry.name for entry in page.parent.iterdir()} == {
            "beginner",
            "compare.html",
            MADE,
        }
        write(b"old")  # and what is there is still known as ours
        assert set(_content(folder).values()) == {b"old"}
        assert page.read_bytes() == b"old"


def test_full_disk_is_said_in_words(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(store.os, "fsync", full)
    with pytest.raises(Unwritable, match=r"no space left.*--out"):
        keep({"tab.txt": b"one"}, tmp_path / "piece" / "beginner")


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write")
def test_read_only_folder_is_said_in_words(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(Unwritable, match="--out"):
        keep({"tab.txt": b"one"}, tmp_path / "piece" / "beginner")
    tmp_path.chmod(0o700)


def test_interrupted_between_two_renames_the_old_folder_comes_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "piece" / "beginner"
    keep({"tab.txt": b"one"}, folder)
    real = Path.rename

    def interrupted(self: Path, target: Path) -> Path:
        if target == folder and self.name != "old":
            raise KeyboardInterrupt
        return real(self, target)

    monkeypatch.setattr(Path, "rename", interrupted)
    with pytest.raises(KeyboardInterrupt):
        keep({"tab.txt": b"two"}, folder)
    assert _content(folder) == {"tab.txt": b"one"}
