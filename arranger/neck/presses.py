"""Every way to press one note, numbered, and which two of them one hand can hold.

A *press* is a string, a fret and a finger (0 open, 1..4, 5 the thumb over the neck). They are
numbered so that whole tables of them are numpy arrays: ``RELEASED`` stands for a note let go.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from arranger.neck.fretboard import Neck
from arranger.tables import Level, Player
from arranger.tables.hand import hand

STRINGS, FRETS, FINGERS = 6, 25, 6
THUMB = 5
RELEASED = STRINGS * FRETS * FINGERS
PRESSES = RELEASED + 1

Codes = NDArray[np.int32]
Flags = NDArray[np.bool_]

_ALL = np.arange(RELEASED)
STRING = np.append(_ALL // (FRETS * FINGERS) + 1, 0).astype(np.int32)
FRET = np.append(_ALL // FINGERS % FRETS, 0).astype(np.int32)
FINGER = np.append(_ALL % FINGERS, 0).astype(np.int32)
FRETTED = FRET > 0


def press(string: int, fret: int, finger: int) -> int:
    """The number of a press."""
    return ((string - 1) * FRETS + fret) * FINGERS + finger


@dataclass(frozen=True, slots=True, eq=False)
class HandTables:
    """What one hand can do: ``fits[a, b]`` whether two presses go together, and how far
    apart they lie as a share of the reach of their fingers (``stretch``, 0 where none is).
    """

    neck: Neck
    level: Level
    player: Player
    fits: Flags
    stretch: NDArray[np.float32]

    def choices(self, midi: int) -> Codes:
        """Every press that sounds ``midi`` (without capo) on this neck, numbered."""
        known = _choices(self.neck, self.level, self.player)
        return known.get(midi, np.zeros(0, dtype=np.int32))


@cache
def _choices(neck: Neck, level: Level, player: Player) -> dict[int, Codes]:
    found: dict[int, list[int]] = {}
    common = hand()
    thumbs = "thumb over" in player.techniques
    for string, opened in enumerate(neck.tuning, start=1):
        most = max(level.max_fret, level.little_finger_fret if string == 1 else 0)
        for fret in range(min(most, neck.highest_fret, FRETS - 1) + 1):
            fingers = [1, 2, 3, 4] if fret else [0]
            if thumbs and string == common.thumb_string and 0 < fret <= common.thumb_fret_most:
                fingers.append(THUMB)
            for finger in fingers:
                found.setdefault(opened + fret, []).append(press(string, fret, finger))
    return {midi: np.array(codes, dtype=np.int32) for midi, codes in found.items()}


@cache
def hand_tables(neck: Neck, level: Level, player: Player) -> HandTables:
    """The tables of this hand, made once."""
    apart = _apart(neck)
    low, high = np.minimum.outer(FINGER, FINGER), np.maximum.outer(FINGER, FINGER)
    reach = np.full((FINGERS, FINGERS), np.inf)
    for lower in range(1, 5):
        for higher in range(lower + 1, 5):
            reach[lower, higher] = player.reach.between(lower, higher)
    fretted = FRETTED[:, None] & FRETTED[None, :]
    other = fretted & (low != high) & (high != THUMB)
    share = np.where(other, apart / reach[low, high], 0.0)
    fits = share <= 1.0
    fits &= ~(other & _out_of_order())
    fits &= ~(fretted & (low == high)) | _barres(level, player)
    fits &= ~(fretted & (low != high) & (high == THUMB)) | _thumb_near(neck)
    fits &= STRING[:, None] != STRING[None, :]
    fits[RELEASED, :] = fits[:, RELEASED] = True
    return HandTables(neck, level, player, fits, share.astype(np.float32))


def _along(neck: Neck) -> NDArray[np.float64]:
    """Mm of each press along the neck from the nut: L·(1 − 2^(−n/12))."""
    return np.asarray(neck.scale_length * (1.0 - 2.0 ** (-(FRET + neck.capo) / 12.0)))


def _apart(neck: Neck) -> NDArray[np.float64]:
    """Euclidean mm between every two presses."""
    along = _along(neck)
    across = STRING * neck.string_spacing
    return np.hypot(along[:, None] - along[None, :], across[:, None] - across[None, :])


def _out_of_order() -> Flags:
    """A higher finger on a lower fret than a lower finger."""
    return np.asarray(
        (FINGER[:, None] < FINGER[None, :]) & (FRET[:, None] > FRET[None, :])
        | (FINGER[:, None] > FINGER[None, :]) & (FRET[:, None] < FRET[None, :])
    )


def _barres(level: Level, player: Player) -> Flags:
    """One finger on two strings of one fret, as widely and as high as the player may."""
    width = np.abs(STRING[:, None] - STRING[None, :]) + 1
    first = (width <= player.barre_strings) & (FRET[:, None] <= player.barre_max_fret)
    small = (width <= hand().small_barre_strings) & level.small_barres
    finger = FINGER[:, None]
    may = np.where(finger == 1, first, small & (finger != THUMB))
    return np.asarray(may & (FRET[:, None] == FRET[None, :]))


def _thumb_near(neck: Neck) -> Flags:
    """The thumb over the neck stays near the fingers, measured along the neck."""
    common = hand()
    along = _along(neck)
    beyond = along[:, None] - along[None, :]  # the row's press beyond the column's
    thumb_column = np.where(FINGER[None, :] == THUMB, beyond, -beyond)
    return np.asarray(
        (thumb_column <= common.thumb_behind) & (-thumb_column <= common.thumb_ahead)
    )


def under_a_barre(codes: Codes) -> Flags:
    """Rows of ``codes`` (grips, notes) in which a string sounds lower inside a barre."""
    wrong = np.zeros(len(codes), dtype=np.bool_)
    string, fret, finger = STRING[codes], FRET[codes], FINGER[codes]
    columns = range(codes.shape[1])
    for one in columns:
        for other in range(one + 1, codes.shape[1]):
            barre = (finger[:, one] == finger[:, other]) & (fret[:, one] > 0)
            barre &= fret[:, other] > 0
            if not barre.any():
                continue
            low = np.maximum(string[:, one], string[:, other])
            high = np.minimum(string[:, one], string[:, other])
            for third in columns:
                inside = (string[:, third] < low) & (string[:, third] > high)
                wrong |= barre & inside & (fret[:, third] < fret[:, one])
    return wrong
