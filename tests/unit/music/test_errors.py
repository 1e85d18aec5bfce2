"""An error says what, where and what next, in whichever process it is caught."""

from __future__ import annotations

import pickle

import pytest

from arranger.music.errors import (
    ArrangerError,
    InternalFault,
    LevelMismatch,
    UnreadableInput,
    UsageError,
)

ERRORS = [
    UsageError("there is no level 'x'", next_step="Choose another."),
    UnreadableInput("the file is empty", where="a.mid"),
    LevelMismatch("it does not suit", where="a.mid", bars=(3, 4), nearest="advanced"),
    InternalFault("the judge refused it", where="a.mid", report=("bar 1", "bar 2")),
]


@pytest.mark.parametrize("error", ERRORS, ids=lambda error: type(error).__name__)
def test_error_is_the_same_in_another_process(error: ArrangerError) -> None:
    other = pickle.loads(pickle.dumps(error))
    assert type(other) is type(error)
    assert str(other) == str(error)
    assert vars(other) == vars(error)


def test_error_is_one_sentence_with_its_place() -> None:
    assert str(ERRORS[0]) == "there is no level 'x'. Choose another."
    assert str(ERRORS[1]) == "a.mid: the file is empty."
