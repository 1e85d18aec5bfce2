"""Measures in the order a player takes who obeys the signs."""

from __future__ import annotations

import pytest
from lxml import etree

from arranger.read.repeats import as_played


def order(*bars: str) -> str:
    """Bars as written by their signs: ``|:`` and ``:|``, ``[1`` and ``]`` around endings."""
    root = etree.Element("part")
    for signs in bars:
        measure = etree.SubElement(root, "measure")
        for sign in signs.split():
            line = etree.SubElement(measure, "barline")
            if sign.endswith("|:") or sign.startswith(":|"):
                forward = sign.endswith("|:")
                repeat = etree.SubElement(line, "repeat")
                repeat.set("direction", "forward" if forward else "backward")
                if not forward and sign[2:]:
                    repeat.set("times", sign[2:])
            elif sign != "-":
                ending = etree.SubElement(line, "ending", number=sign[1:])
                ending.set("type", "start" if sign.startswith("[") else "stop")
    return " ".join(str(1 + index) for index in as_played(root.findall("measure")))


@pytest.mark.parametrize(
    ("bars", "played"),
    [
        (("-", "-", "-"), "1 2 3"),
        (("|:", ":|", "-"), "1 2 1 2 3"),
        (("-", ":|", "-"), "1 2 1 2 3"),
        (("-", "|:", ":|", "-", ":|"), "1 2 3 2 3 4 5 4 5"),
        (("|: :|", "|: :|"), "1 1 2 2"),
        (("|:", ":|3"), "1 2 1 2 1 2"),
        (("|:", "[1 ]1 :|", "[2 ]2", "-"), "1 2 1 3 4"),
        (("|:", "[1", "]1 :|", "[2", "]2", "-", ":|"), "1 2 3 1 4 5 6 7 6 7"),
        (("|:", "[1,2 ]1,2 :|", "[3 ]3", "-"), "1 2 1 2 1 3 4"),
        (("|:", "[1 ]1 :|", "[2 ]2 :|", "-"), "1 2 1 3 4"),
        (("|:", "[1 ]1 :|", "-", "|:", "[1 ]1 :|", "[2 ]2"), "1 2 1 3 4 5 4 6"),
    ],
)
def test_the_signs_are_obeyed(bars, played):
    assert order(*bars) == played


@pytest.mark.parametrize("times", ["1000000", "x", "0", "-2", ""])
def test_a_senseless_number_of_times_ends(times):
    played = order("|:", f":|{times}").split()
    assert len(played) <= 2 * 8


def test_an_ending_without_a_number_is_no_ending():
    assert order("|:", "[ ] :|", "-") == "1 2 1 2 3"
