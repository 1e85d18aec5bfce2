"""The command line: the only file that prints."""

from __future__ import annotations

import gc
import io
import os
import sys
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from arranger.music.errors import ArrangerError, InternalFault

# The rooms are imported inside the commands, so that --help answers at once.
# ruff: noqa: PLC0415
if TYPE_CHECKING:
    from arranger.music.arrangement import Arrangement
    from arranger.music.comparison import Comparison
    from arranger.music.rating import Rating
    from arranger.run.pipeline import Result

HARDEST = 3
"""How many of the hardest places the summary names; all of them stand in the documents."""

app = typer.Typer(
    help="A piano piece becomes a solo fingerstyle guitar arrangement that a student can play.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


class PaperSize(StrEnum):
    """Sizes of a sheet."""

    a4 = "a4"
    letter = "letter"


Input = Annotated[
    Path, typer.Argument(metavar="INPUT", help="A piano piece: MIDI, MusicXML, Humdrum or ABC.")
]
Meter = Annotated[
    str | None, typer.Option(metavar="3/4", help="The meter, where the file is wrong.")
]
Straight = Annotated[
    bool | None,
    typer.Option("--straight/--swing", help="Eighths as they stand, or swung; else by ear."),
]
HandsOption = Annotated[
    str | None,
    typer.Option(
        "--hands",
        metavar="C4|1/2|heard|FILE",
        help="Hands: from a note up, by part (right/left), by ear, or bar by bar in a file.",
    ),
]
MelodyTrack = Annotated[
    int | None, typer.Option(metavar="N", help="The part that has the tune, as look counts.")
]
TempoHint = Annotated[
    float | None,
    typer.Option(metavar="BPM", help="Beats a minute of a performance without a click."),
]
Beats = Annotated[
    Path | None,
    typer.Option(metavar="FILE", help="Times in seconds of its beats, one a line."),
]
Player = Annotated[Path | None, typer.Option(metavar="FILE", help="A student's hand, as TOML.")]
Strain = Annotated[str | None, typer.Option(metavar="17-32", help="A strain to take alone.")]
Tempo = Annotated[
    float | None,
    typer.Option(metavar="Q", help="The tempo to aim at, in quarter notes a minute."),
]
Out = Annotated[Path, typer.Option(metavar="DIR", help="Where results land.")]
Anyway = Annotated[
    bool, typer.Option("--anyway", help="Write it even where it does not suit the level.")
]
AsJson = Annotated[bool, typer.Option("--json", help="The same as JSON.")]
Force = Annotated[
    bool, typer.Option("--force", help="Replace files there that this program did not make.")
]


def main() -> None:
    """Entry point of the ``arranger`` command."""
    # A piece makes millions of small values and hardly a cycle: looking for cycles after
    # every few hundred of them costs a sixth of the time.
    gc.set_threshold(100_000, 50, 50)
    for stream in (sys.stdout, sys.stderr):
        # A pipe or a terminal that has no ♭ shows "?" there; it is no reason to fail.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    app()


def _version() -> str:
    from importlib.metadata import version  # slow to import

    return f"arranger {version('arranger')}"


def _say_version(asked: bool) -> None:
    if asked:
        print(_version())
        raise typer.Exit


def _level_names(incomplete: str) -> list[str]:
    """The levels that begin so, for the completion of a shell."""
    from arranger.tables import LEVEL_NAMES

    return [name for name in LEVEL_NAMES if name.startswith(incomplete)]


@app.callback()
def options(
    show_version: Annotated[
        bool, typer.Option("--version", callback=_say_version, is_eager=True)
    ] = False,
) -> None:
    """What all commands share."""


@app.command()
def arrange(
    piece: Input,
    level: Annotated[
        str | None,
        typer.Option(
            metavar="LEVEL",
            help="beginner (unless said otherwise), elementary, intermediate or advanced.",
            autocompletion=_level_names,
        ),
    ] = None,
    difficulty: Annotated[
        float | None,
        typer.Option(metavar="N", help="The richest that scores at most N of 100."),
    ] = None,
    key: Annotated[
        str | None, typer.Option(metavar="G", help="The key the hand plays in.")
    ] = None,
    capo: Annotated[
        int | None, typer.Option(metavar="N", help="The fret the capo lies on.")
    ] = None,
    player: Player = None,
    marks: Annotated[
        Path | None, typer.Option(metavar="FILE", help="A teacher's marks, as TOML.")
    ] = None,
    bars: Strain = None,
    meter: Meter = None,
    straight: Straight = None,
    tempo: Tempo = None,
    hands: HandsOption = None,
    melody_track: MelodyTrack = None,
    tempo_hint: TempoHint = None,
    beats: Beats = None,
    leading_bass: Annotated[
        bool | None,
        typer.Option(
            "--leading-bass/--plain-bass",
            help="Add bass notes that lead to the next chord, or do not; else by level.",
        ),
    ] = None,
    out: Out = Path("out"),
    anyway: Anyway = False,
    keys: Annotated[
        bool, typer.Option("--keys", help="Show the keys tried, in order, with reasons.")
    ] = False,
    force: Force = False,
    paper: Annotated[
        PaperSize, typer.Option(metavar="a4|letter", help="What the sheet is printed on.")
    ] = PaperSize.a4,
    scale: Annotated[
        float, typer.Option(metavar="1.5", help="Size of print; 1.5 is large print.")
    ] = 1.0,
    tab_only: Annotated[
        bool, typer.Option("--tab-only", help="Sheets without notation, with a count.")
    ] = False,
    spoken: Annotated[
        bool, typer.Option("--spoken", help="Every bar in words as well, to be read aloud.")
    ] = False,
    wav: Annotated[
        bool, typer.Option("--wav", help="The practice file as sound as well.")
    ] = False,
    practice_tempos: Annotated[
        bool,
        typer.Option("--practice-tempos", help="Practice files slow and at the target too."),
    ] = False,
    others: Annotated[
        str | None,
        typer.Option(metavar="8,12|all|none", help="Show other ways to play some bars."),
    ] = None,
) -> None:
    """Arrange one piece for one level."""
    with _one_voice(piece):
        from arranger.render import Extras, Paper, other_lines
        from arranger.run.pipeline import arrange as arrange_piece
        from arranger.run.store import keep, piece_name

        jobs = os.cpu_count() or 1
        sheet = Paper(size=paper.value, scale=scale)
        extras = Extras(tab_only=tab_only, spoken=spoken, wave=wav, tempos=practice_tempos)
        result = arrange_piece(
            piece,
            level=level,
            difficulty=difficulty,
            key=key,
            capo=capo,
            player=player,
            marks=marks,
            bars=bars,
            meter=meter,
            straight=straight,
            tempo=tempo,
            hands=hands,
            melody_track=melody_track,
            tempo_hint=tempo_hint,
            beats=beats,
            leading_bass=leading_bass,
            others=others,
            anyway=anyway,
            jobs=jobs,
        )
        files = result.documents(paper=sheet, extras=extras, jobs=jobs)
        folder = out / piece_name(piece) / _folder(level, difficulty, result)
        keep(files, folder, force=force)
        for line in _summary(result):
            _say(line)
        for line in _ranking(result.arrangement) if keys else ():
            _say(line)
        for line in other_lines(result.arrangement) if others not in {None, "all"} else ():
            _say(line)
        _say(f"written to {folder}: {', '.join(sorted(files))}")


def _folder(level: str | None, difficulty: float | None, result: Result) -> str:
    """What the results lie in: the level, the difficulty asked for, or both."""
    if difficulty is None:
        return result.arrangement.level
    within = f"{level}-" if level else ""
    return f"{within}difficulty-{difficulty:g}"


def _summary(result: Result) -> Iterator[str]:
    """What was made and decided, each decision with the option that changes it."""
    arrangement, verdict = result.arrangement, result.verdict
    heard, grade = verdict.fidelity, verdict.difficulty
    yield f"{arrangement.title}: {arrangement.level}, {_key(arrangement)}"
    yield f"difficulty {grade.score:.0f} of 100 ({grade.band})"
    for reason in grade.told[:HARDEST]:
        yield f"  bar {reason.bar}: {reason.what}"
    yield (
        f"of the tune {heard.melody_kept:.0%} of the notes, {heard.grid_fidelity:.0%} on the"
        f" level's grid; {heard.contour_breaks:.0%} of its steps changed direction"
    )
    if any(note.voice == "bass" for note in arrangement.notes):
        yield (
            f"thumb on {heard.thumb_beats:.0%} of its beats, alternating "
            f"{heard.alternation:.0%}; bass roots in {heard.bass_roots:.0%} of the bars, "
            f"thirds in {heard.thirds:.0%}"
        )
    else:
        yield "no bass: the piece has none"
    yield f"fingering within {arrangement.proof.gap:.1%} of the best there is"
    yield from _remarks(arrangement)


def _remarks(arrangement: Arrangement) -> Iterator[str]:
    """What was noticed in the file, and what was decided."""
    for warning in arrangement.warnings:
        place = f" (bar {warning.bar})" if warning.bar is not None else ""
        yield f"noticed: {warning.text}{place}"
    for decision in arrangement.decisions:
        yield f"decided: {decision.text} [{decision.option}]"


def _ranking(arrangement: Arrangement) -> Iterator[str]:
    """The keys tried, the one that lies best under the hand first, and why."""
    yield "keys tried, the one that lies best under the hand first (--key takes another):"
    for choice in arrangement.keys:
        within = "" if choice.solved else " in a sample of bars, tune and thumb alone"
        away = (
            f"costs {choice.dearer:.0%} more than the best{within}" if choice.dearer else "best"
        )
        taken = "taken, " if choice.key == arrangement.key else ""
        yield f"  {choice.key.short:3} {taken}{away}: {choice.reason}"


def _key(arrangement: Arrangement) -> str:
    """The key the hand plays in, the capo, and how far the sound lies from the piece."""
    capo = f", capo {arrangement.capo}" if arrangement.capo else ""
    moved = arrangement.transposed_by
    steps = f"{abs(moved)} semitone{'s' if abs(moved) > 1 else ''}"
    away = f", {steps} {'higher' if moved > 0 else 'lower'} than the piece"
    return f"{arrangement.key.name}{capo}{away if moved else ''}"


@app.command()
def compare(
    piece: Input,
    level: Annotated[
        list[str] | None,
        typer.Option(
            metavar="LEVEL",
            help="A level to compare; else all four.",
            autocompletion=_level_names,
        ),
    ] = None,
    player: Annotated[
        list[Path] | None,
        typer.Option(metavar="FILE", help="A student's hand; name two to compare them."),
    ] = None,
    bars: Strain = None,
    meter: Meter = None,
    straight: Straight = None,
    tempo: Tempo = None,
    curve: Annotated[
        bool,
        typer.Option("--curve", help="Show what can be kept at each difficulty; takes longer."),
    ] = False,
    json: AsJson = False,
    out: Out = Path("out"),
    force: Force = False,
) -> None:
    """Show the four levels of one piece, or two players, side by side."""
    with _one_voice(piece):
        from arranger.render import (
            compare_page,
            comparison_json,
            comparison_rows,
            curve_lines,
        )
        from arranger.run.compare import compare as compare_piece
        from arranger.run.store import keep_file, piece_name

        comparison = compare_piece(
            piece,
            levels=level or (),
            players=player or (),
            bars=bars,
            meter=meter,
            straight=straight,
            tempo=tempo,
            jobs=os.cpu_count() or 1,
            curve=curve,
        )
        page = out / piece_name(piece) / "compare.html"
        keep_file(compare_page(comparison).encode("utf-8", "replace"), page, force=force)
        if json:
            print(comparison_json(comparison), end="")
            return
        _show_comparison(comparison, list(comparison_rows(comparison)))
        if curve:
            _say("the most that can be kept at each difficulty (arrange --difficulty N):")
        for line in curve_lines(comparison):
            _say(f"  {line}")
        _say(f"written to {page}")


def _show_comparison(comparison: Comparison, rows: list[tuple[str, ...]]) -> None:
    """The table, and below it what is hardest in each version."""
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    table = Table(title=escape(_one_line(comparison.title)))
    for name in ("", *(column.name for column in comparison.columns)):
        table.add_column(escape(_one_line(name)), overflow="fold")
    for row in rows:
        table.add_row(*(escape(_one_line(cell)) for cell in row))
    Console().print(table)
    for column in comparison.columns:
        if column.version is not None:
            _say(f"{column.name}:")
            for reason in column.version.verdict.difficulty.told[:HARDEST]:
                _say(f"  bar {reason.bar}: {reason.what} (+{reason.points:.1f})")


@app.command()
def batch(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="Pieces, and folders of pieces.")
    ],
    level: Annotated[
        list[str] | None,
        typer.Option(
            metavar="LEVEL",
            help="A level to arrange at; else beginner.",
            autocompletion=_level_names,
        ),
    ] = None,
    player: Player = None,
    jobs: Annotated[
        int | None, typer.Option(metavar="N", help="Processes; else one a core.")
    ] = None,
    cluster: Annotated[
        str | None,
        typer.Option(metavar="tcp://HOST:PORT", help="The scheduler of a Dask cluster."),
    ] = None,
    resume: Annotated[
        bool, typer.Option("--resume/--fresh", help="Go on, or do everything again.")
    ] = True,
    limit_seconds: Annotated[
        float,
        typer.Option(metavar="S", help="Time for reading a piece and for each level; 0: any."),
    ] = 600,
    limit_memory: Annotated[
        float, typer.Option(metavar="MB", help="Memory of each process; 0: any.")
    ] = 4000,
    strict: Annotated[
        bool, typer.Option("--strict", help="End with 1 where a piece was not arranged.")
    ] = False,
    anyway: Anyway = False,
    out: Annotated[
        str, typer.Option(metavar="DIR", help="Where results land: a folder or a URL.")
    ] = "out",
    force: Force = False,
) -> None:
    """Arrange a whole folder, going on where it was stopped."""
    with _one_voice(folder):
        from collections import Counter

        from arranger.run.batch import batch as arrange_all

        pieces = arrange_all(
            folder,
            levels=level or ("beginner",),
            player=player,
            out=out,
            jobs=jobs,
            cluster=cluster,
            limit_seconds=limit_seconds,
            limit_memory=limit_memory,
            fresh=not resume,
            anyway=anyway,
            force=force,
        )
        counts: Counter[str] = Counter()
        unread = ""
        with pieces, _progress(pieces.total) as (say, step):
            for outcome in pieces:
                counts[outcome.status] += 1
                step()
                if outcome.done or outcome.piece == unread:
                    continue
                at = outcome.level
                if outcome.status == "unreadable":  # it is so at every level: said once
                    unread, at = outcome.piece, "any level"
                say(f"{outcome.piece}, {at}: {outcome.status}: {outcome.reason}")
        said = ", ".join(f"{count} {status}" for status, count in sorted(counts.items()))
        known = f" ({pieces.known} by an earlier run)" if pieces.known else ""
        print(f"of {pieces.total} arrangements: {said}{known}")
        _say(f"written to {out}: index.html, summary.csv, failures.csv")
        if strict and counts.total() > counts["done"]:
            raise typer.Exit(1)


