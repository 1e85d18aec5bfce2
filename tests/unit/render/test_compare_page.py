"""Versions side by side: the rows, the plots, and a page that asks for nothing."""

from __future__ import annotations

import base64
import hashlib
import itertools
import json
from dataclasses import replace

import pytest
from lxml import html
from render_tunes import alternating_bass, little_rag, verdict_of, waltz

from arranger.music.arrangement import Arrangement
from arranger.music.comparison import (
    Column,
    Comparison,
    CurvePoint,
    Refusal,
    TechniqueUse,
    Version,
)
from arranger.render import compare_page, comparison_json, comparison_rows
from arranger.render.plot import Line, plot_svg

_MARKUP = "</style><script>alert(1)</script><b onclick=x>"


def _version(arrangement: Arrangement) -> Version:
    return Version(
        arrangement=arrangement,
        verdict=verdict_of(arrangement),
        techniques=(TechniqueUse(name="full barre", times=2, bars=(1, 2)),),
    )


def comparison(title: str = "A tune") -> Comparison:
    return Comparison(
        title=title,
        composer="Nobody",
        columns=(
            Column(name="beginner", outcome=Refusal(why="it does not suit", bars=(2,))),
            Column(name="elementary", outcome=_version(alternating_bass())),
            Column(name="advanced", outcome=_version(replace(alternating_bass(), capo=2))),
        ),
    )


def _point(limit: float, score: float, richness: float) -> CurvePoint:
    fidelity = verdict_of(alternating_bass()).fidelity
    return CurvePoint(
        limit=limit, level="beginner", score=score, richness=richness, fidelity=fidelity
    )


def test_a_curve_is_drawn_and_told_where_there_is_one() -> None:
    curve = (_point(40, 38.0, 0.5), _point(50, 44.0, 0.8), _point(60, 44.0, 0.8))
    shown = replace(comparison(), curve=curve, front=curve[:2])
    said = html.fromstring(compare_page(shown)).text_content()
    assert "difficulty 40: 50 % of the piece, within beginner (score 38.0" in said
    assert "difficulty 50 to 60: 80 % of the piece" in said
    plots = [
        len(html.fromstring(compare_page(one)).xpath("//svg")) for one in (shown, comparison())
    ]
    assert plots == [2, 1]


def test_a_comparison_as_json_says_what_was_refused() -> None:
    told = json.loads(comparison_json(comparison()))
    assert told["columns"][0]["refused"] == {"why": "it does not suit", "bars": [2]}
    grade = told["columns"][1]["difficulty"]
    assert grade["low"] <= grade["score"] <= grade["high"]
    assert told["curve"] == []


def test_a_refused_column_says_why_and_has_no_figures() -> None:
    rows = {name: cells for name, *cells in comparison_rows(comparison())}
    assert rows["does it suit"] == ["it does not suit", "yes", "yes"]
    assert rows["techniques"] == ["–", "full barre, 2 times", "full barre, 2 times"]
    assert rows["key"][2].endswith("capo 2")
    whole = replace(comparison(), columns=comparison().columns[1:])
    assert "does it suit" not in {row[0] for row in comparison_rows(whole)}


def test_the_page_shows_what_the_rows_say_and_every_reason() -> None:
    page = html.fromstring(compare_page(comparison()))
    said = page.text_content()
    for row in comparison_rows(comparison()):
        for cell in row:
            assert cell in said
    for column in comparison().columns:
        if column.version:
            for reason in column.version.verdict.difficulty.reasons:
                assert f"bar {reason.bar}: {reason.what}" in said


