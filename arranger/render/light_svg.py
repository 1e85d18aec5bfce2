"""The engraver's drawing with fewer elements: the same picture, sooner on the screen."""

from __future__ import annotations

import re

from lxml import etree

from arranger.render.groups import SVG as _SVG

_STRAIGHT = re.compile(r"M-?[\d.]+ -?[\d.]+ L-?[\d.]+ -?[\d.]+")


def lighten(root: etree._Element) -> None:
    """Take out groups that say nothing, wrappers of text, and lines drawn one by one.

    What has an id, a class or a style stays; so does the order in which things are painted.
    """
    for text in root.iter(f"{_SVG}text"):
        _unwrap_text(text)
    for group in list(root.iter(f"{_SVG}g")):
        _dissolve(group)
    for parent in root.iter(f"{_SVG}g"):
        _join_lines(parent)


def _unwrap_text(text: etree._Element) -> None:
    """A text that holds one span, and nothing beside it, takes over what the span says."""
    while len(text) == 1 and not (text.text or "").strip() and not (text[0].tail or "").strip():
        span = text[0]
        for name, value in span.attrib.items():
            text.set(name, value)
        text.text = span.text
        text[:] = list(span)


def _dissolve(group: etree._Element) -> None:
    """An empty group goes; one without attributes leaves its children in its place."""
    parent = group.getparent()
    if parent is None or group.get("id") or (len(group) and group.attrib):
        return
    if group.get("class") is not None:
        return
    place = parent.index(group)
    parent[place : place + 1] = list(group)


def _join_lines(parent: etree._Element) -> None:
    """Straight lines that follow one another and look alike are one path."""
    last: etree._Element | None = None
    for child in list(parent):
        straight = child.tag == f"{_SVG}path" and _STRAIGHT.fullmatch(child.get("d", ""))
        if straight and last is not None and _look(last) == _look(child):
            last.set("d", last.get("d", "") + child.get("d", ""))
            parent.remove(child)
        else:
            last = child if straight else None


def _look(path: etree._Element) -> dict[str, str]:
    return {str(name): str(value) for name, value in path.attrib.items() if name != "d"}
