"""``compare.html``: versions of one piece side by side, one file that asks for nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape

from arranger.music.comparison import Column, Comparison, Refusal, Version
from arranger.music.verdict import Reason
from arranger.render.comparison import comparison_rows, curve_lines
from arranger.render.html_page import page_head
from arranger.render.plain_text import one_line
from arranger.render.plot import Line, plot_svg
from arranger.render.tab import Tab
from arranger.render.tab_head import CAUTION, bar_list
from arranger.render.written import in_written_time

_BARS_A_GROUP = 4
"""Bars that stand under one another at most; fewer where a line of tab holds fewer."""

_HEARD = {
    "melody_kept": "tune: notes kept",
    "bass_roots": "bars with the bass root",
    "thirds": "bars with the third",
}


def compare_page(comparison: Comparison) -> str:
    """The page as text. Every word that comes from outside is escaped.

    The table, difficulty by bar, fidelity against difficulty, the curve where it was asked
    for, every reason (what is much by a teacher's measure first), and the tabs of the same
    bars under one another. It has no script; its style is known by its hash.
    """
    title = one_line(comparison.title) or "Untitled"
    parts = [
        page_head(f"{title}, compared", style="compare.css"),
        f"<header><h1>{escape(title)}</h1>",
        f'<p class="composer">{escape(one_line(comparison.composer))}</p></header>',
        "<main>",
        *_table(comparison),
        *_plots(comparison),
        *_curve(comparison),
        *_reasons(comparison),
        *_tabs(comparison),
        f'<p class="caution">{escape(CAUTION)}</p>',
        "</main>",
        "</body>",
        "</html>",
    ]
    return "\n".join(parts) + "\n"


def _table(comparison: Comparison) -> Iterator[str]:
    yield '<div class="wide"><table><thead><tr><td></td>'
    for column in comparison.columns:
        yield f'<th scope="col">{escape(one_line(column.name))}</th>'
    yield "</tr></thead><tbody>"
    for name, *cells in comparison_rows(comparison):
        said = "".join(f"<td>{escape(cell)}</td>" for cell in cells)
        yield f'<tr><th scope="row">{escape(name)}</th>{said}</tr>'
    yield "</tbody></table></div>"


def _versions(comparison: Comparison) -> list[tuple[str, Version]]:
    return [
        (one_line(column.name), column.version)
        for column in comparison.columns
        if column.version is not None
    ]


def _plots(comparison: Comparison) -> Iterator[str]:
    versions = _versions(comparison)
    if not versions:
        return
    bars = [bar.bar for _, version in versions for bar in version.arrangement.bars]
    yield "<h2>Difficulty, bar by bar</h2>"
    yield plot_svg(
        [
            Line(
                name=name,
                points=tuple((bar.bar, bar.points) for bar in version.verdict.difficulty.bars),
            )
            for name, version in versions
        ],
        said="; ".join(_hardest_bar(name, version) for name, version in versions),
        across="bar",
        up="points, were the piece all like this bar",
        span=(min(bars, default=0), max(bars, default=1)),
        whole=False,
    )
    if all(len({_heard(version, share) for _, version in versions}) == 1 for share in _HEARD):
        return  # as much is kept everywhere, which the table says in fewer lines
    ordered = sorted(versions, key=lambda named: named[1].verdict.difficulty.score)
    yield "<h2>What is kept against what it asks</h2>"
    yield plot_svg(
        [
            Line(
                name=said,
                points=tuple(
                    (version.verdict.difficulty.score, 100 * _heard(version, share))
                    for _, version in ordered
                ),
                marks=tuple(name for name, _ in ordered),
            )
            for share, said in _HEARD.items()
        ],
        said="; ".join(_kept(name, version) for name, version in ordered),
        across="difficulty",
        up="percent of the source",
        span=(0, 100),
    )


def _curve(comparison: Comparison) -> Iterator[str]:
    """The most that can be kept at each difficulty: a drawing, and a line for each ten."""
    if not comparison.curve:
        return
    lines = list(curve_lines(comparison))
    shares = {
        "all in all": [point.richness for point in comparison.front],
        **{
            said: [getattr(point.fidelity, share) for point in comparison.front]
            for share, said in _HEARD.items()
        },
    }
    yield "<h2>The most that can be kept at each difficulty</h2>"
    yield plot_svg(
        [
            Line(
                name=name,
                points=tuple(
                    (point.score, 100 * value)
                    for point, value in zip(comparison.front, values, strict=True)
                ),
                marks=tuple(point.level for point in comparison.front),
            )
            for name, values in shares.items()
        ],
        said="; ".join(lines),
        across="difficulty",
        up="percent of the source",
        span=(0, 100),
    )
    yield "<ul>"
    for line in lines:
        yield f"<li>{escape(line)}</li>"
    yield "</ul>"
    yield "<p>Any of these: <code>arranger arrange PIECE --difficulty N</code>.</p>"


def _heard(version: Version, share: str) -> float:
    heard: float = getattr(version.verdict.fidelity, share)
    return heard


def _hardest_bar(name: str, version: Version) -> str:
    bars = version.verdict.difficulty.bars
    if not bars:
        return f"{name}: no bars"
    worst = max(bars, key=lambda bar: bar.points)
    return f"{name}: hardest in bar {worst.bar} with {worst.points:.0f} points"


def _kept(name: str, version: Version) -> str:
    shares = ", ".join(
        f"{said} {100 * _heard(version, share):.0f} %" for share, said in _HEARD.items()
    )
    return f"{name} at {version.verdict.difficulty.score:.0f} points: {shares}"


def _reasons(comparison: Comparison) -> Iterator[str]:
    yield "<h2>Why</h2>"
    for column in comparison.columns:
        yield f"<h3>{escape(one_line(column.name))}</h3>"
        yield from _why(column)


def _why(column: Column) -> Iterator[str]:
    if isinstance(column.outcome, Refusal):
        yield f"<p>{escape(one_line(column.outcome.why))}.</p>"
        return
    grade = column.outcome.verdict.difficulty
    besides = [reason for reason in grade.reasons if not reason.telling]
    yield from _listed(grade.told)
    if besides:
        points = sum(reason.points for reason in besides)
        yield f"<details><summary>What adds up besides: {points:.1f} points</summary>"
        yield from _listed(besides)
        yield "</details>"


def _listed(reasons: Sequence[Reason]) -> Iterator[str]:
    yield "<ul>" if reasons else "<p>Nothing in it is much.</p>"
    for reason in reasons:
        text = one_line(f"bar {reason.bar}: {reason.what}")
        yield f"<li>{escape(text)} <b>+{reason.points:.1f}</b></li>"
    if reasons:
        yield "</ul>"


def _tabs(comparison: Comparison) -> Iterator[str]:
    """The same bars of every version under one another."""
    versions = _versions(comparison)
    if not versions:
        return
    bars = min((version.arrangement.bars for _, version in versions), key=len)
    tabs = [(name, Tab(in_written_time(version.arrangement))) for name, version in versions]
    yield "<h2>The same bars under one another</h2>"
    for group in _groups([tab for _, tab in tabs], len(bars)):
        label = bar_list(sorted({bars[index].bar for index in group}))
        yield f'<section class="bars" aria-label="{label}">'
        for name, tab in tabs:
            lines = "\n\n".join("\n".join(lines) for lines in tab.systems(group))
            yield f"<h3>{escape(name)}, {label}</h3><pre>{escape(lines)}</pre>"
        yield "</section>"


def _groups(tabs: Sequence[Tab], count: int) -> Iterator[range]:
    """Indices of neighbouring bars, as many as a line of tab holds in every version."""
    start = 0
    while start < count:
        stop = min(start + _BARS_A_GROUP, count)
        while stop > start + 1 and any(
            tab.lines_needed(range(start, stop)) > 1 for tab in tabs
        ):
            stop -= 1
        yield range(start, stop)
        start = stop
