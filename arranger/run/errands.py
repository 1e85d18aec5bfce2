"""What a worker does with a task: one reading of a piece, then each of its levels."""

from __future__ import annotations

import traceback
from collections.abc import Iterator
from dataclasses import asdict, replace
from importlib.metadata import version
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
from arranger.music.score import SourceWarning
from arranger.run.pipeline import Result, Wishes, bars_asked, suited
from arranger.run.same_music import music_digest
from arranger.run.shelf import Shelf, shelf_at
from arranger.run.store import NotOurs, Unwritable, keep
from arranger.run.understand import understand
from arranger.run.worker import Began, Errand, Made, Message, Setup, Stopped, Task, serve


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
    wishes = Wishes(
        player=Path(setup.player) if setup.player else None,
        others=bars_asked(None, analysis),
    )
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
    score = analysis.score
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


if __name__ == "__main__":
    serve(perform)
