"""Groups of the engraver's drawing, found by their class or by the ids that we gave them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from typing import cast

from lxml import etree

SVG = "{http://www.w3.org/2000/svg}"
OURS = re.compile(r"([ntb])-(\d+)")
"""Our ids: a bar, a note, its number in the tab. The hyphen sets them apart: the engraver's own
are letters and digits, and now and then one of them looks like ``b613223``."""


def of_class(root: etree._Element, kind: str) -> list[etree._Element]:
    """The groups that have a class, among others it may be, in the order of the drawing."""
    return _found(root, f"contains(concat(' ', @class, ' '), ' {kind} ')")


def first_of_class(root: etree._Element, kind: str) -> list[etree._Element]:
    """The groups whose first class it is."""
    return _found(root, f"starts-with(concat(@class, ' '), '{kind} ')")


def ours(root: etree._Element, kind: str) -> Iterator[tuple[int, etree._Element]]:
    """The groups with our ids of a kind, each with the index in its id."""
    for group in _found(root, f"starts-with(@id, '{kind}-')"):
        found = OURS.fullmatch(group.get("id", ""))
        if found:
            yield int(found[2]), group


def _found(root: etree._Element, condition: str) -> list[etree._Element]:
    return cast("list[etree._Element]", _finder(condition)(root))


@cache
def _finder(condition: str) -> etree.XPath:
    names = {"svg": SVG.strip("{}")}
    return etree.XPath(f"descendant-or-self::svg:g[{condition}]", namespaces=names)
