"""Huffman tables as JPEG files carry them, against those that ITU-T T.81 prints."""

from __future__ import annotations

import numpy as np
import pytest

from evenhand.photo.jpeg.huffman import LOOK, HuffmanTables, huffman_tables

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


def written(tables: HuffmanTables, slot: int, symbol: int) -> str:
    code, length = divmod(int(tables.codes[slot, symbol]), 64)
    return f"{code:0{length}b}"


def test_codes_are_those_of_the_standard() -> None:
    tables = huffman_tables([DC_LUMINANCE + AC])
    for symbol, code in enumerate(DC_LUMINANCE_CODES):
        assert written(tables, 0, symbol) == code
    for symbol, code in AC_CODES.items():
        assert written(tables, 5, symbol) == code
    assert not tables.codes[[1, 2, 3, 4, 6, 7]].any()


@pytest.mark.parametrize(("bits", "first"), [(LOOK, 0), (16, 1 << LOOK)])
def test_a_code_is_looked_up_by_its_bits_whatever_follows(bits: int, first: int) -> None:
    tables = huffman_tables([DC_LUMINANCE])
    for symbol, code in enumerate(DC_LUMINANCE_CODES):
        for rest in ("0" * bits, "1" * bits):
            entry = int(tables.symbols[0, first + int((code + rest)[:bits], 2)])
            assert divmod(entry, 256) == (len(code), symbol)
    assert tables.symbols[0, first + (1 << bits) - 1] == 0  # all ones are no code (T.81, annex C)


def test_a_long_code_is_found_by_sixteen_bits_alone() -> None:
    """Sixteen codes, one of each length: the last is fifteen ones and a zero."""
    tables = huffman_tables([bytes([0, *[1] * 16, *range(16)])])
    long = 0b1111111111111110
    assert divmod(int(tables.symbols[0, (1 << LOOK) + long]), 256) == (16, 15)
    assert tables.symbols[0, long >> 16 - LOOK] == 0


def test_a_later_table_takes_the_place_of_an_earlier_one() -> None:
    single = bytes([0, 1, *[0] * 15, 7])
    tables = huffman_tables([DC_LUMINANCE, single])
    assert np.flatnonzero(tables.codes[0]).tolist() == [7]
    assert written(tables, 0, 7) == "0"


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
