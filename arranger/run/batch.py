"""A whole collection: every piece of a folder at every level asked for, nothing lost.

Each result is known by a key: the digest of the piece, the options, the level's own table,
every other table and the program. What the journal has under its key is not done again.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Generator, Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from pathlib import Path

from arranger.music.errors import UsageError
from arranger.music.outcome import Outcome
from arranger.render import OutcomeRows
from arranger.run.alone import alone
from arranger.run.closed import Closed
from arranger.run.collection import Piece, collected
from arranger.run.crew import COMMAND, Crew, Plan, Report
from arranger.run.journal import Entry, Journal, outcome_from
from arranger.run.overview import write_overview
from arranger.run.program import program_digest
from arranger.run.shelf import FolderShelf, shelf_at
from arranger.run.store import Unwritable
from arranger.run.worker import Errand, Made, Setup, Task
from arranger.tables import LEVEL_NAMES, level_named, player_from_file

SECONDS = 600.0
"""What a piece may take to read, and each of its levels, unless said otherwise."""
MEGABYTES = 4000.0
"""What a worker may hold, unless said otherwise."""
LEAST_MEGABYTES = 300.0
"""Less does not even hold the program."""
TRIES = 2
"""A piece that crashed is tried again by a later run, as often as this in all."""


def batch(
    folder: str | Path,
    *,
    levels: Sequence[str] = ("beginner",),
    player: str | Path | None = None,
    out: str | Path = "out",
    jobs: int | None = None,
    cluster: str | None = None,
    limit_seconds: float = SECONDS,
    limit_memory: float = MEGABYTES,
    fresh: bool = False,
    anyway: bool = False,
    force: bool = False,
) -> Batch:
    """Every piece in a folder and the folders in it, arranged by several processes.

    Returns an iterator of outcomes in the order in which they come; what an earlier run
    has done is among them at once. Results and journal are written on the way, and an
    overview at the end, so that it may be stopped, or killed, and started again.

    Parameters
    ----------
    folder : holds pieces as MIDI, MusicXML, Humdrum or ABC.
    levels : the levels to arrange each piece at.
    player : a player file; None takes the student each level describes.
    out : the folder of the results, or an fsspec URL.
    jobs : worker processes on this machine; None is one a core.
    cluster : address of a Dask scheduler (``tcp://HOST:PORT``) whose workers do the work.
    limit_seconds : time for reading a piece and for each of its levels; 0 is no limit.
    limit_memory : megabytes a worker may hold; 0 is no limit.
    fresh : do everything again.
    anyway : write an arrangement even where a piece does not suit the level.
    force : replace files among the results that the program did not make.

    Raises
    ------
    UnreadableInput : there is no such folder, or it holds no piece.
    UsageError : an option or a player file says what cannot be meant, another run is at
        work there, or the results cannot be written.
    """
    named = tuple(name for name in LEVEL_NAMES if name in levels)
    for level in levels:
        level_named(level)
    if player is not None:
        for level in named:
            player_from_file(Path(player), level_named(level))
    _refuse_strange_numbers(named, jobs, limit_seconds, limit_memory)
    return Batch(
        folder=Path(folder),
        levels=named,
        setup=Setup(
            out=str(out),
            force=force,
            anyway=anyway,
            player=str(player) if player else "",
            megabytes=limit_memory,
        ),
        jobs=jobs or _cores(),
        cluster=cluster,
        seconds=limit_seconds,
        fresh=fresh,
    )


def _refuse_strange_numbers(
    levels: Sequence[str], jobs: int | None, seconds: float, megabytes: float
) -> None:
    if not levels:
        raise UsageError("no level is named", where="--level")
    if jobs is not None and jobs < 1:
        raise UsageError(f"{jobs} processes do no work", where="--jobs")
    if seconds < 0:
        raise UsageError(f"{seconds:g} seconds cannot be meant", where="--limit-seconds")
    if megabytes and megabytes < LEAST_MEGABYTES:
        raise UsageError(
            f"{megabytes:g} MB do not hold the program",
            where="--limit-memory",
            next_step=f"Give {LEAST_MEGABYTES:g} or more, or 0 for no limit.",
        )


def _cores() -> int:
    """The cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class Batch(Closed, Iterator[Outcome]):
    """A collection on its way; see ``batch``. Closing it ends its workers.

    ``total`` counts the outcomes there will be, ``known`` those so far that an earlier run
    had done, ``peak`` the most megabytes a worker has held.
    """

    def __init__(
        self,
        *,
        folder: Path,
        levels: tuple[str, ...],
        setup: Setup,
        jobs: int,
        cluster: str | None,
        seconds: float,
        fresh: bool,
    ) -> None:
        self._folder = folder
        self._levels = levels
        self._setup = setup
        self._jobs = jobs
        self._cluster = cluster
        self._seconds = seconds
        self._fresh = fresh
        self._shelf = shelf_at(setup.out, force=setup.force)
        self._pieces = collected(folder)
        self._options = _options(setup)
        self.total = len(self._pieces) * len(levels)
        self.known = 0
        self.peak = 0.0
        self.spent = 0.0
        """Seconds the pieces took that this run has arranged, each by its own."""
        self._outcomes = self._run()

    def __next__(self) -> Outcome:
        return next(self._outcomes)

    def close(self) -> None:
        """Stop; what is done is kept, and the next run goes on from there."""
        self._outcomes.close()

    def _run(self) -> Generator[Outcome, None, None]:
        own = self._shelf.own
        with alone(own) as held, _journal(own / "journal.jsonl", fresh=self._fresh) as journal:
            if isinstance(self._shelf, FolderShelf):
                self._shelf.sweep()
            digests: list[str] = []
            passing: dict[tuple[str, str], Outcome] = {}
            for report in self._reports(self._plan(journal, digests), held):
                self._note(report, journal, passing)
                yield report.made.outcome
            rows = self._rows(journal, digests, passing)
            write_overview(rows, self._shelf)

    def _reports(self, plan: Plan, held: tuple[int, ...]) -> Iterator[Report]:
        if self._cluster is not None:
            from arranger.run.cluster import on_cluster  # noqa: PLC0415 - an extra

            yield from on_cluster(self._cluster, plan, setup=self._setup, seconds=self._seconds)
            return
        with Crew(
            jobs=self._jobs,
            setup=self._setup,
            seconds=self._seconds,
            command=COMMAND,
            inherit=held,
        ) as crew:
            for report in crew.work(plan):
                self.peak = crew.peak
                yield report

    def _plan(self, journal: Journal, digests: list[str]) -> Plan:
        """For each piece what is known already, and a task for what is not."""
        for piece in self._pieces:
            try:
                with (self._folder / piece.path).open("rb") as source:
                    digest = hashlib.file_digest(source, "sha256").hexdigest()
            except OSError as error:
                digests.append("")
                yield from _unopened(piece, self._levels, error)
                continue
            digests.append(digest)
            errands = []
            for level in self._levels:
                errand = self._errand(piece, digest, level)
                if (known := self._known(errand, journal)) is not None:
                    yield Report(piece=piece.path, made=known, known=True)
                else:
                    errands.append(errand)
            if errands:
                yield Task(
                    piece=piece.path,
                    path=str(self._folder / piece.path),
                    sha256=digest,
                    errands=tuple(errands),
                )

    def _errand(self, piece: Piece, digest: str, level: str) -> Errand:
        told = [*self._options, _level_table(level), piece.path, piece.home, digest, level]
        key = hashlib.sha256(json.dumps(told).encode("ascii")).hexdigest()
        return Errand(level=level, key=key, folder=f"{piece.home}/{level}")

    def _known(self, errand: Errand, journal: Journal) -> Made | None:
        """What an earlier run made of it, where that is still there and still stands."""
        if self._fresh:
            return None
        entry = journal.get(errand.key)
        if entry is None:
            note = self._shelf.note(errand.folder)
            if note.get("key") != errand.key:
                return None
            # It was written, and the run was killed before it could say so.
            entry = Entry(
                key=errand.key, outcome=outcome_from(note["outcome"]), sizes=note["sizes"]
            )
            journal.add(entry)
        if not self._stands(entry):
            return None
        return Made(
            errand=errand, outcome=entry.outcome, sizes=dict(entry.sizes), seconds=entry.seconds
        )

    def _stands(self, entry: Entry) -> bool:
        match entry.outcome.status:
            case "done":
                return self._shelf.intact(entry.outcome.folder, entry.sizes)
            case "over limit":
                seconds, megabytes = entry.limits
                return _within(self._seconds, seconds) and _within(
                    self._setup.megabytes, megabytes
                )
            case "crashed":
                return entry.tries >= TRIES
            case _:
                return True

    def _note(
        self, report: Report, journal: Journal, passing: dict[tuple[str, str], Outcome]
    ) -> None:
        """Into the journal with what is new, before anybody hears of it."""
        made = report.made
        if report.known:
            self.known += 1
            return
        self.spent += made.seconds
        if not made.lasting:
            passing[report.piece, made.outcome.level] = made.outcome
            return
        key, tries = made.errand.key, 0
        if made.outcome.status == "crashed":
            before = journal.get(key)
            tries = 1 + (before.tries if before else 0)
        try:
            journal.add(
                Entry(
                    key=key,
                    outcome=made.outcome,
                    sizes=made.sizes,
                    seconds=round(made.seconds, 3),
                    limits=(self._seconds, self._setup.megabytes),
                    tries=tries,
                )
            )
        except OSError as error:
            raise _unwritable(self._shelf.own, error) from error

    def _rows(
        self,
        journal: Journal,
        digests: Sequence[str],
        passing: dict[tuple[str, str], Outcome],
    ) -> OutcomeRows:
        """Every outcome that stands, by piece and level: levels of earlier runs too.

        Only where each stands in the journal is held; the outcomes are read as they are asked
        for.
        """
        places: list[int | Outcome] = []
        for piece, digest in zip(self._pieces, digests, strict=True):
            for level in LEVEL_NAMES:
                if (outcome := passing.get((piece.path, level))) is not None:
                    places.append(outcome)
                elif digest:
                    place = journal.place(self._errand(piece, digest, level).key)
                    if place is not None and self._is_shown(journal.at(place), level):
                        places.append(place)

        def rows() -> Iterator[Outcome]:
            for place in places:
                if isinstance(place, Outcome):
                    yield place
                elif (entry := journal.at(place)) is not None:
                    yield entry.outcome

        return rows

    def _is_shown(self, entry: Entry | None, level: str) -> bool:
        """What this run was asked for, and whatever else still stands."""
        return entry is not None and (level in self._levels or self._stands(entry))


def _unopened(piece: Piece, levels: Sequence[str], error: OSError) -> Iterator[Report]:
    reason = f"the file cannot be opened ({error.strerror or error})".lower()
    for level in levels:
        outcome = Outcome(
            piece=piece.path,
            level=level,
            status="unreadable",
            reason=f"{reason}. Check that it may be read.",
        )
        made = Made(
            errand=Errand(level=level, key="", folder=""), outcome=outcome, lasting=False
        )
        yield Report(piece=piece.path, made=made)


def _within(now: float, before: float) -> bool:
    """Whether a limit is no wider than it was; 0 is no limit."""
    return before == 0 or 0 < now <= before


def _options(setup: Setup) -> tuple[str, ...]:
    """What decides every result of a batch besides the piece and the level."""
    player = Path(setup.player).read_bytes() if setup.player else b""
    return (
        program_digest(),
        hashlib.sha256(player).hexdigest(),
        "anyway" if setup.anyway else "",
    )


@cache
def _level_table(level: str) -> str:
    """What the table of levels says of one level, which is all that its results read of it."""
    return level_named(level).model_dump_json()


@contextmanager
def _journal(file: Path, *, fresh: bool) -> Iterator[Journal]:
    try:
        if fresh:
            file.unlink(missing_ok=True)
        journal = Journal(file)
    except OSError as error:
        raise _unwritable(file, error) from error
    with journal:
        yield journal


def _unwritable(place: Path, error: OSError) -> Unwritable:
    return Unwritable(
        f"the results cannot be written ({error.strerror or error})".lower(),
        where=str(place),
        next_step="Choose another place with --out.",
    )
