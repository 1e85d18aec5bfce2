"""What is installed along with arranger, and under which licences: an SBOM for people.

``python tests/bench/licences.py`` prints a table of every package that ``pip install arranger``
brings, as the environment it runs in states them; ``--write`` puts the table into
DEVELOPERS.md. The same for programs, as CycloneDX: ``tests/bench/package.py --keep FOLDER``.
"""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterator
from importlib.metadata import Distribution, distribution
from pathlib import Path

from packaging.requirements import Requirement

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "DEVELOPERS.md"
HEAD = ("| package | licence as it states it | for |", "|---|---|---|")
_SHORT = 60
"""Characters of a licence field that names a licence; a longer one is the licence itself."""


def needed() -> dict[str, tuple[Distribution, set[str]]]:
    """Every distribution arranger needs here, by name, with what asks for it."""
    found: dict[str, tuple[Distribution, set[str]]] = {}
    waiting = list(_asked(distribution("arranger")))
    while waiting:
        asker, name = waiting.pop()
        if name in found:
            found[name][1].add(asker)
            continue
        found[name] = (distribution(name), {asker})
        waiting += _asked(found[name][0])
    return found


def _asked(package: Distribution) -> Iterator[tuple[str, str]]:
    for line in package.requires or ():
        asked = Requirement(line)
        if asked.marker is None or asked.marker.evaluate({"extra": ""}):
            yield plain(package.metadata["Name"]), plain(asked.name)


def plain(name: str) -> str:
    """The name in the one spelling that all others mean (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def licence(package: Distribution) -> str:
    """The SPDX expression (PEP 639), else the short name, else the classifiers."""
    stated = package.metadata.get("License-Expression") or package.metadata.get("License") or ""
    if stated and len(stated) <= _SHORT and "\n" not in stated:
        return stated
    kinds = package.metadata.get_all("Classifier") or []
    names = [kind.split(" :: ")[-1] for kind in kinds if kind.startswith("License ::")]
    return ", ".join(names) or "not stated"


def table() -> str:
    """The rows, those that the program itself imports first."""
    rows = sorted((plain(asker[0]) != "arranger", name) for name, asker in _first().items())
    packages = needed()
    lines = [
        f"| {name} | {licence(packages[name][0])} | {', '.join(sorted(packages[name][1]))} |"
        for _, name in rows
    ]
    return "\n".join((*HEAD, *lines))


def _first() -> dict[str, list[str]]:
    """Who asks for each package, arranger itself before others."""
    return {
        name: sorted(askers, key=lambda asker: (asker != "arranger", asker))
        for name, (_, askers) in needed().items()
    }


def written(page: str) -> str:
    """The page with the table of this environment in place of its own."""
    head = re.escape(HEAD[0])
    new, count = re.subn(rf"{head}\n(\|.*\n)+", lambda _: table() + "\n", page)
    if count != 1:
        raise SystemExit(f"{PAGE.name} has no table of licences to replace")
    return new


def main() -> None:
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--write", action="store_true", help=f"put it into {PAGE.name}")
    if reader.parse_args().write:
        PAGE.write_text(written(PAGE.read_text("utf-8")), "utf-8")
    else:
        print(table())


if __name__ == "__main__":
    main()
