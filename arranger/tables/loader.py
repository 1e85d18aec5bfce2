"""Read a table of the trade from TOML; refuse unknown keys and values out of range."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError

from arranger.music.errors import UsageError


class Table(BaseModel):
    """Base of every table: frozen, strict about unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid")


T = TypeVar("T", bound=BaseModel)


def validate(model: type[T], data: object, *, where: str) -> T:
    """``data`` as a ``model``.

    Raises
    ------
    UsageError : names the first key that is unknown, missing or out of range.
    """
    try:
        return model.model_validate(data)
    except ValidationError as error:
        first = error.errors()[0]
        # Parts in brackets name a choice of the model, not a line of the file.
        place = ".".join(str(part) for part in first["loc"] if "[" not in str(part))
        unknown = first["type"] == "extra_forbidden"
        said = "is not known here" if unknown else f"is not as it should be: {first['msg']}"
        raise UsageError(
            f"'{place or 'the table'}' {said.lower()}",
            where=where,
            next_step="Correct that line and run the command again.",
        ) from error


MOST_KILOBYTES = 100
"""Size of a TOML file of a teacher's, kB: a hundred times a usual one."""
LONGEST_LINE = 2000
"""Characters; keys of keys of keys take time that grows with the square of the line."""


def toml_from_file(path: Path, kind: str) -> dict[str, Any]:
    """What a teacher's TOML file holds; ``kind`` is what a message calls it.

    Raises
    ------
    UsageError : the file is missing, far too large, or not TOML.
    """
    try:
        if path.stat().st_size > MOST_KILOBYTES * 1000:
            raise ValueError(f"larger than {MOST_KILOBYTES} kB")
        text = path.read_text("utf-8")
        if any(len(line) > LONGEST_LINE for line in text.splitlines()):
            raise ValueError(f"a line is longer than {LONGEST_LINE} characters")
        return tomllib.loads(text)
    except (OSError, ValueError, RecursionError) as error:
        reason = "nested too deep" if isinstance(error, RecursionError) else error
        raise UsageError(
            f"the {kind} file cannot be read: {reason}",
            where=path.name,
            next_step=f"See the README for an example of a {kind} file.",
        ) from error


@cache
def _raw(name: str) -> dict[str, Any]:
    text = resources.files(__package__).joinpath(f"{name}.toml").read_text("utf-8")
    return tomllib.loads(text)


_tables: dict[tuple[str, type[BaseModel]], BaseModel] = {}


def load(name: str, model: type[T]) -> T:
    """The shipped table ``name`` (without ``.toml``) as a frozen ``model``, read once."""
    known = _tables.get((name, model))
    if isinstance(known, model):
        return known
    table = validate(model, _raw(name), where=f"tables/{name}.toml")
    _tables[name, model] = table
    return table