@contextmanager
def _progress(total: int) -> Iterator[tuple[Callable[[str], None], Callable[[], None]]]:
    """A bar on stderr with the time left, where that is a terminal.

    Gives what says a line above the bar and what counts a step.
    """
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        TimeElapsedColumn,
        TimeRemainingColumn,
    )

    console = Console(stderr=True, soft_wrap=True)
    bar = Progress(
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
        "left",
        TimeRemainingColumn(),
        console=console,
        disable=not console.is_terminal,
    )
    with bar:
        task = bar.add_task("", total=total)
        yield (
            lambda line: console.print(_one_line(line), markup=False, highlight=False),
            lambda: bar.advance(task),
        )


def _one_line(text: str) -> str:
    """Text from outside on one line of a terminal, without its control characters."""
    return "".join(char if char.isprintable() else "?" for char in text)


def _say(text: str) -> None:
    """A line of which some words come from a file: none of them can steer the terminal."""
    print(_one_line(text))


@app.command()
def finger(
    piece: Annotated[
        Path, typer.Argument(metavar="INPUT", help="A guitar score: MusicXML or MIDI.")
    ],
    octave_down: Annotated[
        bool | None,
        typer.Option(
            "--octave-down/--as-sounding",
            help="It sounds an octave lower than written, or as written; else as it says.",
        ),
    ] = None,
    keep_fingering: Annotated[
        bool, typer.Option("--keep-fingering", help="Keep the strings and fingers it states.")
    ] = False,
    player: Player = None,
    capo: Annotated[int, typer.Option(metavar="N", help="The fret the capo lies on.")] = 0,
    out: Out = Path("out"),
    force: Force = False,
) -> None:
    """Choose strings, frets and fingers, every note as written."""
    with _one_voice(piece):
        from arranger.run.fingering import finger as finger_piece
        from arranger.run.store import keep, piece_name

        result = finger_piece(
            piece,
            octave_down=octave_down,
            keep_fingering=keep_fingering,
            player=player,
            capo=capo,
        )
        files = result.documents()
        folder = out / piece_name(piece) / "finger"
        keep(files, folder, force=force)
        arrangement, grade = result.arrangement, result.verdict.difficulty
        _say(f"{arrangement.title}: {len(arrangement.notes)} notes as written")
        _say(f"difficulty {grade.score:.0f} of 100 ({grade.band})")
        for line in _remarks(arrangement):
            _say(line)
        _say(f"written to {folder}: {', '.join(sorted(files))}")


