"""A folder of results belongs to one run at a time, its workers included."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from time import monotonic, sleep
from typing import TextIO

from arranger.music.errors import UsageError
from arranger.run.store import Unwritable

LEADER = "lock"
HANDS = "hands"
"""The file that a run and its workers hold open: it is free when the last of them has ended."""
ORPHANS = 60.0
"""Seconds that the workers of a killed run may take to end; they do so as soon as they hear
of it, but a machine may be busy."""
LOOK_AGAIN = 0.02
"""Seconds between two looks whether they have."""


@contextmanager
def alone(own: Path) -> Iterator[tuple[int, ...]]:
    """Hold the results' folder for this run alone, where the system can lock files.

    A run may have been killed a moment ago, and what it started may still be writing: this
    waits for it. Gives the open files that workers must inherit, so that the next run can
    wait for them in its turn (``flock(2)``: a lock lasts as long as any process has the
    open file).

    Raises
    ------
    UsageError : another run is at work there.
    Unwritable : the folder takes no files.
    """
    try:
        own.mkdir(parents=True, exist_ok=True)
        leader, hands = (own / LEADER).open("w"), (own / HANDS).open("w")
    except OSError as error:
        raise Unwritable(
            f"the results cannot be written ({error.strerror or error})".lower(),
            where=str(own),
            next_step="Choose another place with --out.",
        ) from error
    with leader, hands:
        _lock(leader, own, patience=0.0)
        yield (hands.fileno(),) if _lock(hands, own, patience=ORPHANS) else ()


def _lock(file: TextIO, own: Path, *, patience: float) -> bool:
    """Lock a file, in ``patience`` seconds at most; False where the system cannot."""
    try:
        import fcntl  # noqa: PLC0415 - not on every system
    except ImportError:
        return False
    start = monotonic()
    while True:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            if monotonic() - start >= patience:
                raise UsageError(
                    "another batch is at work in this folder",
                    where=str(own.parent),
                    next_step="Wait for it, or choose another place with --out.",
                ) from error
            sleep(LOOK_AGAIN)
        else:
            return True
