"""Huffman tables of JPEG files, laid out for reading and writing codes (ITU-T T.81, annex C)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Octets = npt.NDArray[np.uint8]
Numbers = npt.NDArray[np.int32]
Entries = npt.NDArray[np.uint16]
Codes = npt.NDArray[np.uint32]

LOOK = 11
"""Bits that the first table look-up takes; longer codes are found by the loop of F.2.2.3."""


@dataclass(frozen=True)
class HuffmanTables:
    """Huffman tables of the four slots for DC and AC, 0 to 3 and 4 to 7.

    Attributes
    ----------
    look : ndarray of uint16, shape (8, 1 << LOOK)
        Code length * 256 + symbol for every beginning of a short code, 0 where it is longer.
    steps : ndarray of int32, shape (8, 1 << LOOK)
        For skipping AC coefficients: bits of code and value + 256 * coefficients passed (64 for
        the end of the block), 0 where the code is longer.
    largest : ndarray of int32, shape (8, 18)
        Largest code of each length, -1 for none.
    first : ndarray of int32, shape (8, 18)
        Index of the first symbol of each length, minus its code.
    symbols : ndarray of uint8, shape (8, 256)
        Symbols in the order of their codes.
    codes, lengths : ndarray of uint32 and uint8, shape (8, 256)
        Code and its length for every symbol; length 0 for none.
    """

    look: Entries
    steps: Numbers
    largest: Numbers
    first: Numbers
    symbols: Octets
    codes: Codes
    lengths: Octets


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
        np.zeros((8, 1 << LOOK), np.uint16),
        np.zeros((8, 1 << LOOK), np.int32),
        np.full((8, 18), -1, np.int32),
        np.zeros((8, 18), np.int32),
        np.zeros((8, 256), np.uint8),
        np.zeros((8, 256), np.uint32),
        np.zeros((8, 256), np.uint8),
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
    for table in (tables.look, tables.steps, tables.first, tables.codes, tables.lengths):
        table[slot] = 0
    tables.largest[slot] = -1
    code = index = 0
    for length, count in enumerate(counts, 1):
        tables.first[slot, length] = index - code
        for symbol in symbols[index : index + count]:
            tables.symbols[slot, index] = symbol
            tables.codes[slot, symbol], tables.lengths[slot, symbol] = code, length
            if length <= LOOK:
                start = code << (LOOK - length)
                stop = start + (1 << (LOOK - length))
                tables.look[slot, start:stop] = length * 256 + symbol
                tables.steps[slot, start:stop] = _step(length, symbol)
            code += 1
            index += 1
        if code > 1 << length:
            raise ValueError("damaged Huffman table")
        tables.largest[slot, length] = code - 1 if count else -1
        code <<= 1


def _step(length: int, symbol: int) -> int:
    run, size = symbol >> 4, symbol & 15
    passed = run + 1 if size or run == 15 else 64
    return length + size + 256 * passed
