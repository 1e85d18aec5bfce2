"""Style and types are tests like any other, so the test command checks them too."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]


@pytest.mark.parametrize(
    "command",
    [("ruff", "check"), ("ruff", "format", "--check"), ("mypy",)],
    ids=" ".join,
)
def test_tool_has_nothing_to_say(command: tuple[str, ...]) -> None:
    found = subprocess.run(
        [sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert found.returncode == 0, found.stdout + found.stderr
