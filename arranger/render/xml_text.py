"""XML elements with text that is safe to write."""

from __future__ import annotations

import re

from lxml import etree

# XML 1.0, production 2: everything else may not stand in a document, not even escaped.
_FORBIDDEN = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def clean(text: str) -> str:
    """The text without the characters that XML forbids."""
    return _FORBIDDEN.sub("", text)


def sub(
    parent: etree._Element, tag: str, text: str | None = None, **attributes: str
) -> etree._Element:
    """A new last child of ``parent``. Text is escaped by the writer."""
    element = etree.SubElement(parent, tag, attributes)
    element.text = text
    return element
