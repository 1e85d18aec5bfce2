"""Would a test notice? Each line of the hand's rules is changed, and the tests have to fail.

    pip install mutmut
    python tests/bench/mutants.py [FILE …] [--tests PATH …] [--keep FOLDER]

Mutates the files named (else the rules of the hand in ``judge`` and ``neck``) in a copy of the
project and runs the tests named (else those that are about the hand) against every mutant. It
prints how many were killed and a difference for each that survived; the exit code is the number
of survivors, at most 99. What survives is either a test that is missing or a line that decides
nothing: texts of messages are not mutated. Takes minutes to hours; one process.

Mutants are run in forks of a process that has run the tests once. What a cache kept from then
hides the change: a test of a cached function has to clear its cache.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parents[2]
RULES = (
    "arranger/judge/rules.py",
    "arranger/judge/grip.py",
    "arranger/judge/fretting.py",
    "arranger/judge/plucking.py",
    "arranger/neck/reach.py",
    "arranger/neck/grips.py",
    "arranger/neck/presses.py",
)
TESTS = (
    "tests/unit/judge",
    "tests/unit/neck/test_reach.py",
    "tests/unit/neck/test_hands.py",
    "tests/unit/neck/test_presses.py",
    "tests/oracle/test_grips_plain.py",
    "tests/oracle/test_grips_as_written.py",
    "tests/oracle/test_rules_by_sampling.py",
    "tests/outside/test_open_shapes.py",
    "tests/outside/test_published_shapes.py",
    "tests/outside/test_trade_facts.py",
    "tests/outside/test_fret_geometry.py",
)
NEEDED = ("arranger", "tests", "corpus", "pyproject.toml", "constraints.txt", "README.md")
_PATTERNS = (r"yield Breach\(", r'text = f?"', r'text \+= f?"', r'f"')
"""Lines that only word a message: what they say is for eyes to judge."""


def settings(files: list[str], tests: list[str]) -> str:
    """The section of pyproject.toml that tells mutmut what to do."""
    lines = {
        "source_paths": ["arranger"],
        "only_mutate": files,
        "do_not_mutate_patterns": list(_PATTERNS),
        "also_copy": ["corpus", "README.md", "constraints.txt"],
        "pytest_add_cli_args": ["-n0", "-p", "no:cacheprovider"],
        "pytest_add_cli_args_test_selection": tests,
    }
    return "\n[tool.mutmut]\n" + "".join(
        f"{key} = {json.dumps(value)}\n" for key, value in lines.items()
    )


def copied(folder: Path, files: list[str], tests: list[str]) -> None:
    """The project in ``folder``, with the settings."""
    for name in NEEDED:
        source = ROOT / name
        if source.is_dir():
            ignored = shutil.ignore_patterns("__pycache__")
            shutil.copytree(source, folder / name, ignore=ignored)
        else:
            shutil.copy(source, folder / name)
    with (folder / "pyproject.toml").open("a", encoding="utf-8") as sink:
        sink.write(settings(files, tests))


def mutmut(folder: Path, *words: str) -> str:
    """What the tool prints; its run is shown as it goes."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    ended = subprocess.run(
        [sys.executable, "-m", "mutmut", *words],
        cwd=folder,
        env=kept,
        stdout=None if words[0] == "run" else subprocess.PIPE,
        text=True,
        check=False,
    )
    if ended.returncode:
        raise SystemExit(f"mutmut {words[0]} ended with {ended.returncode}")
    return ended.stdout or ""


def main() -> int:
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("file", nargs="*", default=list(RULES))
    reader.add_argument("--tests", nargs="+", default=list(TESTS))
    reader.add_argument("--keep", type=Path, help="a new folder to work in, left behind")
    told = reader.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = told.keep or Path(name) / "project"
        folder.mkdir(parents=True)
        copied(folder, told.file, told.tests)
        mutmut(folder, "run", "--max-children", "1")
        ends = re.findall(r"^ +(\S+): (.+)$", mutmut(folder, "results", "--all", "true"), re.M)
        for mutant, end in ends:
            if end in {"survived", "no tests"}:
                print(f"\n{end}: {mutant}\n{mutmut(folder, 'show', mutant)}")
        counts = Counter(end for _, end in ends)
        print(f"{len(ends)} mutants: " + ", ".join(f"{n} {end}" for end, n in counts.items()))
        return min(99, counts["survived"] + counts["no tests"])


if __name__ == "__main__":
    sys.exit(main())
