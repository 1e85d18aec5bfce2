"""What each piece of the corpus is played like at each level, as a few words and a digest.

    python tests/golden/corpus_manifest.py             say what is otherwise than accepted
    python tests/golden/corpus_manifest.py --accept    accept it, after a look with a guitar

The digest is of what both hands do and of nothing else, so that a new look of a document
changes nothing here; the words say in what direction a change goes.
"""

from __future__ import annotations

import argparse
import hashlib
import json
from collections.abc import Iterable, Mapping
from pathlib import Path

from arranger.music.errors import LevelMismatch
from arranger.run.pipeline import Wishes, suited
from arranger.run.understand import understand
from arranger.tables import LEVEL_NAMES

CORPUS = Path(__file__).parents[2] / "corpus"
MANIFEST = Path(__file__).with_suffix(".json")
PIECES = sorted(file.stem for file in CORPUS.glob("*.mid"))

Entry = Mapping[str, str | int | float]


def entry(piece: str, level: str) -> Entry:
    """What a piece is played like at a level, or why it is not."""
    analysis = understand(CORPUS / f"{piece}.mid")
    try:
        result = suited(analysis, level, Wishes())
    except LevelMismatch as mismatch:
        return {"refused": mismatch.what}
    arrangement, verdict = result.arrangement, result.verdict
    played = [
        (str(n.onset), str(n.length), n.string, n.fret, n.left, n.right, n.voice, n.slur)
        for n in arrangement.notes
    ]
    return {
        "key": arrangement.key.name,
        "capo": arrangement.capo,
        "notes": len(arrangement.notes),
        "shapes": len(arrangement.shapes),
        "melody kept": round(verdict.fidelity.melody_kept, 3),
        "difficulty": round(verdict.difficulty.score, 1),
        "gap": round(arrangement.proof.gap, 4),
        "played": hashlib.sha256(json.dumps(played).encode("ascii")).hexdigest()[:16],
    }


def accepted() -> Mapping[str, Entry]:
    """The manifest: 'piece, level' to its entry."""
    manifest: Mapping[str, Entry] = json.loads(MANIFEST.read_text("utf-8"))
    return manifest


def name(piece: str, level: str) -> str:
    """What an entry is called."""
    return f"{piece}, {level}"


def changes(found: Mapping[str, Entry], known: Mapping[str, Entry]) -> Iterable[str]:
    """Each entry that is otherwise, field by field."""
    for which, now in found.items():
        before = known.get(which, {})
        for field in sorted({*now, *before}):
            if now.get(field) != before.get(field):
                yield f"{which}: {field}: {before.get(field)} -> {now.get(field)}"


def main() -> None:
    """Say what changed, and accept it where that is asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--accept", action="store_true")
    accept = parser.parse_args().accept
    found = {
        name(piece, level): entry(piece, level) for piece in PIECES for level in LEVEL_NAMES
    }
    told = list(changes(found, accepted() if MANIFEST.exists() else {}))
    print("\n".join(told) or "every piece is played as accepted")
    if accept:
        MANIFEST.write_text(json.dumps(found, indent=1, ensure_ascii=False) + "\n", "utf-8")
    elif told:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
