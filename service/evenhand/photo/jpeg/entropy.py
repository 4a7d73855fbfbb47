"""Huffman-coded data of sequential JPEG files: found block by block, changed only where needed.

The bits of untouched blocks are copied, so their coefficients cannot change. ITU-T T.81, annexes
F.1.2 (coding) and F.2.2 (decoding). Hand-written because decoders give no word of damage, and the
library that gives coefficients (`evenhand.photo.jpeg.coefficients`) takes three times as long.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenhand.compiling import compiled, part_of_compiled
from evenhand.photo.jpeg.huffman import LOOK, Codes, Entries, HuffmanTables, Octets

Shorts = npt.NDArray[np.int16]
Integers = npt.NDArray[np.int64]
Words = npt.NDArray[np.uint32]
Block = npt.NDArray[np.int32]

_LARGEST_BLOCK = 64 * (16 + 11) // 8
"""Bytes of a block whose 64 codes have 16 bits each, and its values 11."""

_PADDING = _LARGEST_BLOCK // 4 + 2
"""Words after the data, so that a block that begins inside them never leaves the array."""

NONE: int = np.int64(0)  # type: ignore[assignment]
"""A bare number in calls would have the function compiled once more, for that number alone."""

BAD_CODE, DATA_MISSING, NO_CODE = 1, 2, 3
"""Troubles: no such Huffman code in the table; data end early; a value has no code in the table."""


@dataclass(frozen=True)
class BlockOrder:
    """How blocks follow each other in the data.

    Attributes
    ----------
    units : int
        Minimum coded units (MCU) in the picture.
    restart_interval : int
        Units between restart markers, 0 for none.
    blocks : ndarray of int64, shape (blocks per unit, 3)
        Component of each block of a unit, and its table slots (0 to 7) for DC and AC.
    """

    units: int
    restart_interval: int
    blocks: Integers

    @property
    def intervals(self) -> Iterator[slice]:
        """Units between one restart marker and the next."""
        step = self.restart_interval or self.units
        return (slice(first, first + step) for first in range(0, self.units, step))


@dataclass(frozen=True)
class UnitIndex:
    """Where each unit lies in the data.

    Attributes
    ----------
    bits : ndarray of int64, shape (units, 2)
        First bit of each unit in the unstuffed data, and the one after its last.
    dc : ndarray of int16, shape (units, 3)
        DC coefficient of each component's last block in each unit.
    """

    bits: Integers
    dc: Shorts


def unstuffed(data: Octets) -> tuple[Integers, Integers]:
    """Data without stuffed bytes and restart markers, and where each restart interval begins.

    Parameters
    ----------
    data : ndarray of uint8, shape (n,)
        Entropy-coded, from the first scan byte.

    Returns
    -------
    windows : ndarray of int64, shape (m,)
        The 64 bits from every 32nd on, with zeros after the end.
    starts : ndarray of int64
        First bit of each interval, and the end of the last.
    """
    full = np.flatnonzero(data[:-1] == 0xFF)
    following = data[full + 1]
    is_fill, is_restart = following == 0xFF, (following >= 0xD0) & (following <= 0xD7)
    dropped = np.sort(np.concatenate([full[is_fill | is_restart], full[~is_fill] + 1]))
    clean = np.delete(data, dropped)
    begins = full[is_restart] + 2
    begins -= np.searchsorted(dropped, begins)
    padded = np.zeros(clean.size // 4 + _PADDING, ">u4")
    padded.view(np.uint8)[: clean.size] = clean
    words = padded.astype(np.int64)
    return (words[:-1] << 32) | words[1:], 8 * np.concatenate([[0], begins, [clean.size]])


def index_units(data: Octets, tables: HuffmanTables, order: BlockOrder) -> tuple[UnitIndex, int]:
    """Find every unit of the entropy-coded `data`.

    Parameters
    ----------
    data : ndarray of uint8, shape (n,)
        From the first byte of the scan to the last.
    tables : HuffmanTables
    order : BlockOrder
        How blocks follow each other.

    Returns
    -------
    UnitIndex, int
        The index, and the trouble met: 0 for none, `BAD_CODE` or `DATA_MISSING`.
    """
    windows, starts = unstuffed(data)
    index = UnitIndex(np.zeros((order.units, 2), np.int64), np.zeros((order.units, 3), np.int16))
    for number, units in enumerate(order.intervals):
        if number + 1 == starts.size:
            return index, DATA_MISSING
        trouble = _walk(
            windows, starts[number], starts[number + 1], order.blocks, tables.symbols,
            index.bits[units], index.dc[units], np.zeros(64, np.int32), np.zeros(3, np.int64),
        )  # fmt: skip
        if trouble:
            return index, trouble
    return index, 0


def changed_data(
    data: Octets,
    index: UnitIndex,
    order: BlockOrder,
    tables: HuffmanTables,
    new_tables: HuffmanTables | None,
    touched: Integers,
    differences: Shorts,
) -> tuple[memoryview, int]:
    """Entropy-coded data with coefficients changed in some units.

    Parameters
    ----------
    data : ndarray of uint8
        Entropy-coded data of the source.
    index, order, tables
        What `index_units` found, and its arguments.
    new_tables : HuffmanTables or None
        Tables to code with; None for the source's own, in which case untouched units are copied.
    touched : ndarray of int64, shape (n,)
        Numbers of the changed units, ascending.
    differences : ndarray of int16, shape (n, blocks per unit, 64)
        What is added to the quantised coefficients, in zigzag order.

    Returns
    -------
    memoryview, int
        The new data, and the trouble met: 0 for none, `NO_CODE` where a new value has none.
    """
    windows, _ = unstuffed(data)
    change = np.full(order.units, -1, np.int64)
    change[touched] = np.arange(touched.size)
    largest = len(order.blocks) * _LARGEST_BLOCK
    growth = 2 * touched.size * largest  # a unit after a changed one is coded anew as well
    if new_tables is not None:  # a code of 1 bit may become one of 16
        growth = min(16 * data.size, order.units * largest)
    intervals = list(order.intervals)
    out = np.zeros((data.size + growth) // 4 + len(intervals) + 2, np.uint32)
    begins, ends, end = [], [], 0
    for units in intervals:
        begins.append(-(-end // 8))
        end = _recode(
            windows, index.bits[units], index.dc[units], order.blocks, tables.symbols,
            (new_tables or tables).codes, new_tables is None, change[units], differences,
            out, 8 * begins[-1], np.zeros(64, np.int32), *np.zeros((2, 3), np.int64),
        )  # fmt: skip
        if end < 0:
            return memoryview(b""), NO_CODE
        ends.append(end)
    coded = out.astype(">u4").view(np.uint8)[: -(-end // 8)]
    return _stuffed(coded, np.array(begins), np.array(ends)).data, 0


def _stuffed(coded: Octets, begins: Integers, ends: Integers) -> Octets:
    """Intervals filled with ones (F.1.2.3), zeros after full bytes, markers between (B.1.1.5)."""
    open_ends = ends[ends % 8 > 0]
    coded[open_ends // 8] |= (0xFF >> (open_ends % 8)).astype(np.uint8)
    full = np.flatnonzero(coded == 0xFF) + 1
    markers = np.full((len(begins) - 1, 2), 0xFF, np.uint8)
    markers[:, 1] = 0xD0 + np.arange(len(markers)) % 8
    places = np.concatenate([full, begins[1:].repeat(2)])
    return np.insert(coded, places, np.concatenate([np.zeros_like(full), markers.reshape(-1)]))


@part_of_compiled
def _peek(windows: Integers, bit: int) -> int:
    """The 32 bits from `bit` on."""
    return int((windows[bit >> 5] >> (32 - (bit & 31))) & 0xFFFFFFFF)


@part_of_compiled
def _read_block(
    windows: Integers, bit: int, symbols: Entries, dc_slot: int, ac_slot: int, block: Block
) -> int:
    """Coefficients in zigzag order, DC as its difference; gives the next bit, -1 for a bad code."""
    block[:] = 0
    slot, k = dc_slot, 0
    while k < 64:
        word = _peek(windows, bit)
        found = int(symbols[slot, word >> (32 - LOOK)])
        if found == 0:
            found = int(symbols[slot, (1 << LOOK) + (word >> 16)])
        run, size = (found >> 4) & 15, found & 15
        if found == 0 or size > 11 or (k == 0 and run > 0):
            return -1
        bit += (found >> 8) + size
        if k > 0 and size == 0 and run < 15:
            break
        k += run
        if k > 63:
            return -1
        all_ones = (1 << size) - 1
        value = (word >> (32 - (found >> 8) - size)) & all_ones
        block[k] = value - all_ones * (2 * value <= all_ones)  # F.2.2.1
        slot = ac_slot
        k += 1
    return bit


@compiled
def _walk(
    windows: Integers,
    bit: int,
    stop: int,
    blocks: Integers,
    symbols: Entries,
    bits: Integers,
    last_dc: Shorts,
    block: Block,
    read: Integers,
) -> int:
    """Fill the index of one interval in; gives the trouble met."""
    for unit in range(bits.shape[0]):
        bits[unit, 0] = bit
        for number in range(blocks.shape[0]):
            dc_slot, ac_slot = blocks[number, 1], blocks[number, 2]
            bit = _read_block(windows, bit, symbols, dc_slot, ac_slot, block)
            if bit < 0:
                return BAD_CODE
            if bit > stop:
                return DATA_MISSING
            read[blocks[number, 0]] += block[0]
        bits[unit, 1] = bit
        for component in range(3):
            last_dc[unit, component] = read[component]
    return 0


@part_of_compiled
def _put(out: Words, bit: int, code: int, value: int, width: int) -> int:
    """Write a code, length in its lower 6 bits, and a value of so many bits, 32 bits at most.

    Gives the bit after them; -1 for no code, or after one that was missing.
    """
    if code == 0 or bit < 0:
        return -1
    length = (code & 63) + width
    moved = (((code >> 6) << width) | value) << (64 - (bit & 31) - length)
    out[bit >> 5] |= moved >> 32
    out[(bit >> 5) + 1] |= moved & 0xFFFFFFFF
    return bit + length


@part_of_compiled
def _write_block(
    out: Words, bit: int, codes: Codes, dc_slot: int, ac_slot: int, block: Block
) -> int:
    """Code a block at `bit` (F.1.2); gives what `_put` does.

    Values are coded as a symbol, run of zeros * 16 + width, and the value in that many bits.
    """
    slot, run = dc_slot, 0
    for k in range(64):
        value = block[k]
        if value == 0 and k > 0:
            run += 1
            continue
        while run > 15:
            bit = _put(out, bit, codes[slot, 0xF0], NONE, NONE)
            run -= 16
        width, rest = 0, abs(value)
        while rest > 0:
            width += 1
            rest >>= 1
        if value < 0:
            value += (1 << width) - 1
        bit = _put(out, bit, codes[slot, run * 16 + width], value, width)
        slot, run = ac_slot, 0
    if run > 0:
        bit = _put(out, bit, codes[slot, 0], NONE, NONE)
    return bit


@compiled
def _recode(
    windows: Integers,
    bits: Integers,
    last_dc: Shorts,
    blocks: Integers,
    symbols: Entries,
    codes: Codes,
    copies: bool,
    change: Integers,
    differences: Shorts,
    out: Words,
    end: int,
    block: Block,
    read: Integers,
    written: Integers,
) -> int:
    """Write an interval from the bit `end` on; gives what `_put` does.

    A unit that does not change is copied, unless one before it has put its DC out of step.
    """
    for unit in range(bits.shape[0]):
        bit, added, in_step = bits[unit, 0], change[unit], True
        for component in range(3):
            in_step &= read[component] == written[component]
        if copies and added < 0 and in_step:
            while bit < bits[unit, 1]:
                length = min(bits[unit, 1] - bit, 32)
                copied = _peek(windows, bit) >> (32 - length)
                end = _put(out, end, (copied << 6) | length, NONE, NONE)
                bit += length
            for component in range(3):
                read[component] = written[component] = last_dc[unit, component]
            continue
        for number in range(blocks.shape[0]):
            component = blocks[number, 0]
            dc_slot, ac_slot = blocks[number, 1], blocks[number, 2]
            bit = _read_block(windows, bit, symbols, dc_slot, ac_slot, block)
            read[component] += block[0]
            block[0] = read[component]
            if added >= 0:  # within what 8-bit files may hold (F.1.2.1 and F.1.2.2)
                for k in range(64):
                    block[k] = min(max(block[k] + differences[added, number, k], -1023), 1023)
            step = block[0] - written[component]
            written[component] = block[0]
            block[0] = step
            end = _write_block(out, end, codes, dc_slot, ac_slot, block)
        if end < 0:
            break
    return end
