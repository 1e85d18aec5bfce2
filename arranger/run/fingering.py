"""Fingering a score as written: strings, frets and both hands' fingers, nothing else."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from arranger.analyse import analyse
from arranger.judge import difficulty, fidelity, hand_violations
from arranger.music.arrangement import Arrangement
from arranger.music.errors import UsageError
from arranger.music.lesson import Lesson
from arranger.music.page import Page
from arranger.music.verdict import Verdict
from arranger.music.written_note import WrittenNote
from arranger.neck import BothHands, both_hands, finger_page
from arranger.read import guitar_page
from arranger.render import NO_EXTRAS, ORDINARY, Extras, Paper, documents, with_fingering
from arranger.run.broken import refuse_broken
from arranger.tables import Player, default_player, instrument, player_from_file
from arranger.tables.habits import as_written
from arranger.teach import teach


@dataclass(frozen=True, slots=True, kw_only=True)
class Fingered:
    """A score as written with both hands' fingers, what the judge says, what to practise."""

    page: Page
    arrangement: Arrangement
    verdict: Verdict
    lesson: Lesson
    original: bytes | None
    """The MusicXML file that was given, None for other formats."""

    def documents(
        self, *, paper: Paper = ORDINARY, extras: Extras = NO_EXTRAS
    ) -> dict[str, bytes]:
        """File name to content. A MusicXML file comes back as it was, with its fingering."""
        files = documents(
            self.arrangement, self.verdict, self.lesson, paper=paper, extras=extras
        )
        if self.original is not None:
            files["score.musicxml"] = with_fingering(
                self.original, self.arrangement, self.page.elements
            )
        return files


def finger(
    path: str | Path,
    *,
    octave_down: bool | None = None,
    keep_fingering: bool = False,
    player: str | Path | None = None,
    capo: int = 0,
) -> Fingered:
    """Strings, frets and fingers for a guitar score, every note as written.

    Parameters
    ----------
    path : a guitar score as MusicXML or MIDI (also Humdrum or ABC).
    octave_down : whether it sounds an octave lower than the file says; None: as the score
        itself says.
    keep_fingering : keep strings and left-hand fingers that a MusicXML score states.
    player : a player file; None takes a trained hand that knows every technique.
    capo : the fret the capo lies on; the score is what sounds.

    Raises
    ------
    UnreadableInput : the file cannot be read or holds no music.
    UsageError : the player file or the capo cannot be meant.
    InternalFault : the judge refused the result.
    """
    level = as_written()
    who = player_from_file(Path(player), level) if player else default_player(level)
    _refuse_capo(capo)
    page = guitar_page(Path(path), octave_down=octave_down, keep_fingering=keep_fingering)
    analysis = analyse(page.score)
    arrangement = finger_page(page, analysis, level=level, player=who, capo=capo)
    refuse_broken(hand_violations(arrangement, level, who), page.score.file)
    verdict = Verdict(
        violations=(),
        fidelity=fidelity(arrangement, analysis, level),
        difficulty=difficulty(arrangement, level, who),
    )
    return Fingered(
        page=page,
        arrangement=arrangement,
        verdict=verdict,
        lesson=teach(arrangement, verdict),
        original=Path(path).read_bytes() if page.elements else None,
    )


def finger_notes(
    notes: Sequence[WrittenNote],
    *,
    player: Player | None = None,
    tuning: tuple[int, ...] | None = None,
    capo: int = 0,
) -> BothHands:
    """The same for a plain list of notes (onset, length, what sounds, voice).

    ``tuning`` holds the MIDI numbers of strings 1..6; None is the usual one.
    """
    level = as_written()
    return both_hands(
        notes, level=level, player=player or default_player(level), tuning=tuning, capo=capo
    )


def _refuse_capo(capo: int) -> None:
    most = instrument().frets - 12
    if not 0 <= capo <= most:
        raise UsageError(
            f"a capo on fret {capo} cannot be meant",
            where="--capo",
            next_step=f"Give a fret from 0 to {most}.",
        )
