"""What counts as a piece, and where each one's results belong."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from arranger.music.errors import UnreadableInput
from arranger.run.collection import _housed, collected
from arranger.run.store import keep, keep_file
from arranger.tables import LEVEL_NAMES


def _touch(folder: Path, *names: str) -> None:
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(b"")


def test_pieces_of_every_kind_in_order_and_nothing_else(tmp_path: Path) -> None:
    _touch(tmp_path, "b.MID", "a/c.krn", "a/b.mxl", "notes.txt", "a.pdf", "d.midi", "e.abc")
    _touch(tmp_path, ".hidden/x.mid", ".x.mid", "f.xml", "g.musicxml")
    (tmp_path / "folder.mid").mkdir()
    paths = [piece.path for piece in collected(tmp_path)]
    assert paths == ["a/b.mxl", "a/c.krn", "b.MID", "d.midi", "e.abc", "f.xml", "g.musicxml"]


def test_our_own_results_are_no_pieces(tmp_path: Path) -> None:
    _touch(tmp_path, "a.mid", "a/beginner.mid")
    keep({"practice.mid": b"", "score.musicxml": b""}, tmp_path / "out" / "a" / "beginner")
    keep_file(b"", tmp_path / "a" / "ours.xml")
    assert [piece.path for piece in collected(tmp_path)] == ["a.mid", "a/beginner.mid"]


def test_links_to_folders_are_not_followed(tmp_path: Path) -> None:
    _touch(tmp_path, "a.mid")
    (tmp_path / "round").symlink_to(tmp_path)
    assert [piece.path for piece in collected(tmp_path)] == ["a.mid"]


def test_names_that_come_out_alike_are_told_apart(tmp_path: Path) -> None:
    _touch(tmp_path, "a.krn", "a.mid", "A?.mid", "b c.mid", "b_c.mid", "d/a.mid")
    homes = [piece.home for piece in collected(tmp_path)]
    assert len({home.casefold() for home in homes}) == len(homes)
    assert "d/a" in homes


@example([":", "\ud800"])  # a name that is no text
@given(st.lists(st.text(st.characters(exclude_characters="\0/"), min_size=1, max_size=8)))
def test_homes_are_distinct_and_inside(names: list[str]) -> None:
    paths = sorted({f"{name}/{other}.mid" for name in names for other in names})
    homes = [piece.home for piece in _housed(paths)]
    assert len({home.casefold() for home in homes}) == len(paths)
    for home in homes:
        parts = home.split("/")
        assert not set(parts) & {"", ".", "..", *LEVEL_NAMES}


def test_no_result_lies_within_another(tmp_path: Path) -> None:
    _touch(tmp_path, "bach.mid", "bach/beginner.mid", "bach/Beginner/x.mid")
    folders = [f"{piece.home}/beginner" for piece in collected(tmp_path)]
    for folder in folders:
        assert not any(other.startswith(f"{folder}/") for other in folders)


def test_empty_or_missing_folder_is_said(tmp_path: Path) -> None:
    with pytest.raises(UnreadableInput, match="holds no piece"):
        collected(tmp_path)
    with pytest.raises(UnreadableInput, match="no such folder"):
        collected(tmp_path / "nowhere")


@pytest.mark.skipif(os.name == "nt", reason="names are text there")
def test_name_that_is_no_text_is_a_name_all_the_same(tmp_path: Path) -> None:
    (Path(os.fsdecode(os.fsencode(tmp_path) + b"/\xff\xfe.mid"))).write_bytes(b"")
    (found,) = collected(tmp_path)
    assert found.home == "piece"
    assert (tmp_path / found.path).is_file()
