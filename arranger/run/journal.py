"""What has been done, line by line: written before it is told, readable after any fall.

A line is a JSON object that begins with its key. Lines are only ever added and pushed
through to the disk, so that a process may be killed at any moment: at worst the last line
is torn, and a torn line was never told to anybody.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from arranger.music.outcome import Outcome
from arranger.music.verdict import Fidelity
from arranger.run.closed import Closed

_HEAD = b'{"key": "'
_KEY_DIGITS = 64
_INDEX_BYTES = 16
"""Bytes of a key kept in memory: 128 bits are as good as all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """An outcome under the key of all that decides it.

    ``sizes`` are the bytes of each file written, ``seconds`` how long it took, ``limits``
    the seconds and megabytes it was given, ``tries`` how often it has crashed.
    """

    key: str
    outcome: Outcome
    sizes: Mapping[str, int] = field(default_factory=dict)
    seconds: float = 0.0
    limits: tuple[float, float] = (0.0, 0.0)
    tries: int = 0


class Journal(Closed):
    """The journal in ``file``; what was written last under a key counts.

    Raises
    ------
    OSError : the file cannot be read or written.
    """

    def __init__(self, file: Path) -> None:
        file.parent.mkdir(parents=True, exist_ok=True)
        self._file = file.open("a+b")
        self._places: dict[bytes, int] = {}
        self._end = self._index()
        self._file.truncate(self._end)

    def close(self) -> None:
        self._file.close()

    def _index(self) -> int:
        """Where each key's line begins; returns where the last whole line ends."""
        place = 0
        self._file.seek(0)
        for line in self._file:
            if not line.endswith(b"\n"):
                break
            if (key := _key_of(line)) is not None:
                self._places[key] = place
            place += len(line)
        return place

    def __len__(self) -> int:
        return len(self._places)

    def get(self, key: str) -> Entry | None:
        """The entry under ``key``; None where there is none, or none that can be read."""
        place = self.place(key)
        if place is None:
            return None
        entry = self.at(place)
        return entry if entry is not None and entry.key == key else None

    def place(self, key: str) -> int | None:
        """Where the line under ``key`` begins, for ``at``; None where there is none."""
        return self._places.get(_short(key))

    def at(self, place: int) -> Entry | None:
        """The entry whose line begins at ``place``; None where it cannot be read."""
        self._file.seek(place)
        try:
            return _entry(json.loads(self._file.readline()))
        except (ValueError, TypeError, KeyError):  # damaged on the disk: it is done again
            return None

    def add(self, entry: Entry) -> None:
        """Write an entry through to the disk; when this returns, it is kept."""
        line = json.dumps({"key": entry.key, **asdict(entry)}).encode("ascii") + b"\n"
        self._file.seek(0, os.SEEK_END)
        self._file.write(line)
        self._file.flush()
        os.fsync(self._file.fileno())
        self._places[_short(entry.key)] = self._end
        self._end += len(line)


def outcome_from(said: Mapping[str, Any]) -> Outcome:
    """The outcome of which ``said`` is the JSON object.

    Raises
    ------
    TypeError : fields are missing or unknown.
    """
    heard = said.get("fidelity")
    return Outcome(
        **{
            **said,
            "unfit": tuple(said.get("unfit", ())),
            "warnings": tuple(said.get("warnings", ())),
            "fidelity": Fidelity(**heard) if heard else None,
        }
    )


def _entry(said: Mapping[str, Any]) -> Entry:
    seconds, megabytes = said["limits"]
    return Entry(
        **{
            **said,
            "outcome": outcome_from(said["outcome"]),
            "limits": (seconds, megabytes),
        }
    )


def _key_of(line: bytes) -> bytes | None:
    start, stop = len(_HEAD), len(_HEAD) + _KEY_DIGITS
    if not line.startswith(_HEAD) or not line.endswith(b"}\n"):
        return None
    try:
        return _short(line[start:stop].decode("ascii"))
    except ValueError:
        return None


def _short(key: str) -> bytes:
    return bytes.fromhex(key)[:_INDEX_BYTES]
