"""Keys: the file's word, the profile's word, and who wins."""

from __future__ import annotations

from fractions import Fraction

from little_scores import score_of

from arranger.analyse import analyse
from arranger.music.key import Key, parse_key

IN_C = "C4:1 E4:1 G4:1 E4:1 | F4:1 A4:1 G4:1 B3:1 | D4:1 F4:1 B3:1 G3:1 | C4:1 E4:1 C4:2 |"
IN_A_MINOR = "A4:1 C5:1 E5:1 C5:1 | D5:1 F5:1 E5:1 G#4:1 | B4:1 D5:1 G#4:1 E4:1 | A4:2 A4:2 |"
IN_E_FLAT = (
    "Eb4:1 G4:1 Bb4:1 G4:1 | Ab4:1 C5:1 Bb4:1 D4:1 | F4:1 Ab4:1 D4:1 Bb3:1 | Eb4:1 G4:1 Eb4:2 |"
)


def heard(line: str, *, keys: dict[str, str] | None = None) -> list[str]:
    return [section.key.short for section in analyse(score_of(line, keys=keys)).keys]


def test_without_a_signature_the_profile_decides() -> None:
    assert heard(IN_C * 2) == ["C"]
    assert heard(IN_A_MINOR * 2) == ["Am"]
    assert heard(IN_E_FLAT * 2) == ["Eb"]


def test_the_profile_decides_the_mode_of_a_signature() -> None:
    assert heard(IN_A_MINOR * 2, keys={"0": "C"}) == ["Am"]
    assert heard(IN_C * 2, keys={"0": "Am"}) == ["C"]


def test_a_signature_nobody_set_is_overruled() -> None:
    """Files that were never told their key say C."""
    assert heard(IN_E_FLAT * 2, keys={"0": "C"}) == ["Eb"]


def test_a_change_of_signature_is_a_new_section() -> None:
    sections = analyse(score_of(IN_C * 2 + IN_C * 2, keys={"0": "C", "32": "Am"})).keys
    assert [section.key.short for section in sections] == ["C"]
    sections = analyse(score_of(IN_C * 2 + IN_E_FLAT * 2, keys={"0": "C", "32": "Eb"})).keys
    assert [(section.key.short, section.start) for section in sections] == [
        ("C", Fraction(0)),
        ("Eb", Fraction(32)),
    ]


def test_a_long_move_to_another_key_is_found_without_signatures() -> None:
    assert heard(IN_C * 4 + IN_E_FLAT * 4) == ["C", "Eb"]


def test_the_teachers_word_is_final() -> None:
    """Wherever the piece is in the key it began in; a middle part keeps its own."""
    keys = {"0": "C", "32": "Eb", "64": "C"}
    score = score_of(IN_C * 2 + IN_E_FLAT * 2 + IN_C * 2, keys=keys)
    heard_as = [section.key for section in analyse(score, key=parse_key("Am")).keys]
    assert heard_as == [Key(9, "minor"), Key(3, "major"), Key(9, "minor")]
