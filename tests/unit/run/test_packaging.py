"""What is handed out is whole: the archives' lists, and what comes along with them."""

from __future__ import annotations

import re
import tarfile
import tomllib
import zipfile
from importlib.metadata import distribution
from pathlib import Path

import pytest
from hatchling.builders.sdist import SdistBuilder
from hatchling.builders.wheel import WheelBuilder
from packaging.requirements import Requirement

ROOT = Path(__file__).parents[3]
PACKAGE = ROOT / "arranger"
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> zipfile.ZipFile:
    """The wheel, built by the backend that pyproject.toml names."""
    (made,) = WheelBuilder(str(ROOT)).build(directory=str(tmp_path_factory.mktemp("wheel")))
    return zipfile.ZipFile(made)


def files_of(folder: Path) -> set[str]:
    return {
        path.relative_to(folder.parent).as_posix()
        for path in folder.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }


def test_wheel_holds_every_file_of_the_package(wheel: zipfile.ZipFile) -> None:
    inside = {name for name in wheel.namelist() if ".dist-info/" not in name}
    assert inside == files_of(PACKAGE)


def test_wheel_holds_what_is_no_program(wheel: zipfile.ZipFile) -> None:
    """Tables, pages, the schema and the mark of a typed package, all as they are here."""
    kinds = {Path(name).suffix for name in wheel.namelist() if name.startswith("arranger/")}
    assert {".toml", ".css", ".js", ".typ", ".json", ".typed"} <= kinds
    for name in wheel.namelist():
        if name.startswith("arranger/") and not name.endswith((".py", "py.typed")):
            assert wheel.read(name) == (ROOT / name).read_bytes()


def test_wheel_says_licence_and_command(wheel: zipfile.ZipFile) -> None:
    inside = {name.partition(".dist-info/")[2]: name for name in wheel.namelist()}
    assert wheel.read(inside["licenses/LICENSE"]) == (ROOT / "LICENSE").read_bytes()
    assert b"arranger = arranger.run.cli:main" in wheel.read(inside["entry_points.txt"])
    assert b"License-Expression: Apache-2.0" in wheel.read(inside["METADATA"])


def test_source_archive_builds_and_tests_itself(tmp_path: Path) -> None:
    (made,) = SdistBuilder(str(ROOT)).build(directory=str(tmp_path))
    with tarfile.open(made) as archive:
        inside = {name.partition("/")[2] for name in archive.getnames()}
    assert files_of(PACKAGE) <= inside
    for name in ("pyproject.toml", "constraints.txt", "LICENSE", "README.md", "DEVELOPERS.md"):
        assert name in inside
    assert "tests/conftest.py" in inside
    assert "corpus/tin_kettle_rag.mid" in inside


def plain(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def brought_along() -> set[str]:
    """Every package that a plain installation brings, as installed here."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    waiting, found = list(settings["project"]["dependencies"]), set[str]()
    while waiting:
        asked = Requirement(waiting.pop())
        name = plain(asked.name)
        if name in found or (asked.marker and not asked.marker.evaluate({"extra": ""})):
            continue
        found.add(name)
        waiting += distribution(name).requires or ()
    return found


def test_licence_of_everything_brought_along_is_listed() -> None:
    section = DEVELOPERS.partition("| package | licence")[2]
    listed = dict(re.findall(r"^\| ([a-z0-9-]+) \| ([^|]+) \|", section, re.MULTILINE))
    assert brought_along() <= listed.keys()
    assert [name for name, licence in listed.items() if licence.strip() == "not stated"] == []


def test_everything_brought_along_has_a_tested_version() -> None:
    lines = (ROOT / "constraints.txt").read_text("utf-8").splitlines()
    pinned = {plain(line.partition("==")[0]) for line in lines if "==" in line}
    assert brought_along() <= pinned
