"""The house: who may import whom, and where printing and processes live."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

HOUSE = Path(__file__).parents[3] / "arranger"
STAGES = ("read", "analyse", "reduce", "neck", "judge", "teach", "render")
FILES = sorted(HOUSE.rglob("*.py"))

MAY_ENTER: dict[str, frozenset[str]] = {
    "music": frozenset({"music"}),
    "tables": frozenset({"music", "tables"}),
    **{stage: frozenset({"music", "tables", stage}) for stage in STAGES},
    "run": frozenset({"music", "tables", "run", *STAGES}),
}

# Which rooms (or the one file) may import a library; every other place may not.
KEPT_IN: dict[str, tuple[str, ...]] = {
    "ortools": ("neck/",),
    "mido": ("read/", "render/"),
    "pretty_midi": ("read/",),
    "music21": ("read/",),
    "verovio": ("render/",),
    "typst": ("render/",),
    "typer": ("run/cli.py",),
    "click": ("run/cli.py",),
    "rich": ("run/cli.py",),
    "time": ("run/",),
    "datetime": ("run/",),
    "subprocess": ("run/",),
    "multiprocessing": ("run/",),
    "concurrent": ("run/",),
    "distributed": ("run/cluster.py",),
    "fsspec": ("run/shelf.py",),
    "pyarrow": ("run/overview.py",),
    "resource": ("run/worker.py",),
    "fcntl": ("run/alone.py",),
}


def _place(file: Path) -> str:
    return file.relative_to(HOUSE).as_posix()


def _imports(file: Path) -> Iterator[str]:
    """Dotted names of every module imported anywhere in the file."""
    for node in ast.walk(ast.parse(file.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{_place(file)} imports relatively"
            module = node.module or ""
            yield module
            yield from (f"{module}.{alias.name}" for alias in node.names)


def _rooms_entered(file: Path) -> set[str]:
    return {
        name.split(".")[1]
        for name in _imports(file)
        if name.startswith("arranger.") and name.split(".")[1] in MAY_ENTER
    }


@pytest.mark.parametrize("file", FILES, ids=_place)
def test_no_room_imports_against_the_flow(file: Path) -> None:
    room = _place(file).split("/")[0]
    if room in MAY_ENTER:
        assert _rooms_entered(file) <= MAY_ENTER[room]


def test_every_room_has_its_rule() -> None:
    rooms = {file.parent.relative_to(HOUSE).parts[0] for file in FILES if file.parent != HOUSE}
    assert rooms == MAY_ENTER.keys()


def test_judge_never_sees_the_solver() -> None:
    judges = [file for file in FILES if _place(file).startswith("judge/")]
    assert judges
    assert [_place(file) for file in judges if "neck" in _rooms_entered(file)] == []


@pytest.mark.parametrize("library", KEPT_IN)
def test_library_stays_in_its_room(library: str) -> None:
    strangers = [
        _place(file)
        for file in FILES
        if any(name.split(".")[0] == library for name in _imports(file))
        and not _place(file).startswith(KEPT_IN[library])
    ]
    assert strangers == []


def test_printing_lives_in_one_file() -> None:
    printing = {
        _place(file)
        for file in FILES
        for node in ast.walk(ast.parse(file.read_text("utf-8")))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name)
        and node.func.id in {"print", "input"}
    }
    assert printing <= {"run/cli.py"}


def test_no_file_is_named_after_a_programming_idea() -> None:
    vague = {"utils", "helpers", "manager", "common", "misc", "core", "base"}
    assert [_place(file) for file in FILES if file.stem in vague] == []


def test_no_two_files_of_tests_have_one_name() -> None:
    """They are imported by their base names: of two, one would not be run."""
    names = [file.name for file in HOUSE.parent.joinpath("tests").rglob("test_*.py")]
    assert sorted(set(names)) == sorted(names)
