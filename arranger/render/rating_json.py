"""What ``rate`` says of a tab, as JSON."""

from __future__ import annotations

import json
from dataclasses import asdict

from arranger.music.rating import Rating


def rating_json(rating: Rating) -> str:
    """Score with its interval and band, reasons, hardest bars, rules broken, easings.

    Points of ``reasons`` sum to the score; those of ``hardest`` and ``bars`` are where the
    score would lie if the piece were all like that bar; those of ``easier`` are saved. A
    reason is ``telling`` where it is much by a teacher's measure.
    """
    grade, arrangement = rating.difficulty, rating.arrangement
    value = {
        "title": arrangement.title,
        "level": arrangement.level,
        "tempo": arrangement.student_tempo,
        "score": grade.score,
        "low": grade.low,
        "high": grade.high,
        "band": grade.band,
        "reasons": [asdict(reason) for reason in grade.reasons],
        "hardest": [
            {"bar": reason.bar, "what": reason.what, "points": reason.points}
            for reason in rating.hardest
        ],
        "violations": [asdict(violation) for violation in rating.violations],
        "easier": [asdict(easing) for easing in rating.easings],
        "bars": [
            {"bar": bar.bar, "points": bar.points, "features": dict(bar.features)}
            for bar in grade.bars
        ],
    }
    return json.dumps(value, allow_nan=False, indent=1) + "\n"