def test_every_bar_stands_under_itself_once_in_every_version() -> None:
    for tune in (alternating_bass, little_rag, waltz):
        columns = tuple(Column(name=name, outcome=_version(tune())) for name in "AB")
        shown = Comparison(title="", composer="", columns=columns)
        page = html.fromstring(compare_page(shown))
        strings = [
            sum(line.count("|") for line in pre.text.splitlines() if line.startswith("    e"))
            for pre in page.xpath("//section//pre")
        ]
        # A bar line before each bar; one more closes each line of tab, two the piece.
        assert sum(strings) == 2 * (len(tune().bars) + len(strings) // 2 + 1)
        assert strings[::2] == strings[1::2]


def test_nothing_is_fetched_and_markup_is_text() -> None:
    page = html.fromstring(compare_page(comparison(_MARKUP)))
    policy = page.xpath("//meta[@http-equiv='Content-Security-Policy']/@content")[0]
    digest = base64.b64encode(hashlib.sha256(page.findtext(".//style").encode()).digest())
    assert policy.startswith("default-src 'none'")
    assert f"style-src 'sha256-{digest.decode()}'" in policy
    assert not page.xpath("//script | //*[@onclick] | //*[@style] | //link[@href!='data:,']")
    assert page.findtext(".//h1") == _MARKUP


def test_a_comparison_of_refusals_alone_is_a_page() -> None:
    refused = replace(comparison(), columns=comparison().columns[:1])
    page = html.fromstring(compare_page(refused))
    assert "it does not suit" in page.text_content()
    assert not page.xpath("//svg | //pre")


@pytest.mark.parametrize("heights", [(50, 50, 50), (99, 100), (0,)])
def test_labels_of_lines_that_end_together_do_not_touch(heights) -> None:  # type: ignore[no-untyped-def]
    lines = [Line(name=str(y), points=((0, y), (3, y))) for y in heights]
    svg = html.fromstring(plot_svg(lines, said="x", across="bar", up="points", span=(0, 3)))
    labels = [float(text.get("y")) for text in svg.xpath("//text[@text-anchor='start']")]
    assert len(labels) == len(heights)
    labels.sort()
    assert all(b - a >= 14.9 for a, b in itertools.pairwise(labels))


@pytest.mark.parametrize(("highest", "top"), [(12, 25), (25, 25), (26, 50), (80, 100)])
def test_a_plot_that_need_not_be_whole_ends_at_the_quarter_above(highest, top) -> None:  # type: ignore[no-untyped-def]
    lines = [Line(name="one", points=((0, 3), (3, highest)))]
    ended, whole = (
        html.fromstring(
            plot_svg(lines, said="x", across="bar", up="points", span=(0, 3), whole=whole)
        )
        for whole in (False, True)
    )
    for svg, full in ((ended, top), (whole, 100)):
        values = [float(text.text) for text in svg.xpath("//text[@text-anchor='end']")]
        assert (min(values), max(values)) == (0, full)


def test_what_is_kept_is_drawn_only_where_it_differs() -> None:
    suits = _version(alternating_bass())
    heard = replace(suits.verdict.fidelity, melody_kept=0.5)
    poorer = replace(suits, verdict=replace(suits.verdict, fidelity=heard))
    for other, drawn in ((suits, False), (poorer, True)):
        columns = (Column(name="one", outcome=suits), Column(name="two", outcome=other))
        page = html.fromstring(compare_page(replace(comparison(), columns=columns)))
        said = [heading.text for heading in page.xpath("//h2")]
        assert ("What is kept against what it asks" in said) is drawn


def test_what_is_much_stands_open_and_the_rest_adds_up_below_it() -> None:
    suits = _version(alternating_bass())
    grade = suits.verdict.difficulty
    told = replace(grade.reasons[0], what="a stretch", points=3.0, telling=True)
    rest = [replace(told, what=f"thing {n}", points=n, telling=False) for n in (1.5, 2.0)]
    for reasons, much, besides in (
        ((told, *rest), ["bar 1: a stretch +3.0"], "What adds up besides: 3.5 points"),
        ((told,), ["bar 1: a stretch +3.0"], None),
        (tuple(rest), [], "What adds up besides: 3.5 points"),
    ):
        told_by = replace(grade, reasons=tuple(replace(reason, bar=1) for reason in reasons))
        version = replace(suits, verdict=replace(suits.verdict, difficulty=told_by))
        one = replace(comparison(), columns=(Column(name="one", outcome=version),))
        page = html.fromstring(compare_page(one))
        items = page.xpath("//h3[.='one']/following-sibling::ul[1]/li[not(ancestor::details)]")
        assert [item.text_content() for item in items] == much
        assert page.findtext(".//summary") == besides
        assert ("Nothing in it is much." in page.text_content()) is (not much)
