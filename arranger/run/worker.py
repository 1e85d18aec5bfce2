"""One worker of a batch: a process that takes tasks from a pipe and tells what comes of them.

It may be killed at any moment. Whoever started it reads from the messages how far it was.
"""

from __future__ import annotations

import ctypes
import gc
import os
import queue
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import partial
from multiprocessing.connection import Connection
from pathlib import Path

from arranger.music.outcome import Outcome

MEGABYTE = 1_000_000
NO_CYCLES = (100_000, 50, 50)
"""As in the command itself: a piece makes millions of values and hardly a cycle."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """What all tasks of a batch share; ``player`` is a file of this machine or empty."""

    out: str
    force: bool = False
    anyway: bool = False
    player: str = ""
    megabytes: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Errand:
    """One level of a task, the key of all that decides its result, and the result's folder."""

    level: str
    key: str
    folder: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One piece, read once for all its levels. ``path`` is where this machine has it."""

    piece: str
    path: str
    sha256: str
    errands: tuple[Errand, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Began:
    """A step begins: a level, or the reading of the piece (an empty name)."""

    level: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """What came of an errand. ``lasting`` is False where the next run has to look again;
    ``peak`` is the most memory that its worker has ever held, in megabytes.
    """

    errand: Errand
    outcome: Outcome
    sizes: dict[str, int] = field(default_factory=dict)
    seconds: float = 0.0
    lasting: bool = True
    peak: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """The task is done."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stopped:
    """The results' place takes nothing more: no piece can be kept, so the batch stops."""

    what: str
    where: str
    next_step: str


Message = Began | Made | Ended | Stopped
Perform = Callable[[Task, Setup], Iterator[Message]]


def serve(perform: Perform) -> None:
    """Take a ``Setup`` and then tasks from standard input until it closes."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever started it decides when it ends
    gc.set_threshold(*NO_CYCLES)
    inbox, outbox = _pipes()
    setup: Setup = inbox.recv()
    _limit_memory(setup.megabytes)
    tasks: queue.SimpleQueue[Task] = queue.SimpleQueue()
    threading.Thread(target=partial(_receive, inbox, tasks), daemon=True).start()
    while True:
        task = tasks.get()
        for message in perform(task, setup):
            outbox.send(_lighter(message) if isinstance(message, Made) else message)
        outbox.send(Ended())


def _lighter(made: Made) -> Made:
    """What was made and the memory it took, when what it left has been given back."""
    _give_back()
    return replace(made, peak=_peak())


def _give_back() -> None:
    """Give what a piece has left in memory back to the system, so that it does not add up.

    The C library keeps freed memory for itself unless it is asked; other systems' libraries
    cannot be asked, and do without.
    """
    gc.collect()
    with suppress(OSError, AttributeError):
        ctypes.CDLL(None).malloc_trim(0)


def _pipes() -> tuple[Connection[object, Setup], Connection[Message, object]]:
    """Standard input and output as message pipes; what anybody prints goes nowhere."""
    inbox, outbox = os.dup(sys.stdin.fileno()), os.dup(sys.stdout.fileno())
    nowhere = os.open(os.devnull, os.O_RDWR)
    for number in (0, 1, 2):
        os.dup2(nowhere, number)
    return Connection(inbox, writable=False), Connection(outbox, readable=False)


def _receive(inbox: Connection, tasks: queue.SimpleQueue[Task]) -> None:
    """Hand on tasks; end the process at once when nobody is left who would take a result."""
    try:
        while True:
            tasks.put(inbox.recv())
    except (EOFError, OSError):
        os._exit(0)


def _limit_memory(megabytes: float) -> None:
    """Let the system refuse memory beyond a limit, where it can."""
    if not megabytes:
        return
    try:
        import resource  # noqa: PLC0415 - not on every system
    except ImportError:
        return
    most = int(megabytes * MEGABYTE)
    _, hard = resource.getrlimit(resource.RLIMIT_DATA)
    if hard != resource.RLIM_INFINITY:
        most = min(most, hard)
    resource.setrlimit(resource.RLIMIT_DATA, (most, hard))


def _peak() -> float:
    """Megabytes that this process held at most.

    Where the system says so, since it became this program: what getrusage counts includes
    the memory of the process that started it, until then its own.
    """
    with suppress(OSError, StopIteration):
        lines = Path("/proc/self/status").read_text("ascii").splitlines()
        held = next(line for line in lines if line.startswith("VmHWM:"))
        return int(held.split()[1]) * 1024 / MEGABYTE
    try:
        import resource  # noqa: PLC0415 - not on every system
    except ImportError:
        return 0.0
    unit = 1 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / MEGABYTE
