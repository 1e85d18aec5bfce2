"""One tree of errors, one voice: what is wrong, where, and what to do next."""

from __future__ import annotations


class ArrangerError(Exception):
    """Something a user can mend; the base of every error this package raises on purpose.

    Parameters
    ----------
    what : what is wrong, one sentence without a full stop at the end.
    where : the place in the user's terms (file, track, bar, line), or "".
    next_step : what to do next, one sentence, or "".
    """

    exit_code: int = 2

    def __init__(self, what: str, *, where: str = "", next_step: str = "") -> None:
        self.what = what
        self.where = where
        self.next_step = next_step
        place = f"{where}: " if where else ""
        hint = f" {next_step}" if next_step else ""
        super().__init__(f"{place}{what}.{hint}")

    def __reduce__(self) -> tuple[object, ...]:
        """As raised in one process and caught in another: nothing is put together anew."""
        return _as_it_was, (type(self), self.args, self.__dict__)


class UsageError(ArrangerError):
    """An option, player file or marks file says something that cannot be meant (exit 2)."""

    exit_code = 2


class UnreadableInput(ArrangerError):
    """The input cannot be read, or holds no music to arrange (exit 3)."""

    exit_code = 3


class LevelMismatch(ArrangerError):
    """The piece does not suit the level asked for (exit 4).

    Parameters
    ----------
    bars : the bars (numbers as printed) that do not fit.
    nearest : the nearest level that works, or None when none was found.
    """

    exit_code = 4

    def __init__(
        self,
        what: str,
        *,
        where: str = "",
        next_step: str = "",
        bars: tuple[int, ...] = (),
        nearest: str | None = None,
    ) -> None:
        super().__init__(what, where=where, next_step=next_step)
        self.bars = bars
        self.nearest = nearest


class InternalFault(ArrangerError):
    """The judge refused our own result: a bug of ours (exit 70).

    Parameters
    ----------
    report : a line for each thing found wrong, to be kept with the input.
    """

    exit_code = 70

    def __init__(
        self, what: str, *, where: str = "", next_step: str = "", report: tuple[str, ...] = ()
    ) -> None:
        super().__init__(what, where=where, next_step=next_step)
        self.report = report


def _as_it_was(
    kind: type[ArrangerError], args: tuple[object, ...], said: dict[str, object]
) -> ArrangerError:
    error = kind.__new__(kind, *args)
    error.args = args
    error.__dict__.update(said)
    return error
