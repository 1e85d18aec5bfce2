"""One worker of a batch: a process that takes tasks from a pipe and tells what comes of them.

It may be killed at any moment. Whoever started it reads from the messages how far it was.
"""

from __future__ import annotations

import gc
import os
import queue
import signal
import sys
import threading
import traceback
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, field, replace
from functools import partial
from importlib.metadata import version
from multiprocessing.connection import Connection
from pathlib import Path
from time import perf_counter

from arranger.music.analysis import Analysis
from arranger.music.errors import (
    ArrangerError,
    InternalFault,
    LevelMismatch,
    UnreadableInput,
)
from arranger.music.outcome import Outcome
from arranger.music.score import Score, SourceWarning
from arranger.run.pipeline import Result, Wishes, suited
from arranger.run.same_music import music_digest
from arranger.run.shelf import Shelf, shelf_at
from arranger.run.store import NotOurs, Unwritable, keep
from arranger.run.understand import understand

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
    """What came of an errand. ``lasting`` is False where the next run has to look again."""

    errand: Errand
    outcome: Outcome
    sizes: dict[str, int] = field(default_factory=dict)
    seconds: float = 0.0
    lasting: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """The task is done; ``peak`` is the most memory ever held, in megabytes."""

    peak: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Stopped:
    """The results' place takes nothing more: no piece can be kept, so the batch stops."""

    what: str
    where: str
    next_step: str


Message = Began | Made | Ended | Stopped
Perform = Callable[[Task, Setup], Iterator[Message]]


def perform(task: Task, setup: Setup) -> Iterator[Message]:
    """Every errand of a task in turn, each told when it begins and when it has ended."""
    shelf = shelf_at(setup.out, force=setup.force)
    start = perf_counter()
    yield Began(level="")
    nothing = Outcome(piece=task.piece, level="", status="crashed")
    try:
        analysis = understand(Path(task.path))
        if analysis.score.sha256 != task.sha256:
            raise UnreadableInput("the file was changed while it was being read")
        heard = _heard(nothing, analysis)
    except Exception as error:
        changed = isinstance(error, UnreadableInput) and "was changed" in error.what
        for errand in task.errands:
            yield _failed(errand, nothing, error, task, shelf, start=start, lasting=not changed)
        return
    for errand in task.errands:
        yield Began(level=errand.level)
        try:
            yield _arranged(errand, analysis, heard, shelf, setup=setup, start=start)
        except Unwritable as error:
            yield Stopped(what=error.what, where=error.where, next_step=error.next_step)
            return
        except Exception as error:
            yield _failed(errand, heard, error, task, shelf, start=start)
        start = perf_counter()


def _arranged(
    errand: Errand,
    analysis: Analysis,
    heard: Outcome,
    shelf: Shelf,
    *,
    setup: Setup,
    start: float,
) -> Made:
    """The arrangement, written; the note beside it says the same as the journal will."""
    wishes = Wishes(player=Path(setup.player) if setup.player else None)
    result = suited(analysis, errand.level, wishes, anyway=setup.anyway)
    files = result.documents()
    outcome = _done(heard, errand, result)
    sizes = {name: len(content) for name, content in files.items()}
    note = {"key": errand.key, "outcome": asdict(outcome), "sizes": sizes}
    shelf.keep(files, errand.folder, note)
    return Made(
        errand=errand,
        outcome=outcome,
        sizes=sizes,
        seconds=perf_counter() - start,
    )


def _heard(nothing: Outcome, analysis: Analysis) -> Outcome:
    """What is known of a piece at any level."""
    score: Score = analysis.score
    return replace(
        nothing,
        title=score.title,
        composer=score.composer,
        key=analysis.keys[0].key.name if analysis.keys else "",
        bars=len(score.bars),
        warnings=tuple(_remark(warning) for warning in score.warnings),
        music=music_digest(score),
    )


def _remark(warning: SourceWarning) -> str:
    return warning.text if warning.bar is None else f"bar {warning.bar}: {warning.text}"


def _done(heard: Outcome, errand: Errand, result: Result) -> Outcome:
    arrangement, verdict = result.arrangement, result.verdict
    return replace(
        heard,
        level=errand.level,
        status="done",
        folder=errand.folder,
        title=arrangement.title,
        composer=arrangement.composer,
        key=arrangement.key.name,
        capo=arrangement.capo,
        difficulty=verdict.difficulty.score,
        band=verdict.difficulty.band,
        fidelity=verdict.fidelity,
        gap=arrangement.proof.gap,
        warnings=tuple(_remark(warning) for warning in arrangement.warnings),
    )


def _failed(
    errand: Errand,
    known: Outcome,
    error: Exception,
    task: Task,
    shelf: Shelf,
    *,
    start: float,
    lasting: bool = True,
) -> Made:
    """The outcome that an error is, with a report where it is a fault of ours."""
    outcome = replace(known, level=errand.level)
    if isinstance(error, LevelMismatch):
        outcome = replace(outcome, status="refused", reason=error.what, unfit=error.bars)
    elif isinstance(error, NotOurs):
        outcome = replace(outcome, status="blocked", reason=str(error))
        lasting = False
    elif isinstance(error, MemoryError):
        outcome = replace(outcome, status="over limit", reason="it took too much memory")
    elif isinstance(error, ArrangerError) and not isinstance(error, InternalFault):
        reason = f"{error.what}. {error.next_step}".strip()
        outcome = replace(outcome, status="unreadable", reason=reason)
    else:
        what = (
            error.what
            if isinstance(error, InternalFault)
            else f"something went wrong in the program itself ({type(error).__name__})"
        )
        kept = _report(errand, error, task, shelf)
        outcome = replace(outcome, reason=f"{what}; {kept}")
    return Made(
        errand=errand,
        outcome=outcome,
        seconds=perf_counter() - start,
        lasting=lasting,
    )


def _report(errand: Errand, error: Exception, task: Task, shelf: Shelf) -> str:
    """Keep the input of a fault with a report, and say where."""
    name = f"faults/{errand.key[:16]}"
    found = error.report if isinstance(error, InternalFault) else ()
    lines = [f"arranger {version('arranger')}, {task.piece}, {errand.level}", *found]
    try:
        files = {
            "report.txt": "\n".join([*lines, *traceback.format_exception(error)]).encode(
                "utf-8", "replace"
            ),
            f"input{Path(task.path).suffix}": Path(task.path).read_bytes(),
        }
        keep(files, shelf.own / name, force=True)
    except (OSError, ArrangerError):
        return "no report could be kept"
    return f"the input and a report are in {shelf.own.name}/{name}"


def main(perform_task: Perform = perform) -> None:
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
        for message in perform_task(task, setup):
            outbox.send(message)
        outbox.send(Ended(peak=_peak()))


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
    try:
        import resource  # noqa: PLC0415 - not on every system
    except ImportError:
        return 0.0
    unit = 1 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / MEGABYTE


if __name__ == "__main__":
    # Messages name their classes by module, which here is not __main__.
    from arranger.run.worker import main as main_by_name

    main_by_name()
