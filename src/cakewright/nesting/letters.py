"""Marks as rows of square cells: capital letters and figures five cells wide, and dots that spell a number."""

from __future__ import annotations

import numpy as np

from cakewright.errors import InputError
from cakewright.nesting.voxels import Grid

# seven rows a letter, five bits a row, left cell in the highest bit
_ROWS = {
    "0": "0E 11 13 15 19 11 0E", "1": "04 0C 04 04 04 04 0E", "2": "0E 11 01 02 04 08 1F",
    "3": "1F 02 04 02 01 11 0E", "4": "02 06 0A 12 1F 02 02", "5": "1F 10 1E 01 01 11 0E",
    "6": "06 08 10 1E 11 11 0E", "7": "1F 01 02 04 08 08 08", "8": "0E 11 11 0E 11 11 0E",
    "9": "0E 11 11 0F 01 02 0C", "A": "0E 11 11 1F 11 11 11", "B": "1E 11 11 1E 11 11 1E",
    "C": "0E 11 10 10 10 11 0E", "D": "1C 12 11 11 11 12 1C", "E": "1F 10 10 1E 10 10 1F",
    "F": "1F 10 10 1E 10 10 10", "G": "0E 11 10 17 11 11 0F", "H": "11 11 11 1F 11 11 11",
    "I": "0E 04 04 04 04 04 0E", "J": "07 02 02 02 02 12 0C", "K": "11 12 14 18 14 12 11",
    "L": "10 10 10 10 10 10 1F", "M": "11 1B 15 15 11 11 11", "N": "11 11 19 15 13 11 11",
    "O": "0E 11 11 11 11 11 0E", "P": "1E 11 11 1E 10 10 10", "Q": "0E 11 11 11 15 12 0D",
    "R": "1E 11 11 1E 14 12 11", "S": "0F 10 10 0E 01 01 1E", "T": "1F 04 04 04 04 04 04",
    "U": "11 11 11 11 11 11 0E", "V": "11 11 11 11 11 0A 04", "W": "11 11 11 15 15 15 0A",
    "X": "11 11 0A 04 0A 11 11", "Y": "11 11 11 0A 04 04 04", "Z": "1F 01 02 04 08 10 1F",
    "-": "00 00 00 1F 00 00 00", " ": "00 00 00 00 00 00 00",
}  # fmt: skip


def text_cells(text: str) -> Grid:
    """(7, 6 n - 1) of 0/1, top row first. Only capital letters, figures, '-' and blanks; small letters are raised."""
    wanted = text.upper()
    strange = sorted({c for c in wanted if c not in _ROWS})
    if strange or not wanted.strip():
        raise InputError(f"cannot write {text!r}", remedy="use letters A to Z, figures and '-'")
    columns = []
    for c in wanted:
        rows = [int(r, 16) for r in _ROWS[c].split()]
        columns.append(np.array([[(r >> (4 - k)) & 1 for k in range(5)] for r in rows], np.uint8))
        columns.append(np.zeros((7, 1), np.uint8))
    return np.concatenate(columns[:-1], axis=1)


def dot_cells(number: int, bits: int = 0) -> Grid:
    """(3, n): a bar on the left, then a dot for each binary digit: above for 1, below for 0; the last is parity.

    The highest digit comes first. With the parity dot the number of dots above is even, so one dot lost
    or misread is noticed. `bits` digits are used, or as many as the number needs, at least four.
    """
    needed = max(4, number.bit_length())
    if number < 0 or (bits and bits < needed):
        raise InputError(f"number {number} in {bits} dots", remedy="use a number from 0 up and enough dots")
    count = bits or needed
    digits = [(number >> k) & 1 for k in range(count - 1, -1, -1)]
    digits.append(sum(digits) % 2)
    cells = np.zeros((3, 1 + 2 * len(digits)), np.uint8)
    cells[:, 0] = 1
    for k, digit in enumerate(digits):
        cells[0 if digit else 2, 2 + 2 * k] = 1
    return cells


def read_dots(cells: Grid) -> int:
    """The number that dots spell; InputError when a dot is missing, doubled or the parity is wrong."""
    columns = cells[:, 2::2]
    above, below = columns[0].astype(int), columns[2].astype(int)
    if not cells[:, 0].all() or (above + below != 1).any() or above.sum() % 2:
        raise InputError("the dots contradict each other", remedy="turn the bar to the left and read again")
    return int("".join(map(str, above[:-1])), 2)
