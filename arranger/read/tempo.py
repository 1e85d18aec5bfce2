"""The prevailing tempo, and which stated tempos are believed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from arranger.music.score import TempoMark
from arranger.read.piece import PlayedTempo, Remark
from arranger.read.table import TempoTable


@dataclass(frozen=True, slots=True, kw_only=True)
class Tempos:
    """Tempo marks on the clean time line, and the one that prevails (quarters a minute)."""

    marks: tuple[TempoMark, ...]
    prevailing: float
    stated: bool
    remarks: tuple[Remark, ...] = ()


def read_tempos(
    played: Sequence[PlayedTempo],
    *,
    end: int,
    first_bars: int,
    clean: Callable[[int], Fraction],
    table: TempoTable,
) -> Tempos:
    """The tempos of a piece that lasts ``end`` units of the file.

    ``first_bars`` is how long (units) a first tempo may last and still be the musical
    one when only the default follows; ``clean`` leads to the clean time line.
    """
    usable = [tempo for tempo in played if table.least <= tempo.quarters <= table.most]
    remarks = []
    if len(usable) < len(played):
        remarks.append(
            Remark(
                code="tempo-out-of-range",
                text=f"{len(played) - len(usable)} tempo mark(s) outside {table.least:g} to "
                f"{table.most:g} quarters a minute were left out",
            )
        )
    if not usable:
        mark = TempoMark(onset=Fraction(0), quarters=table.default)
        return Tempos(
            marks=(mark,), prevailing=table.default, stated=False, remarks=tuple(remarks)
        )
    believed = _without_late_default(usable, first_bars, table)
    if len(believed) < len(usable):
        remarks.append(
            Remark(
                code="tempo-default",
                text=f"The file states {believed[0].quarters:g} quarters a minute and then "
                f"falls back to the default of {table.default:g}; the stated tempo was kept",
            )
        )
    marks: dict[Fraction, float] = {}
    for place, tempo in enumerate(believed):
        marks[clean(tempo.at) if place else Fraction(0)] = round(tempo.quarters, 3)
    return Tempos(
        marks=tuple(TempoMark(onset=at, quarters=q) for at, q in sorted(marks.items())),
        prevailing=_prevailing(believed, end),
        stated=True,
        remarks=tuple(remarks),
    )


def _without_late_default(
    tempos: list[PlayedTempo], first_bars: int, table: TempoTable
) -> list[PlayedTempo]:
    """Drop defaults that follow a stated tempo within the first bars and never change.

    Exporters write the musical tempo once and repeat the default for each later part.
    """
    first = tempos[0]
    others = [tempo for tempo in tempos if abs(tempo.quarters - first.quarters) > 0.01]
    only_default = all(abs(tempo.quarters - table.default) < 0.01 for tempo in others)
    if not others or not only_default:
        return tempos
    if abs(first.quarters - table.default) < 0.01 or others[0].at > first_bars:
        return tempos
    return [tempo for tempo in tempos if tempo not in others]


def _prevailing(tempos: Sequence[PlayedTempo], end: int) -> float:
    """The tempo that holds for most quarters; the first of equals."""
    held: dict[float, int] = defaultdict(int)
    stops = [tempo.at for tempo in tempos[1:]] + [end]
    for tempo, stop in zip(tempos, stops, strict=True):
        held[round(tempo.quarters, 1)] += max(0, stop - tempo.at)
    best = max(held, key=lambda quarters: held[quarters])
    return float(best)


def seconds(played: Sequence[PlayedTempo], end: int, unit: int, table: TempoTable) -> float:
    """How long ``end`` units of the file last as played."""
    total, at, quarters = 0.0, 0, table.default
    for tempo in played:
        if tempo.at < end and table.least <= tempo.quarters <= table.most:
            total += (tempo.at - at) / unit * 60.0 / quarters
            at, quarters = tempo.at, tempo.quarters
    return total + (end - at) / unit * 60.0 / quarters
