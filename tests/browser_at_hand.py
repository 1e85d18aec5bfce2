"""Chromium for tests of pages: needed on a checking machine, elsewhere it may be missing."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from typing import Any

import pytest

_MUST_RUN = os.environ.get("CI") == "true"
_playwright = (
    import_module("playwright.sync_api")
    if _MUST_RUN
    else pytest.importorskip("playwright.sync_api")
)
_BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
NEEDS_A_BROWSER = [
    pytest.mark.skipif(_BROWSER is None and not _MUST_RUN, reason="no browser at hand"),
    # One browser at a time: all its tests on one worker.
    pytest.mark.xdist_group("browser"),
]


@contextmanager
def chromium() -> Iterator[Any]:
    """A running browser."""
    with _playwright.sync_playwright() as player:
        browser = player.chromium.launch(executable_path=_BROWSER, args=["--no-sandbox"])
        yield browser
        browser.close()
