"""The same tasks on a Dask cluster: pieces travel with them, results go to a shared place.

Each of the cluster's workers keeps one worker of ours, so that limits and falls are what they
are on one machine, and a cluster's worker that dies has its tasks done by another.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import dataclass, replace
from importlib import import_module
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from arranger.music.errors import ArrangerError, UsageError
from arranger.music.outcome import Outcome
from arranger.run.crew import Crew, Plan, Report
from arranger.run.program import program_digest
from arranger.run.shelf import shelf_at
from arranger.run.store import Unwritable
from arranger.run.worker import Made, Setup, Stopped, Task

PATIENCE = "10s"
"""How long the scheduler may take to answer at first."""
AHEAD = 2
"""Tasks on their way for each thread of the cluster, so that none waits for the next one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Parcel:
    """A task with all the bytes it needs; ``program`` is who may carry it out."""

    task: Task
    piece: bytes
    player: bytes
    setup: Setup
    seconds: float
    program: str


def on_cluster(address: str, plan: Plan, *, setup: Setup, seconds: float) -> Iterator[Report]:
    """Reports as they come from the cluster whose scheduler listens at ``address``.

    Raises
    ------
    UsageError : the extra is not installed, nobody answers there, the cluster's workers run
        another version, or do not share the results' place.
    Unwritable : the results' place takes nothing more.
    """
    try:
        distributed = import_module("distributed")
    except ImportError as error:
        raise UsageError(
            "a cluster needs a library that is not installed",
            where="--cluster",
            next_step="Install it: pip install 'arranger[dask]'.",
        ) from error
    if "://" not in setup.out:
        setup = replace(setup, out=str(Path(setup.out).resolve()))
    try:
        client = distributed.Client(address, timeout=PATIENCE, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise UsageError(
            "no scheduler answers there",
            where=f"--cluster {address}",
            next_step="Start one with 'dask scheduler' and give the address it prints.",
        ) from error
    with client:
        yield from _carried_out(distributed, client, plan, setup, seconds)


def _carried_out(
    distributed: Any, client: Any, plan: Plan, setup: Setup, seconds: float
) -> Iterator[Report]:
    shelf = shelf_at(setup.out, force=setup.force)
    player = Path(setup.player).read_bytes() if setup.player else b""
    program = program_digest()
    results = distributed.as_completed(loop=client.loop)
    sent: dict[str, Task] = {}
    over = False
    while True:
        room = AHEAD * max(1, sum(client.nthreads().values()))
        while not over and len(sent) < room:
            item = next(plan, None)
            if item is None:
                over = True
            elif isinstance(item, Report):
                yield item
            else:
                parcel = Parcel(
                    task=item,
                    piece=Path(item.path).read_bytes(),
                    player=player,
                    setup=setup,
                    seconds=seconds,
                    program=program,
                )
                future = client.submit(carry_out, parcel, pure=False)
                sent[future.key] = item
                results.add(future)
        if not sent:
            return
        future = next(results)
        task = sent.pop(future.key)
        for report in _reports(distributed, future, task):
            made = report.made
            if made.outcome.done and not shelf.intact(made.outcome.folder, made.sizes):
                raise UsageError(
                    "what the cluster's workers write there does not arrive here",
                    where=f"--out {setup.out}",
                    next_step="Name a folder that all machines share, or a URL.",
                )
            yield report
        future.release()


def _reports(distributed: Any, future: Any, task: Task) -> Iterator[Report]:
    """What came of a task, whatever became of the worker that had it."""
    error = future.exception()
    if error is None:
        for made in future.result():
            if isinstance(made, Stopped):
                kind = UsageError if made.where == "--cluster" else Unwritable
                raise kind(made.what, where=made.where, next_step=made.next_step)
            yield Report(piece=task.piece, made=made)
    elif isinstance(error, distributed.KilledWorker):
        for errand in task.errands:
            outcome = Outcome(
                piece=task.piece,
                level=errand.level,
                status="crashed",
                reason="each of the cluster's workers that took it was lost",
            )
            yield Report(piece=task.piece, made=Made(errand=errand, outcome=outcome))
    else:
        raise UsageError(
            f"the cluster's workers cannot do this work ({type(error).__name__}: {error})",
            where="--cluster",
            next_step="Install the same version of arranger on each of them.",
        ) from error


class _Own(threading.local):
    """What a thread of a cluster's worker keeps from task to task."""

    room: TemporaryDirectory[str] | None = None
    crew: Crew | None = None
    kept_for: tuple[Setup, float, bytes] | None = None


_own = _Own()


def carry_out(parcel: Parcel) -> list[Made | Stopped]:
    """A parcel's errands, on the cluster's worker that was given it."""
    if parcel.program != program_digest():
        return [
            Stopped(
                what="the cluster's workers run another version of this program",
                where="--cluster",
                next_step="Install the same version of arranger on each of them.",
            )
        ]
    crew, room = _crew(parcel)
    piece = room / Path(parcel.task.piece).name
    piece.write_bytes(parcel.piece)
    try:
        task = replace(parcel.task, path=str(piece))
        return [report.made for report in crew.work(iter([task]))]
    except ArrangerError as error:
        crew.close()
        return [Stopped(what=error.what, where=error.where, next_step=error.next_step)]
    finally:
        piece.unlink()


def _crew(parcel: Parcel) -> tuple[Crew, Path]:
    """A thread's own worker and folder, started anew where a batch has other options."""
    wanted = (parcel.setup, parcel.seconds, parcel.player)
    if _own.crew is None or _own.room is None or _own.kept_for != wanted:
        if _own.crew is not None:
            _own.crew.close()
        _own.room = TemporaryDirectory(prefix="arranger-")
        setup = parcel.setup
        if setup.player:
            player = Path(_own.room.name) / "player.toml"
            player.write_bytes(parcel.player)
            setup = replace(setup, player=str(player))
        _own.crew = Crew(jobs=1, setup=setup, seconds=parcel.seconds)
        _own.kept_for = wanted
    piece_room = Path(_own.room.name) / "piece"
    piece_room.mkdir(exist_ok=True)
    return _own.crew, piece_room
