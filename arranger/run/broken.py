"""Rules of the hand that our own result breaks are a fault of ours."""

from __future__ import annotations

from collections.abc import Sequence

from arranger.music.errors import InternalFault
from arranger.music.verdict import Violation


def refuse_broken(violations: Sequence[Violation], file: str) -> None:
    """Let nothing pass that the judge refuses.

    Raises
    ------
    InternalFault : a rule is broken; its report names every violation.
    """
    if violations:
        raise InternalFault(
            f"our own result breaks rules of the hand, {len(violations)} in all; the"
            f" first: {violations[0].text}",
            where=file,
            report=tuple(
                f"bar {broken.bar}: {broken.rule}: {broken.text} (notes {broken.notes})"
                for broken in violations
            ),
        )
