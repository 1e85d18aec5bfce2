"""A second process that does every other task of one piece.

It is a copy of this one (``fork(2)``), so that it starts at once and knows all that is known
here. It only ever saves time: whatever it does not bring is done here as well, because there
is no second process, because it was ended from outside, or because a task failed in it and
has to fail here to be heard of.
"""

from __future__ import annotations

import gc
import os
import pickle
import signal
import sys
import threading
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import NoReturn, TypeVar

from arranger.music.each import Each, in_turn

T = TypeVar("T")


def each_with(jobs: int) -> Each:
    """How tasks are done with so many processes; more than two are of no more use."""
    return side_by_side if jobs > 1 and sys.platform == "linux" else in_turn


def side_by_side(tasks: Sequence[Callable[[], T]]) -> list[T]:
    """The results of ``tasks`` in order, every other one from a second process."""
    made: dict[int, T] = {}
    with _started(tasks[1::2]) as brought:
        for place in range(0, len(tasks), 2):
            made[place] = tasks[place]()
        made.update(zip(range(1, len(tasks), 2), brought(), strict=False))
    return [made[place] if place in made else task() for place, task in enumerate(tasks)]


@contextmanager
def _started(tasks: Sequence[Callable[[], T]]) -> Iterator[Callable[[], list[T]]]:
    """A second process at work; gives what waits for its results (the first ones are enough).

    It is ended and gone when the block is left, however that comes about.
    """
    if not tasks:
        yield list
        return
    results, out = os.pipe()
    alive, life = os.pipe()
    gc.freeze()  # what the collector does not look at need not be copied for it
    try:
        pid = _fork()
    except OSError:
        pid = -1
    if pid == 0:
        os.close(life)
        _serve(tasks, out, alive)
    os.close(out)
    os.close(alive)
    try:
        yield lambda: _received(results)
    finally:
        gc.unfreeze()
        os.close(life)
        os.close(results)
        if pid > 0:
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
            os.waitpid(pid, 0)


def _fork() -> int:
    with warnings.catch_warnings():
        # Threads of the numerical library wait for work that is never given to them here.
        warnings.simplefilter("ignore", DeprecationWarning)
        return os.fork()


def _serve(tasks: Sequence[Callable[[], T]], out: int, alive: int) -> NoReturn:
    """The second process: do the tasks, hand over what came of them, and end.

    It says nothing of its own: a task that fails ends the list.
    """
    made: list[T] = []
    try:
        gc.disable()  # it ends soon, and with it all its garbage
        signal.signal(signal.SIGINT, signal.SIG_DFL)
        threading.Thread(target=_end_with, args=(alive,), daemon=True).start()
        with suppress(Exception):
            made.extend(task() for task in tasks)
        with os.fdopen(out, "wb") as pipe:
            pickle.dump(made, pipe, protocol=pickle.HIGHEST_PROTOCOL)
    finally:
        os._exit(0)


def _end_with(alive: int) -> None:
    """End the process at once when the other end of a pipe is closed, as the first one's end
    closes it.
    """
    os.read(alive, 1)
    os._exit(1)


def _received(results: int) -> list[T]:
    """What the second process has handed over; nothing where it did not come so far."""
    try:
        with os.fdopen(results, "rb", closefd=False) as pipe:
            found: list[T] = pickle.load(pipe)
    except (EOFError, OSError, pickle.UnpicklingError):
        return []
    return found
