"""Is what we hand out whole? Build it, install it where nothing else is, and run it.

``python tests/bench/package.py [PYTHON …] [--keep FOLDER]`` builds the source archive and,
from that, the wheel; installs the wheel into a clean environment for each Python named
(else for each of 3.11, 3.12 and 3.13 that is found), outside the checkout, with the versions
of ``constraints.txt``; runs there what the README runs first; and compares the documents:
every Python has to make the same bytes. With ``--keep`` the two archives and a bill of
materials (CycloneDX, ``sbom.json``) of the first environment stay in FOLDER. Needs a package
index, or pip's cache of one. The exit code is the number of Pythons that fail.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
PIECE = ROOT / "corpus" / "tin_kettle_rag.mid"
DOCUMENTS = {
    "arrangement.json",
    "practice.mid",
    "score.musicxml",
    "sheet.html",
    "sheet.pdf",
    "tab.txt",
}
_LOOK = """
import arranger, pathlib
from arranger.music.errors import ArrangerError
home = pathlib.Path(arranger.__file__).parent
assert (home / "py.typed").is_file(), "py.typed is missing"
assert "site-packages" in home.parts, home
try:
    arranger.arrange("nothing.mid")
except ArrangerError as error:
    assert error.exit_code == 3
"""


def ran(*command: str | Path, folder: Path) -> str:
    """What the command prints; its own words where it fails."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
    ended = subprocess.run(
        command, cwd=folder, env=kept, capture_output=True, text=True, check=False
    )
    if ended.returncode:
        said = (ended.stdout + ended.stderr)[-2000:]
        named = " ".join(map(str, command))
        raise RuntimeError(f"{named} ended with {ended.returncode}\n{said}")
    return ended.stdout


def environment(python: str, folder: Path) -> Path:
    """A clean environment; the folder of its programs."""
    ran(python, "-m", "venv", folder, folder=folder.parent)
    return folder / ("Scripts" if os.name == "nt" else "bin")


def built(folder: Path) -> tuple[Path, Path]:
    """The source archive, and the wheel that is built from it."""
    programs = environment(sys.executable, folder / "builder")
    ran(programs / "python", "-m", "pip", "install", "-q", "build", folder=folder)
    made = folder / "dist"
    ran(programs / "python", "-m", "build", "-o", made, ROOT, folder=folder)
    return next(made.glob("*.tar.gz")), next(made.glob("*.whl"))


def installed(python: str, wheel: Path, folder: Path) -> Path:
    """The programs of a clean environment that holds the wheel and what it needs."""
    programs = environment(python, folder / "env")
    constraints = ROOT / "constraints.txt"
    asked = ("install", "-q", "-c", constraints, wheel)
    ran(programs / "python", "-m", "pip", *asked, folder=folder)
    return programs


def documents(programs: Path, folder: Path) -> dict[str, str]:
    """The README's first command, run where there is only the piece: hashes by name."""
    place = folder / "elsewhere"
    place.mkdir()
    shutil.copy(PIECE, place)
    ran(programs / "python", "-c", _LOOK, folder=place)
    for command in ("--help", "levels"):
        ran(programs / "arranger", command, folder=place)
    ran(programs / "arranger", "arrange", PIECE.name, folder=place)
    found = place / "out" / PIECE.stem / "beginner"
    ran(programs / "arranger", "rate", found / "arrangement.json", folder=place)
    return {
        name: hashlib.sha256((found / name).read_bytes()).hexdigest()
        for name in sorted(DOCUMENTS)
    }


def pythons() -> list[str]:
    """The versions we promise that are at hand: on the path, or next to one that is."""
    versions = Path.home() / ".pyenv" / "versions"
    found = []
    for version in ("3.11", "3.12", "3.13"):
        beside = sorted(versions.glob(f"{version}*/bin/python"))
        here = shutil.which(f"python{version}")
        found += [str(beside[-1])] if beside else [here] if here else []
    return found


def bill(programs: Path, folder: Path) -> Path:
    """A CycloneDX bill of materials of what is installed beside ``programs``."""
    maker = environment(sys.executable, folder / "bill")
    ran(maker / "python", "-m", "pip", "install", "-q", "cyclonedx-bom", folder=folder)
    found = folder / "sbom.json"
    asked = ("environment", "--output-reproducible", "-o", found, programs / "python")
    ran(maker / "cyclonedx-py", *asked, folder=folder)
    return found


def tried(python: str, wheel: Path, folder: Path) -> dict[str, str]:
    """What the wheel makes under this Python, said in a line."""
    folder.mkdir()
    began = time.perf_counter()
    hashes = documents(installed(python, wheel, folder), folder)
    version = ran(python, "--version", folder=folder).strip()
    seconds = time.perf_counter() - began
    print(f"{version}: installed, arranged and rated in {seconds:.0f} s", flush=True)
    return hashes


def main() -> int:
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("python", nargs="*")
    reader.add_argument("--keep", type=Path, help="a folder for the archives and sbom.json")
    told = reader.parse_args()
    failed = 0
    first: dict[str, str] = {}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        source, wheel = built(folder)
        for made in (source, wheel):
            print(f"{made.name}: {made.stat().st_size / 1000:.0f} kB", flush=True)
        for count, python in enumerate(told.python or pythons()):
            place = folder / re.sub(r"\W", "_", f"{count}")
            try:
                hashes = tried(python, wheel, place)
            except RuntimeError as error:
                failed += 1
                print(f"{python} FAILS: {error}", flush=True)
                continue
            first = first or hashes
            unlike = [file for file in hashes if hashes[file] != first[file]]
            failed += bool(unlike)
            for file in unlike:
                print(f"{python} FAILS: {file} has other bytes")
            if told.keep and not (told.keep / "sbom.json").exists():
                told.keep.mkdir(parents=True, exist_ok=True)
                for made in (source, wheel, bill(place / "env" / "bin", place)):
                    shutil.copy(made, told.keep)
    return failed


if __name__ == "__main__":
    sys.exit(main())
