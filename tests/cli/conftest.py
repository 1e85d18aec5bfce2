"""What every command-line test needs."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def _own_state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Reports of faults stay in the test's own folder, on every system's convention."""
    for name in ("XDG_STATE_HOME", "HOME", "LOCALAPPDATA"):
        monkeypatch.setenv(name, str(tmp_path / "state"))
