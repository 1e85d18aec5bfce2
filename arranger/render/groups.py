"""Groups of the engraver's drawing, found by their class or by the ids that we gave them."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence

from lxml import etree

SVG = "{http://www.w3.org/2000/svg}"
OURS = re.compile(r"([ntb])-(\d+)")
"""Our ids: a bar, a note, its number in the tab. The hyphen sets them apart: the engraver's own
are letters and digits, and now and then one of them looks like ``b613223``."""


class Groups:
    """The groups of a drawing, gone through once: what is set right in a system asks for them
    some twenty times. They are those that it had then, of the class that they had then.
    """

    def __init__(self, root: etree._Element) -> None:
        self.root = root
        self._kinds: dict[str, list[etree._Element]] = defaultdict(list)
        self._ours: dict[str, list[tuple[int, etree._Element]]] = defaultdict(list)
        for group in root.iter(f"{SVG}g"):
            for kind in dict.fromkeys(group.get("class", "").split()):
                self._kinds[kind].append(group)
            found = OURS.fullmatch(group.get("id", ""))
            if found:
                self._ours[found[1]].append((int(found[2]), group))

    def of_class(self, kind: str) -> Sequence[etree._Element]:
        """Those that have a class, among others it may be, in the order of the drawing."""
        return self._kinds.get(kind, ())

    def ours(self, kind: str) -> Sequence[tuple[int, etree._Element]]:
        """Those with our ids of a kind, each with the index in its id."""
        return self._ours.get(kind, ())
