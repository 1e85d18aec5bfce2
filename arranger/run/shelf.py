"""Where a collection's results stand: a folder here, or one that an fsspec URL names."""

from __future__ import annotations

import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256
from importlib import import_module
from pathlib import Path
from typing import Any, Protocol

from platformdirs import user_state_path

from arranger.music.errors import UsageError
from arranger.run.store import (
    MADE,
    NotOurs,
    Unwritable,
    intact,
    keep,
    keep_made,
    made_in,
    made_list,
    made_of,
    refuse_strangers,
)

OWN = ".batch"
"""The folder of a batch's journal and of what is half written."""


class Shelf(Protocol):
    """Folders of results by name, each put there whole with a note of what it is."""

    @property
    def own(self) -> Path:
        """A folder on this machine for the journal and for what is half written."""
        ...

    def keep(self, files: Mapping[str, bytes], folder: str, note: Mapping[str, Any]) -> None:
        """Put a folder in its place; raises ``NotOurs`` or ``Unwritable``."""
        ...

    def keep_made(self, new: Path, name: str) -> None:
        """Put one file of this machine in its place; raises as ``keep`` does."""
        ...

    def note(self, folder: str) -> Mapping[str, Any]:
        """The note of a folder that is whole and unchanged, else an empty one."""
        ...

    def intact(self, folder: str, sizes: Mapping[str, int]) -> bool:
        """Whether each file of ``sizes`` is there with as many bytes."""
        ...


def shelf_at(out: str, *, force: bool) -> Shelf:
    """The shelf at a path or a URL.

    Raises
    ------
    UsageError : a URL, and the library for URLs is not installed or does not know it.
    """
    if "://" not in out:
        return FolderShelf(root=Path(out), force=force)
    return UrlShelf(url=out.rstrip("/"), force=force)


@dataclass(frozen=True, slots=True, kw_only=True)
class FolderShelf:
    """A folder of this machine, or one that several machines share."""

    root: Path
    force: bool

    @property
    def own(self) -> Path:
        return self.root / OWN

    @property
    def _room(self) -> Path:
        return self.own / "work"

    def keep(self, files: Mapping[str, bytes], folder: str, note: Mapping[str, Any]) -> None:
        with _in_words(str(self._room)):
            self._room.mkdir(parents=True, exist_ok=True)
        keep(files, self.root / folder, force=self.force, note=note, room=self._room)

    def keep_made(self, new: Path, name: str) -> None:
        with _in_words(str(self.root / name)):
            keep_made(new, self.root / name, force=self.force)

    def note(self, folder: str) -> Mapping[str, Any]:
        place = self.root / folder
        if not (place / MADE).is_file():
            return {}
        try:
            refuse_strangers(place)
        except UsageError:
            return {}
        made = made_in(place)
        whole = all((place / name).is_file() for name in made.get("files", ()))
        note: Mapping[str, Any] = made.get("note", {}) if whole else {}
        return note

    def intact(self, folder: str, sizes: Mapping[str, int]) -> bool:
        return intact(self.root / folder, sizes)

    def sweep(self) -> None:
        """Throw away what was half written when a run was killed."""
        shutil.rmtree(self._room, ignore_errors=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class UrlShelf:
    """A folder that an fsspec URL names. The note is written last and makes it whole.

    Such places rename nothing at once, so that a folder being replaced has no note until
    all of it is there. The journal stays on the machine that leads the work.
    """

    url: str
    force: bool

    @property
    def own(self) -> Path:
        state = user_state_path("arranger", appauthor=False)
        return state / "batches" / sha256(self.url.encode("utf-8", "replace")).hexdigest()[:16]

    def _place(self, name: str) -> tuple[Any, str]:
        try:
            fsspec = import_module("fsspec")
            files, root = fsspec.core.url_to_fs(self.url)
        except (ImportError, ValueError) as error:
            raise UsageError(
                f"this place cannot be reached ({error})",
                where=self.url,
                next_step="Install arranger[dask] and what that kind of URL needs.",
            ) from error
        return files, f"{root}/{name}"

    def keep(self, files: Mapping[str, bytes], folder: str, note: Mapping[str, Any]) -> None:
        with _in_words(f"{self.url}/{folder}"):
            store, place = self._place(folder)
            made = self._made(store, place)
            there = {entry.rsplit("/", 1)[-1] for entry in _listed(store, place)} - {MADE}
            if not self.force and (strange := there - made.get("files", {}).keys()):
                raise NotOurs(
                    f"{', '.join(sorted(strange))} there was not made by this program",
                    where=f"{self.url}/{folder}",
                    next_step="Choose another place with --out, or use --force.",
                )
            store.makedirs(place, exist_ok=True)
            names = dict.fromkeys((*made.get("files", ()), *files), b"")
            store.pipe_file(f"{place}/{MADE}", made_list(names))
            for name, content in files.items():
                store.pipe_file(f"{place}/{name}", content)
            for name in there - files.keys():
                store.rm_file(f"{place}/{name}")
            store.pipe_file(f"{place}/{MADE}", made_list(files, note))

    def keep_made(self, new: Path, name: str) -> None:
        with _in_words(f"{self.url}/{name}"):
            store, place = self._place(name)
            _, root_list = self._place(MADE)
            made = self._made(store, root_list.rsplit("/", 1)[0])
            if not self.force and store.exists(place) and name not in made.get("files", {}):
                raise NotOurs(
                    f"{name} there was not made by this program",
                    where=self.url,
                    next_step="Choose another place with --out, or use --force.",
                )
            store.makedirs(place.rsplit("/", 1)[0], exist_ok=True)
            names = dict.fromkeys((*made.get("files", ()), name), b"")
            store.pipe_file(root_list, made_list(names))
            store.put_file(str(new), place)

    def note(self, folder: str) -> Mapping[str, Any]:
        with _in_words(f"{self.url}/{folder}"):
            store, place = self._place(folder)
            made = self._made(store, place)
            note: Mapping[str, Any] = made.get("note", {})
            whole = all(store.exists(f"{place}/{name}") for name in made.get("files", ()))
            return note if whole else {}

    def intact(self, folder: str, sizes: Mapping[str, int]) -> bool:
        with _in_words(f"{self.url}/{folder}"):
            store, place = self._place(folder)
            try:
                return all(
                    store.size(f"{place}/{name}") == size for name, size in sizes.items()
                )
            except FileNotFoundError:
                return False

    def _made(self, store: Any, place: str) -> dict[str, Any]:
        try:
            return made_of(store.cat_file(f"{place}/{MADE}"))
        except FileNotFoundError:
            return {}


def _listed(store: Any, place: str) -> list[str]:
    try:
        listed: list[str] = store.ls(place, detail=False)
    except FileNotFoundError:
        return []
    return listed


@contextmanager
def _in_words(where: str) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise Unwritable(
            f"the results cannot be written ({error.strerror or error})".lower(),
            where=where,
            next_step="Choose another place with --out.",
        ) from error
