"""Read a table of the trade from TOML; refuse unknown keys and values out of range."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources
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
