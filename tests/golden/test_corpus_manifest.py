"""No piece of the corpus comes out otherwise than it was last accepted.

Beginners play every piece here, and two pieces are played at every level; the command that
accepts a change (``corpus_manifest.py``) looks at all of them.
"""

from __future__ import annotations

import pytest
from corpus_manifest import PIECES, accepted, changes, entry, name

from arranger.tables import LEVEL_NAMES

EVERY_LEVEL = ("amazing_grace_hymn", "auld_lang_syne")
CASES = [
    (piece, level)
    for piece in PIECES
    for level in (LEVEL_NAMES if piece in EVERY_LEVEL else LEVEL_NAMES[:1])
]


@pytest.mark.parametrize(("piece", "level"), CASES, ids=str)
def test_piece_is_played_as_accepted(piece: str, level: str) -> None:
    found = {name(piece, level): entry(piece, level)}
    assert list(changes(found, accepted())) == [], (
        "if it is meant: python tests/golden/corpus_manifest.py --accept"
    )


def test_manifest_knows_every_piece_at_every_level() -> None:
    assert set(accepted()) == {name(piece, level) for piece in PIECES for level in LEVEL_NAMES}
