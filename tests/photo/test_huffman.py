"""Huffman tables as JPEG files carry them, against those that ITU-T T.81 prints."""

from __future__ import annotations

import numpy as np
import pytest

from evenhand.photo.jpeg.huffman import LOOK, huffman_tables

DC_LUMINANCE = bytes([0, 0, 1, 5, 1, 1, 1, 1, 1, 1, *[0] * 7, *range(12)])
"""Class and slot, how many codes of each length, symbols (T.81, K.3.3.1.1)."""

DC_LUMINANCE_CODES = [
    "00",
    "010",
    "011",
    "100",
    "101",
    "110",
    *("1" * n + "0" for n in range(3, 9)),
]
"""Codes of the categories 0 to 11 (T.81, table K.3)."""

AC = bytes([0x11, 0, 2, 1, 3, *[0] * 12, 0x01, 0x02, 0x03, 0x00, 0x04, 0x11])
"""The first codes of the table for AC of luminance in another slot (T.81, K.3.3.2.1)."""

AC_CODES = {0x01: "00", 0x02: "01", 0x03: "100", 0x00: "1010", 0x04: "1011", 0x11: "1100"}
"""Run and size to code (T.81, table K.5); 0x00 ends a block."""


def written(codes: np.ndarray, lengths: np.ndarray, symbol: int) -> str:
    return f"{codes[symbol]:0{lengths[symbol]}b}"


def test_codes_are_those_of_the_standard() -> None:
    tables = huffman_tables([DC_LUMINANCE + AC])
    for symbol, code in enumerate(DC_LUMINANCE_CODES):
        assert written(tables.codes[0], tables.lengths[0], symbol) == code
    for symbol, code in AC_CODES.items():
        assert written(tables.codes[5], tables.lengths[5], symbol) == code
    assert not tables.lengths[[1, 2, 3, 4, 6, 7]].any()


def test_a_code_is_looked_up_by_its_bits_whatever_follows() -> None:
    tables = huffman_tables([DC_LUMINANCE])
    for symbol, code in enumerate(DC_LUMINANCE_CODES):
        for rest in ("0" * LOOK, "1" * LOOK):
            entry = int(tables.look[0, int((code + rest)[:LOOK], 2)])
            assert (entry >> 8, entry & 255) == (len(code), symbol)


def test_how_much_of_a_block_an_ac_code_passes() -> None:
    """Run, size and end of block as T.81, F.1.2.2.1 has them."""
    tables = huffman_tables([AC])
    for symbol, code in AC_CODES.items():
        step = int(tables.steps[5, int(code.ljust(LOOK, "0"), 2)])
        run, size = symbol >> 4, symbol & 15
        assert step & 255 == len(code) + size
        assert step >> 8 == (run + 1 if size else 64)


def test_a_later_table_takes_the_place_of_an_earlier_one() -> None:
    single = bytes([0, 1, *[0] * 15, 7])
    tables = huffman_tables([DC_LUMINANCE, single])
    assert np.flatnonzero(tables.lengths[0]).tolist() == [7]
    assert written(tables.codes[0], tables.lengths[0], 7) == "0"


@pytest.mark.parametrize(
    "damaged",
    [
        DC_LUMINANCE[:10],
        DC_LUMINANCE[:-1],
        bytes([0x24]) + DC_LUMINANCE[1:],
        bytes([0, 3, *[0] * 15, 1, 2, 3]),  # three codes of one bit
    ],
    ids=["lengths cut", "symbols cut", "no such slot", "more codes than bits"],
)
def test_a_damaged_table_is_refused(damaged: bytes) -> None:
    with pytest.raises(ValueError, match="damaged Huffman table"):
        huffman_tables([damaged])
