"""The overview of a collection: a page to choose from, and tables for other programs."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from functools import partial
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from arranger.music.errors import UsageError
from arranger.music.outcome import Outcome
from arranger.render import Alike, OutcomeRows, overview_page
from arranger.run.shelf import Shelf
from arranger.run.store import Unwritable

COLUMNS: dict[str, type] = {
    "piece": str,
    "title": str,
    "composer": str,
    "level": str,
    "status": str,
    "key": str,
    "capo": int,
    "bars": int,
    "difficulty": float,
    "band": str,
    "melody_kept": float,
    "grid_fidelity": float,
    "contour_breaks": float,
    "bass_roots": float,
    "thirds": float,
    "thumb_beats": float,
    "alternation": float,
    "gap": float,
    "warnings": str,
    "same_music_as": str,
    "folder": str,
}
FAILURES = ("piece", "level", "status", "reason", "bars")
PLACES = 4
"""Decimal places of shares and points in the tables."""

_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""What a spreadsheet takes for the beginning of a formula (OWASP, CSV injection)."""


def write_overview(rows: OutcomeRows, shelf: Shelf) -> None:
    """``index.html``, ``summary.csv``, ``failures.csv``, and ``summary.parquet`` if it can be.

    The same outcomes give the same bytes.

    Raises
    ------
    Unwritable : the place cannot be written to.
    NotOurs : there are files of these names that the program did not make.
    """
    alike = partial(_others, _names_by_music(rows))
    writers = {
        "index.html": _write_page,
        "summary.csv": _write_summary,
        "failures.csv": _write_failures,
    }
    try:
        shelf.own.mkdir(parents=True, exist_ok=True)
        with TemporaryDirectory(dir=shelf.own) as room:
            files = {name: Path(room) / name for name in writers}
            for name, write in writers.items():
                write(files[name], rows, alike)
            if find_spec("pyarrow") is not None:
                files["summary.parquet"] = Path(room) / "summary.parquet"
                _write_parquet(files["summary.parquet"], files["summary.csv"])
            for name, file in files.items():
                shelf.keep_made(file, name)
    except UsageError:
        raise
    except OSError as error:
        raise Unwritable(
            f"the overview cannot be written ({error.strerror or error})".lower(),
            where=str(shelf.own.parent),
            next_step="Choose another place with --out.",
        ) from error


def _names_by_music(rows: OutcomeRows) -> dict[str, list[str]]:
    """Paths of the pieces that are the same music, by what they have in common."""
    names: dict[str, list[str]] = {}
    for outcome in rows():
        if outcome.music:
            known = names.setdefault(outcome.music, [])
            if outcome.piece not in known[-1:]:
                known.append(outcome.piece)
    return {music: known for music, known in names.items() if len(known) > 1}


def _others(names: dict[str, list[str]], outcome: Outcome) -> Sequence[str]:
    return [name for name in names.get(outcome.music, ()) if name != outcome.piece]


def _write_page(file: Path, rows: OutcomeRows, alike: Alike) -> None:
    with file.open("w", encoding="utf-8", errors="replace", newline="\n") as sink:
        sink.writelines(overview_page(rows, alike))


def _write_summary(file: Path, rows: OutcomeRows, alike: Alike) -> None:
    with file.open("w", encoding="utf-8", errors="replace", newline="") as sink:
        table = csv.DictWriter(sink, COLUMNS, lineterminator="\n")
        table.writeheader()
        table.writerows(_summary(rows, alike))


def _summary(rows: OutcomeRows, alike: Alike) -> Iterator[dict[str, Any]]:
    for outcome in rows():
        heard = outcome.fidelity
        yield {
            name: round(value, PLACES) if isinstance(value, float) else _cell(value)
            for name in COLUMNS
            if (
                value := {
                    "warnings": "; ".join(outcome.warnings),
                    "same_music_as": "; ".join(alike(outcome)),
                }.get(name, getattr(outcome, name, getattr(heard, name, None)))
            )
            is not None
        }


def _write_failures(file: Path, rows: OutcomeRows, alike: Alike) -> None:
    with file.open("w", encoding="utf-8", errors="replace", newline="") as sink:
        table = csv.writer(sink, lineterminator="\n")
        table.writerow(FAILURES)
        for outcome in rows():
            if not outcome.done:
                bars = " ".join(str(bar) for bar in outcome.unfit)
                said = (outcome.piece, outcome.level, outcome.status, outcome.reason, bars)
                table.writerow([_cell(text) for text in said])


def _cell(value: object) -> object:
    """The value as a spreadsheet shows it: a text from outside never becomes a formula.

    A lone carriage return, which readers of tables take for the end of a row, becomes "?".
    """
    if not isinstance(value, str):
        return value
    text = value.replace("\r", "?")
    return f"'{text}" if value.lstrip(" \0").startswith(_FORMULA) else text


def _write_parquet(file: Path, summary: Path) -> None:
    """The same table once more, block by block from the one just written."""
    arrow, tables, parquet = (
        import_module(name) for name in ("pyarrow", "pyarrow.csv", "pyarrow.parquet")
    )
    kinds = {str: arrow.string(), int: arrow.int32(), float: arrow.float64()}
    schema = arrow.schema([(name, kinds[kind]) for name, kind in COLUMNS.items()])
    with (
        tables.open_csv(
            summary,
            parse_options=tables.ParseOptions(newlines_in_values=True),
            convert_options=tables.ConvertOptions(column_types=schema),
        ) as blocks,
        parquet.ParquetWriter(str(file), schema) as sink,
    ):
        for block in blocks:
            sink.write_batch(block)
