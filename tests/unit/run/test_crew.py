"""Workers share out the tasks, and each falls alone.

The workers here run the real loop with pieces that do what their names say.
"""

from __future__ import annotations

import os
import sys
import textwrap
import time
from collections.abc import Iterator

import pytest

from arranger.music.errors import InternalFault
from arranger.run.crew import Crew, Report, _Worker
from arranger.run.store import Unwritable
from arranger.run.worker import Errand, Made, Setup, Task

ACTING = """
    import os, signal, sys, time
    from arranger.music.outcome import Outcome
    from arranger.run.worker import Began, Made, Stopped, serve

    def act(task, setup):
        yield Began(level="")
        if task.piece == "crash while read":
            os.kill(os.getpid(), signal.SIGSEGV)
        print("a library that talks", flush=True)
        for errand in task.errands:
            yield Began(level=errand.level)
            outcome = Outcome(piece=task.piece, level=errand.level, status="done")
            if errand.level == "advanced":
                if task.piece == "crash":
                    os.kill(os.getpid(), signal.SIGSEGV)
                if task.piece == "leave":
                    os._exit(7)
                if task.piece == "hang":
                    time.sleep(600)
                if task.piece == "full":
                    yield Stopped(what="no space left", where="out", next_step="")
                    return
                if task.piece == "hungry":
                    try:
                        bytearray(2_000_000_000)
                    except MemoryError:
                        outcome = Outcome(
                            piece=task.piece, level=errand.level, status="over limit"
                        )
            yield Made(errand=errand, outcome=outcome)

    serve(act)
"""


@pytest.fixture(scope="module")
def command(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, ...]:
    script = tmp_path_factory.mktemp("acting") / "acting.py"
    script.write_text(textwrap.dedent(ACTING), "utf-8")
    return sys.executable, str(script)


def _task(piece: str, *levels: str) -> Task:
    errands = tuple(
        Errand(level=level, key="", folder="")
        for level in levels or ("beginner", "advanced", "intermediate")
    )
    return Task(piece=piece, path="", sha256="", errands=errands)


def _crew(command: tuple[str, ...], seconds: float = 30.0) -> Crew:
    return Crew(
        jobs=2,
        setup=Setup(out="out", megabytes=1500),
        seconds=seconds,
        command=command,
    )


def _told(reports: Iterator[Report]) -> dict[tuple[str, str], tuple[str, str]]:
    told = {}
    for report in reports:
        outcome = report.made.outcome
        assert (report.piece, outcome.level) not in told, "told twice"
        told[report.piece, outcome.level] = (outcome.status, outcome.reason)
    return told


def test_each_falls_alone_and_the_rest_is_done(command: tuple[str, ...]) -> None:
    known = Report(
        piece="known", made=Made(errand=_task("").errands[0], outcome=None), known=True
    )  # type: ignore[arg-type]
    with _crew(command, seconds=4.0) as crew:
        falling = ["crash", "hang", "hungry", "leave", "crash while read"]
        plan = [item for name in falling for item in (_task(name), _task(f"good {name}"))]
        told = _told(crew.work(iter(plan)))
        assert list(crew.work(iter([known]))) == [known]
        assert crew.peak > 0
    fell = {at: outcome for at, outcome in told.items() if outcome[0] != "done"}
    assert fell.pop(("crash", "advanced")) == ("crashed", "its worker was ended by SIGSEGV")
    assert fell.pop(("hang", "advanced")) == ("over limit", "it took more than 4 seconds")
    assert fell.pop(("hungry", "advanced"))[0] == "over limit"
    assert fell.pop(("leave", "advanced"))[1] == "its worker ended by itself with code 7"
    assert set(fell) == {
        ("crash while read", level) for level in ("beginner", "advanced", "intermediate")
    }
    assert len(told) == 3 * len(plan)


def test_full_disk_stops_the_batch_and_every_worker(
    command: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    crew, started = _crew(command), []
    real = crew._start

    def start() -> _Worker:
        started.append(real())
        return started[-1]

    monkeypatch.setattr(crew, "_start", start)
    work = crew.work(iter([_task("hang"), _task("full", "beginner", "advanced")]))
    with pytest.raises(Unwritable, match="no space left"), crew:
        list(work)
    processes = [worker.process for worker in started]
    assert processes
    assert all(process.poll() is not None for process in processes)


def test_workers_end_when_nobody_is_left_to_hear_them(command: tuple[str, ...]) -> None:
    """A batch that is killed leaves no process behind, not even one in the middle of work."""
    crew = _crew(command, seconds=0.0)
    work = crew.work(iter([_task("hang", "beginner", "advanced")]))
    next(work)
    (worker,) = crew._workers
    worker.outbox.close()  # what the system does for a process that is killed
    assert worker.process.wait(10) == 0


def test_workers_that_cannot_start_are_a_fault_and_no_endless_loop() -> None:
    broken = (sys.executable, "-c", "raise SystemExit(3)")
    with pytest.raises(InternalFault, match="code 3"), _crew(broken) as crew:
        list(crew.work(iter([_task("good")])))


def test_each_worker_is_one_process_that_waits_at_no_cost(command: tuple[str, ...]) -> None:
    with _crew(command) as crew:
        list(crew.work(iter([_task("a"), _task("b"), _task("c")])))
        assert 1 <= len(crew._workers) <= 2
        before = os.times()
        time.sleep(0.2)
        after = os.times()
    assert after.user - before.user < 0.1


def test_worker_that_has_grown_large_is_replaced_between_levels(
    command: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("arranger.run.crew.FULL", 1.0)
    with _crew(command) as crew:
        told = _told(crew.work(iter([_task(name) for name in "abc"])))
        assert crew._workers == []
    assert len(told) == 9
    assert {status for status, _ in told.values()} == {"done"}


def test_a_worker_does_not_count_the_memory_of_who_started_it(
    command: tuple[str, ...],
) -> None:
    """A program that holds half a gigabyte starts workers that are small."""
    ballast = bytearray(500_000_000)
    ballast[::4096] = b"x" * len(ballast[::4096])
    with _crew(command) as crew:
        list(crew.work(iter([_task("a")])))
        assert crew.peak < 400
    assert ballast[0] == ord("x")
