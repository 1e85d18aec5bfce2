"""Whether a piece is never easier at a harder level: scores of the four levels, piece by piece.

``python tests/bench/levels_rise.py [FILE ...]`` prints them, refused levels as a dash and a
fall as ``!``, and exits with the number of pieces in which the score falls. Without files:
the corpus, and small pieces of the open data under ``$ARRANGER_DATA`` or ``../shared/data``.
Where it falls, the tempos tell most: they stand behind the scores.
"""

from __future__ import annotations

import os
import sys
from itertools import pairwise
from pathlib import Path

from arranger.music.errors import ArrangerError
from arranger.run.compare import compare

ROOT = Path(__file__).parents[2]
DATA = Path(os.environ.get("ARRANGER_DATA", ROOT.parent / "shared" / "data")) / "piano"
SMALL = (
    "burgmullerjff_25ef-01",
    "burgmullerjff_25ef-02",
    "burgmullerjff_25ef-05",
    "czernyc_czerny-op-821-no-001",
    "czernyc_czerny-op-821-no-008",
    "schumannr_schumann-op68-02-marche-militaire",
    "schumannr_schumann-op68-10-gai-laboureur",
    "clementim_sonatina-1",
    "kuhlauf_sonatine-1-andante",
    "mozartwa_kv331-1-1-tema",
    "bachjs_bwv-117b",
    "beethovenlv_menuett-woo82",
    "chopinff_chop-28-20",
    "satiee_son-binocle",
)


def main(files: list[Path]) -> int:
    fallen = 0
    for file in files:
        try:
            columns = compare(file).columns
        except ArrangerError as error:
            print(f"{file.stem}: {error}")
            continue
        versions = [column.version for column in columns if column.version]
        scores = [version.verdict.difficulty.score for version in versions]
        falls = any(one > other for one, other in pairwise(scores))
        fallen += falls
        told = (
            f"{column.version.verdict.difficulty.score:5.1f}" if column.version else "    –"
            for column in columns
        )
        tempos = (f"{version.arrangement.student_tempo:.0f}" for version in versions)
        print(
            f"{file.stem[:44]:44}", *told, "!" if falls else " ", "/".join(tempos), flush=True
        )
    print(f"{len(files)} pieces, the score falls in {fallen}")
    return fallen


if __name__ == "__main__":
    given = [Path(name) for name in sys.argv[1:]]
    corpus = sorted((ROOT / "corpus").glob("*.mid"))
    small = [path for name in SMALL if (path := DATA / f"{name}.mid").is_file()]
    sys.exit(main(given or [*corpus, *small]))
