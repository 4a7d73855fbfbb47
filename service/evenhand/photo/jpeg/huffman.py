"""Huffman tables of JPEG files, laid out for reading and writing codes (ITU-T T.81, annex C)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Octets = npt.NDArray[np.uint8]
Entries = npt.NDArray[np.uint16]
Codes = npt.NDArray[np.int64]

LOOK = 11
"""Bits that are looked up first, in a table that fits into the first-level cache."""


@dataclass(frozen=True)
class HuffmanTables:
    """Huffman tables of the four slots for DC and AC, 0 to 3 and 4 to 7.

    Attributes
    ----------
    symbols : ndarray of uint16, shape (8, (1 << LOOK) + 65536)
        Code length * 256 + symbol of the code that `LOOK` bits begin with, 0 where it is longer;
        after those the same for 16 bits, 0 for none.
    codes : ndarray of int64, shape (8, 256)
        Code * 64 + its length for every symbol; 0 for none.
    """

    symbols: Entries
    codes: Codes


def huffman_tables(segments: list[bytes]) -> HuffmanTables:
    """Tables of all DHT segments' payloads (T.81, B.2.4.2 and annex C).

    Parameters
    ----------
    segments : list of bytes
        A later table takes the place of an earlier one.

    Returns
    -------
    HuffmanTables

    Raises
    ------
    ValueError
        A segment is damaged.
    """
    tables = HuffmanTables(
        np.zeros((8, (1 << LOOK) + (1 << 16)), np.uint16), np.zeros((8, 256), np.int64)
    )
    for payload in segments:
        place = 0
        while place < len(payload):
            counts = payload[place + 1 : place + 17]
            symbols = payload[place + 17 : place + 17 + sum(counts)]
            slot = (payload[place] >> 4) * 4 + (payload[place] & 15)
            if len(counts) < 16 or len(symbols) < sum(counts) or slot > 7 or sum(counts) > 256:
                raise ValueError("damaged Huffman table")
            _fill(tables, slot, counts, symbols)
            place += 17 + len(symbols)
    return tables


def _fill(tables: HuffmanTables, slot: int, counts: bytes, symbols: bytes) -> None:
    tables.symbols[slot], tables.codes[slot] = 0, 0
    code = index = 0
    for length, count in enumerate(counts, 1):
        for symbol in symbols[index : index + count]:
            for bits, first in ((LOOK, 0), (16, 1 << LOOK)):
                begin, end = (first + (n << bits >> length) for n in (code, code + 1))
                if length <= bits:
                    tables.symbols[slot, begin:end] = length * 256 + symbol
            tables.codes[slot, symbol] = code * 64 + length
            code += 1
        index += count
        if code > 1 << length:
            raise ValueError("damaged Huffman table")
        code <<= 1