@app.command()
def rate(
    tab: Annotated[
        Path,
        typer.Argument(
            metavar="INPUT",
            help="An arrangement.json or a guitar score, which is fingered if need be.",
        ),
    ],
    level: Annotated[
        str | None,
        typer.Option(
            metavar="LEVEL",
            help="Whose rules to check; else the file's own.",
            autocompletion=_level_names,
        ),
    ] = None,
    player: Player = None,
    tempo: Annotated[
        float | None,
        typer.Option(metavar="Q", help="The tempo to rate it at, in quarter notes a minute."),
    ] = None,
    json: AsJson = False,
) -> None:
    """Say how hard a tab is, where, why, and what would make it easier."""
    with _one_voice(tab):
        from arranger.render import rating_json
        from arranger.run.rate import rate as rate_tab

        rating = rate_tab(tab, level=level, player=player, tempo=tempo)
        if json:
            print(rating_json(rating), end="")
            return
        for line in _rating(rating):
            _say(line)


def _rating(rating: Rating) -> Iterator[str]:
    """Score, hardest bars, rules, and what would ease it, each on a line of its own."""
    grade, arrangement = rating.difficulty, rating.arrangement
    yield (
        f"{arrangement.title}: difficulty {grade.score:.0f} of 100 ({grade.band}), as likely"
        f" anywhere from {grade.low:.0f} to {grade.high:.0f}, at"
        f" {arrangement.student_tempo:.0f} quarter notes a minute"
    )
    yield "what it is made of:"
    for reason in grade.reasons:
        yield f"  +{reason.points:.1f}  bar {reason.bar}: {reason.what}"
    yield "the hardest bars, and the score were the piece all like them:"
    for reason in rating.hardest:
        yield f"  bar {reason.bar} ({reason.points:.0f}): {reason.what}"
    broken = len(rating.violations)
    yield f"rules of the hand: {f'{broken} broken' if broken else 'all kept'}"
    for violation in rating.violations:
        yield f"  bar {violation.bar}: {violation.text}"
    yield "what would make it easier:" if rating.easings else "nothing tried makes it easier"
    for easing in rating.easings:
        yield f"  -{easing.points:.1f}  {easing.what}"


