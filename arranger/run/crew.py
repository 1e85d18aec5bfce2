"""Workers on this machine: they share out the tasks, and each falls alone."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections import deque
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from multiprocessing.connection import Connection, wait
from time import monotonic

from arranger.music.errors import InternalFault
from arranger.music.outcome import Outcome, Status
from arranger.run.closed import Closed
from arranger.run.store import Unwritable
from arranger.run.worker import Began, Ended, Errand, Made, Message, Setup, Stopped, Task

COMMAND = (sys.executable, "-m", "arranger.run.errands")
STARTING = 120.0
"""Seconds that a worker may take to start; it has to load the solver from a cold disk."""
LAST_MOMENT = 5.0
"""Seconds between the closing of a worker's pipe and its end, at most."""
FULL = 320.0
"""Megabytes at which a worker is replaced, between two levels of a piece or two pieces: what
large ones leave behind does not add up."""
FALSE_STARTS = 3
"""Workers in a row that may die before their first task until nothing is expected of them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """What came of one errand of a piece; ``known`` where it was done by an earlier run."""

    piece: str
    made: Made
    known: bool = False


Plan = Iterator[Task | Report]


@dataclass(slots=True)
class _Worker:
    """A process and how far it is with its task."""

    process: subprocess.Popen[bytes]
    inbox: Connection
    outbox: Connection
    task: Task | None = None
    left: list[Errand] = field(default_factory=list)
    level: str | None = None
    """The step it is at: a level, the reading (empty), or None before the first."""
    since: float = 0.0


class Crew(Closed):
    """``jobs`` worker processes, started when there is something to do.

    ``seconds`` is the time for each step, the reading of a piece or one level of it; who
    takes longer is killed and replaced. 0 is no limit. ``command`` starts a worker, ``inherit``
    are the open files that it keeps to its end.
    """

    def __init__(
        self,
        *,
        jobs: int,
        setup: Setup,
        seconds: float = 0.0,
        command: Sequence[str] = COMMAND,
        inherit: Sequence[int] = (),
    ) -> None:
        self.peak = 0.0
        """The most memory any worker held, in megabytes."""
        self._jobs = jobs
        self._setup = setup
        self._seconds = seconds
        self._command = tuple(command)
        self._inherit = tuple(inherit)
        self._workers: list[_Worker] = []
        self._again: deque[Task] = deque()
        self._false_starts = 0

    def close(self) -> None:
        """End every worker; what it has not finished is left undone."""
        while self._workers:
            self._dismiss(self._workers[-1])

    def work(self, plan: Plan) -> Iterator[Report]:
        """Reports as they come; those in the plan already are passed on in their turn.

        Raises
        ------
        Unwritable : the results' place takes nothing more.
        InternalFault : workers cannot be started.
        """
        while True:
            while self._has_room():
                item = self._again.popleft() if self._again else next(plan, None)
                if item is None:
                    break
                if isinstance(item, Task):
                    self._give(self._free() or self._start(), item)
                else:
                    yield item
            busy = [worker for worker in self._workers if worker.task is not None]
            if not busy:
                return
            yield from self._listen(busy)

    def _has_room(self) -> bool:
        return len(self._workers) < self._jobs or self._free() is not None

    def _free(self) -> _Worker | None:
        return next((worker for worker in self._workers if worker.task is None), None)

    def _start(self) -> _Worker:
        process = subprocess.Popen(
            self._command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            pass_fds=self._inherit,
        )
        assert process.stdin is not None
        assert process.stdout is not None
        with process.stdin as to, process.stdout as come_from:
            worker = _Worker(
                process=process,
                inbox=Connection(os.dup(come_from.fileno()), writable=False),
                outbox=Connection(os.dup(to.fileno()), readable=False),
            )
        self._workers.append(worker)
        return worker

    def _give(self, worker: _Worker, task: Task) -> None:
        fresh = worker.since == 0.0
        worker.task, worker.left, worker.level = task, list(task.errands), None
        worker.since = monotonic()
        with suppress(OSError):  # it has died; that is heard from its other pipe
            if fresh:
                worker.outbox.send(self._setup)
            worker.outbox.send(task)

    def _listen(self, busy: Sequence[_Worker]) -> Iterator[Report]:
        """What busy workers say until one of them says something or its time is up."""
        heard = wait([worker.inbox for worker in busy], self._until_deadline(busy))
        for worker in busy:
            if worker.inbox in heard:
                try:
                    message: Message = worker.inbox.recv()
                except (EOFError, OSError):
                    yield from self._fallen(worker, "crashed", "")
                    continue
                if (report := self._take(worker, message)) is not None:
                    yield report
            elif self._is_late(worker):
                reason = f"it took more than {self._seconds:g} seconds"
                yield from self._fallen(worker, "over limit", reason)

    def _take(self, worker: _Worker, message: Message) -> Report | None:
        worker.since = monotonic()
        match message:
            case Began(level=level):
                worker.level = level
                self._false_starts = 0
            case Made() as made:
                assert worker.task is not None
                worker.left = [errand for errand in worker.left if errand != made.errand]
                self.peak = max(self.peak, made.peak)
                # Its memory is in pieces, or full of what the level just done has left.
                if made.outcome.status == "over limit" or made.peak >= FULL:
                    self._put_back(worker)
                    self._dismiss(worker)
                return Report(piece=made.outcome.piece, made=made)
            case Ended():
                worker.task = None
            case Stopped(what=what, where=where, next_step=next_step):
                raise Unwritable(what, where=where, next_step=next_step)
        return None

    def _until_deadline(self, busy: Sequence[_Worker]) -> float | None:
        times = [self._time(worker) for worker in busy]
        left = [
            worker.since + time - monotonic()
            for worker, time in zip(busy, times, strict=True)
            if time
        ]
        return max(0.0, min(left)) if left else None

    def _time(self, worker: _Worker) -> float:
        return STARTING if worker.level is None else self._seconds

    def _is_late(self, worker: _Worker) -> bool:
        time = self._time(worker)
        return bool(time) and monotonic() - worker.since >= time

    def _fallen(self, worker: _Worker, status: Status, reason: str) -> Iterator[Report]:
        """The errand a worker fell over is told; the others of its task are tried again."""
        task, level = worker.task, worker.level
        assert task is not None
        guilty = [] if level is None else [e for e in worker.left if level in ("", e.level)]
        since = worker.since
        worker.left = [errand for errand in worker.left if errand not in guilty]
        self._put_back(worker)
        code = self._dismiss(worker, dying=status == "crashed")
        if level is None:
            self._false_starts += 1
            if self._false_starts >= FALSE_STARTS:
                raise InternalFault(f"the workers cannot be started ({_end(code)})")
        for errand in guilty:
            outcome = Outcome(
                piece=task.piece,
                level=errand.level,
                status=status,
                reason=reason or f"its worker {_end(code)}",
            )
            made = Made(errand=errand, outcome=outcome, seconds=monotonic() - since)
            yield Report(piece=task.piece, made=made)

    def _put_back(self, worker: _Worker) -> None:
        if worker.task is not None and worker.left:
            self._again.append(replace(worker.task, errands=tuple(worker.left)))

    def _dismiss(self, worker: _Worker, *, dying: bool = False) -> int:
        """End a worker for certain; returns how its process ended.

        ``dying``: its pipe has closed, so it gets a moment to end in its own way.
        """
        self._workers.remove(worker)
        with suppress(subprocess.TimeoutExpired):
            worker.process.wait(LAST_MOMENT if dying else 0)
        worker.process.kill()
        worker.inbox.close()
        worker.outbox.close()
        return worker.process.wait()


def _end(code: int) -> str:
    """How a process ended, in words."""
    if code >= 0:
        return f"ended by itself with code {code}"
    try:
        name = signal.Signals(-code).name
    except ValueError:
        name = f"signal {-code}"
    return f"was ended by {name}"
