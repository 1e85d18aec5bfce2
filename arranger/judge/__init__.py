"""The independent judge: rules of the hand, fidelity to the source, difficulty."""

from arranger.judge.difficulty import difficulty, usual_tempo
from arranger.judge.easier import easier
from arranger.judge.fidelity import fidelity, unfaithful_bars
from arranger.judge.grip import Fault, HandLimits, any_hand, hand_faults, limits_of
from arranger.judge.hardest import hardest_bars
from arranger.judge.richness import richness
from arranger.judge.rules import hand_violations, violations
from arranger.judge.techniques import techniques
from arranger.music.analysis import Analysis
from arranger.music.arrangement import Arrangement
from arranger.music.verdict import Verdict
from arranger.tables import Level, Player

__all__ = [
    "Fault",
    "HandLimits",
    "any_hand",
    "difficulty",
    "easier",
    "fidelity",
    "hand_faults",
    "hand_violations",
    "hardest_bars",
    "judge",
    "limits_of",
    "richness",
    "techniques",
    "unfaithful_bars",
    "usual_tempo",
    "violations",
]


def judge(
    arrangement: Arrangement, analysis: Analysis, level: Level, player: Player
) -> Verdict:
    """What is wrong with an arrangement, what it keeps of the source, how hard it is."""
    return Verdict(
        violations=violations(arrangement, level, player),
        fidelity=fidelity(arrangement, analysis, level),
        difficulty=difficulty(arrangement, level, player),
    )
