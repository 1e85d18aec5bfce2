"""Variable-length quantities as Standard MIDI File 1.0 tabulates them (read)."""

from __future__ import annotations

import pytest

from arranger.read.repair import variable_length

TABLE = [
    (0x0, "00"),
    (0x40, "40"),
    (0x7F, "7F"),
    (0x80, "8100"),
    (0x2000, "C000"),
    (0x3FFF, "FF7F"),
    (0x4000, "818000"),
    (0x100000, "C08000"),
    (0x1FFFFF, "FFFF7F"),
    (0x200000, "81808000"),
    (0x8000000, "C0808000"),
    (0xFFFFFFF, "FFFFFF7F"),
]


@pytest.mark.parametrize(("value", "written"), TABLE)
def test_quantities_of_the_standard(value, written):
    assert variable_length(value).hex().upper() == written