@app.command()
def look(
    piece: Input,
    key: Annotated[
        str | None, typer.Option(metavar="G", help="The piece's key, where it was misheard.")
    ] = None,
    meter: Meter = None,
    straight: Straight = None,
    hands: HandsOption = None,
    melody_track: MelodyTrack = None,
    tempo_hint: TempoHint = None,
    beats: Beats = None,
    json: AsJson = False,
) -> None:
    """Show what was understood of a piece."""
    with _one_voice(piece):
        from arranger.run.look import as_json, page, source_key
        from arranger.run.understand import understand

        analysis = understand(
            piece,
            meter=meter,
            straight=straight,
            hands=hands,
            melody_track=melody_track,
            tempo_hint=tempo_hint,
            beats=beats,
            source_key=source_key(key),
        )
        if json:
            print(as_json(analysis))
            return
        for line in page(analysis).rstrip("\n").split("\n"):
            _say(line)


@app.command()
def levels() -> None:
    """Show what each level allows."""
    from rich.console import Console
    from rich.table import Table

    from arranger.run.level_table import rows
    from arranger.tables import LEVEL_NAMES

    table = Table(*("", *LEVEL_NAMES), title="Levels of playing")
    for row in rows():
        table.add_row(*row)
    Console().print(table)


@contextmanager
def _one_voice(piece: Path) -> Iterator[None]:
    """Every error as one sentence on stderr with its exit code, and never a traceback."""
    try:
        yield
    except InternalFault as fault:
        _say_fault(piece, str(fault), "\n".join(fault.report))
        raise typer.Exit(fault.exit_code) from fault
    except ArrangerError as error:
        typer.echo(_one_line(f"arranger: {error}"), err=True)
        raise typer.Exit(error.exit_code) from error
    except (typer.Exit, typer.Abort, KeyboardInterrupt, BrokenPipeError):
        raise  # a reader that has seen enough, such as head, is no fault
    except Exception as error:
        what = f"something went wrong in the program itself ({type(error).__name__})."
        _say_fault(piece, f"{piece.name}: {what}", traceback.format_exc())
        raise typer.Exit(InternalFault.exit_code) from error


def _say_fault(piece: Path, what: str, report: str) -> None:
    from arranger.run.store import keep_fault

    kept = keep_fault(piece, f"{_version()}\n{what}\n{report}\n")
    said = (
        f"arranger: {what} This is a fault of ours and nothing was written;"
        f" the input and a report are kept in {kept}."
    )
    typer.echo(_one_line(said), err=True)
