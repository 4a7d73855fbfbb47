"""Huffman-coded data of sequential JPEG files: found block by block, changed only where needed.

The bits of untouched blocks are copied, so their coefficients cannot change. ITU-T T.81, annexes
F.1.2 (coding) and F.2.2 (decoding). Hand-written because decoders give no word of damage, and the
library that gives coefficients (`evenhand.photo.jpeg.coefficients`) takes three times as long.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenhand.compiling import compiled
from evenhand.photo.jpeg.huffman import LOOK, Entries, HuffmanTables, Numbers, Octets

Shorts = npt.NDArray[np.int16]
Integers = npt.NDArray[np.int64]

_PADDING = 16
"""Zero bytes after the data, so that reading ahead never leaves the array."""

_WIDTHS = np.array([n.bit_length() for n in range(2048)], np.uint8)
"""Bits that a value of each size takes."""

_LARGEST_BLOCK = 64 * (16 + 11) // 8
"""Bytes of a block whose 64 codes have 16 bits each, and its values 11."""

NONE: int = np.int64(0)  # type: ignore[assignment]
EIGHT: int = np.int64(8)  # type: ignore[assignment]
"""Bare numbers in calls would have each function compiled once more, for that number alone."""

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
    components : ndarray of int64, shape (blocks per unit,)
        Component of each block of a unit.
    dc, ac : ndarray of int64, shape (3,)
        Table slots (0 to 7) of each component.
    """

    units: int
    restart_interval: int
    components: Integers
    dc: Integers
    ac: Integers


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


def unstuffed(data: Octets) -> tuple[Octets, Integers]:
    """Data without stuffed bytes and restart markers, and where each restart interval begins.

    Parameters
    ----------
    data : ndarray of uint8, shape (n,)
        Entropy-coded, from the first scan byte.

    Returns
    -------
    clean : ndarray of uint8
        With zeros after its end.
    starts : ndarray of int64
        First byte of each interval in `clean`, and the end of the last.
    """
    clean = np.zeros(data.size + _PADDING, np.uint8)
    starts = np.zeros(np.count_nonzero(_restarts(data)) + 2, np.int64)
    size, count = _unstuff(data, clean, starts)
    starts[count] = size
    return clean[: size + _PADDING], starts[: count + 1]


def _restarts(data: Octets) -> npt.NDArray[np.bool_]:
    is_restart: npt.NDArray[np.bool_] = (
        (data[:-1] == 0xFF) & (data[1:] >= 0xD0) & (data[1:] <= 0xD7)
    )
    return is_restart


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
    clean, starts = unstuffed(data)
    index = UnitIndex(np.zeros((order.units, 2), np.int64), np.zeros((order.units, 3), np.int16))
    trouble = _walk(
        clean,
        starts,
        order.restart_interval,
        order.components,
        order.dc,
        order.ac,
        tables.look,
        tables.steps,
        tables.largest,
        tables.first,
        tables.symbols,
        index.bits,
        index.dc,
    )
    return index, int(trouble)


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
    clean, starts = unstuffed(data)
    coded = new_tables or tables
    codes = (coded.codes.astype(np.int64) << 5) | coded.lengths
    growth = touched.size * order.components.size * _LARGEST_BLOCK
    if new_tables is not None:  # a code of 1 bit may become one of 16
        growth = min(16 * data.size, order.units * order.components.size * _LARGEST_BLOCK)
    out = np.empty(2 * (data.size + growth) + order.units + 64, np.uint8)
    size, trouble = _rewrite(
        clean,
        starts,
        order.restart_interval,
        order.components,
        order.dc,
        order.ac,
        tables.look,
        tables.largest,
        tables.first,
        tables.symbols,
        codes,
        _WIDTHS,
        new_tables is None,
        index.bits,
        index.dc,
        touched,
        differences,
        out,
    )
    return out[:size].data, int(trouble)


@compiled
def _unstuff(data: Octets, clean: Octets, starts: Integers) -> tuple[int, int]:
    size, count, place = 0, 1, 0
    while place < data.size:
        byte = data[place]
        place += 1
        if byte == 0xFF:
            following = data[place] if place < data.size else 0
            if following == 0xFF:  # fill byte before a marker
                continue
            place += 1
            if 0xD0 <= following <= 0xD7:
                starts[count] = size
                count += 1
                continue
        clean[size] = byte
        size += 1
    return size, count


@compiled
def _peek(clean: Octets, bit: int) -> int:
    """The 32 bits from `bit` on."""
    place = bit >> 3
    word = (
        (np.uint64(clean[place]) << np.uint64(32))
        | (np.uint64(clean[place + 1]) << np.uint64(24))
        | (np.uint64(clean[place + 2]) << np.uint64(16))
        | (np.uint64(clean[place + 3]) << np.uint64(8))
        | np.uint64(clean[place + 4])
    )
    return int((word >> np.uint64(8 - (bit & 7))) & np.uint64(0xFFFFFFFF))


@compiled
def _symbol(
    word: int, slot: int, look: Entries, largest: Numbers, first: Numbers, symbols: Octets
) -> int:
    """Length * 256 + symbol of the code that `word` begins with; 0 for none."""
    found = int(look[slot, word >> (32 - LOOK)])
    if found == 0:
        for length in range(LOOK + 1, 17):
            code = word >> (32 - length)
            if code <= largest[slot, length]:
                found = length * 256 + int(symbols[slot, (code + first[slot, length]) & 255])
                break
    return found


@compiled
def _value(word: int, used: int, size: int) -> int:
    """The signed number in the `size` bits after the first `used` bits of `word` (F.2.2.1)."""
    if size == 0:
        return 0
    bits = (word >> (32 - used - size)) & ((1 << size) - 1)
    return bits if bits >> (size - 1) else bits - (1 << size) + 1


@compiled
def _next_word(clean: Octets, place: int) -> int:
    """Four bytes as a number."""
    return (
        (int(clean[place]) << 24)
        | (int(clean[place + 1]) << 16)
        | (int(clean[place + 2]) << 8)
        | int(clean[place + 3])
    )


@compiled
def _walk(
    clean: Octets,
    starts: Integers,
    interval: int,
    components: Integers,
    dc: Integers,
    ac: Integers,
    look: Entries,
    steps: Numbers,
    largest: Numbers,
    first: Numbers,
    symbols: Octets,
    bits: Integers,
    last_dc: Shorts,
) -> int:
    units = last_dc.shape[0]
    predicted = np.zeros(3, np.int64)
    segment, stop = 0, starts[1] * 8
    # `held` are the last 32 to 63 bits read, of which `count` are still to be used.
    place, held, count = 0, 0, 0
    for unit in range(units):
        if interval and unit and unit % interval == 0:
            segment += 1
            if segment + 1 >= starts.size:
                return DATA_MISSING
            place, held, count = starts[segment], 0, 0
            stop = starts[segment + 1] * 8
            predicted[:] = 0
        bits[unit, 0] = place * 8 - count
        for component in components:
            if count < 32:
                if place + 4 > clean.size:
                    return DATA_MISSING
                held = ((held & 0x7FFFFFFF) << 32) | _next_word(clean, place)
                place += 4
                count += 32
            word = (held >> (count - 32)) & 0xFFFFFFFF
            found = _symbol(word, dc[component], look, largest, first, symbols)
            length, size = found >> 8, found & 255
            if length == 0 or size > 11:
                return BAD_CODE
            predicted[component] += _value(word, length, size)
            count -= length + size
            slot, k = ac[component], 1
            while k < 64:
                if count < 32:
                    if place + 4 > clean.size:
                        return DATA_MISSING
                    held = ((held & 0x7FFFFFFF) << 32) | _next_word(clean, place)
                    place += 4
                    count += 32
                word = (held >> (count - 32)) & 0xFFFFFFFF
                step = int(steps[slot, word >> (32 - LOOK)])
                if step == 0:
                    found = _symbol(word, slot, look, largest, first, symbols)
                    length, run, size = found >> 8, (found >> 4) & 15, found & 15
                    if length == 0:
                        return BAD_CODE
                    step = length + size + 256 * (run + 1 if size or run == 15 else 64)
                count -= step & 255
                k += step >> 8
                if k > 64 and step >> 8 != 64:
                    return BAD_CODE
            if place * 8 - count > stop:
                return DATA_MISSING
        for component in range(3):
            last_dc[unit, component] = predicted[component]
        bits[unit, 1] = place * 8 - count
    return 0


@compiled
def _flush(out: Octets, size: int, pending: int, count: int) -> tuple[int, int, int]:
    """Write all whole bytes of `count` pending bits, a zero after each that is all ones (B.1.1.5).

    Gives back the bytes written so far, the bits left, and their number.
    """
    while count >= 8:
        count -= 8
        byte = (pending >> count) & 255
        out[size] = byte
        size += 1
        if byte == 255:
            out[size] = 0
            size += 1
    return size, pending & ((1 << count) - 1), count


@compiled
def _copy(
    clean: Octets, bit: int, stop: int, out: Octets, size: int, pending: int, count: int
) -> tuple[int, int, int]:
    """Append the bits from `bit` up to `stop`; whole bytes are flushed before and after."""
    head = min(stop - bit, (8 - count) & 7)
    if head:
        pending = (pending << head) | (_peek(clean, bit) >> (32 - head))
        size, pending, count = _flush(out, size, pending, count + head)
        bit += head
    place, shift = bit >> 3, 8 - (bit & 7)
    for _ in range((stop - bit) >> 3):
        byte = (((int(clean[place]) << 8) | int(clean[place + 1])) >> shift) & 255
        out[size] = byte
        size += 1
        place += 1
        if byte == 255:
            out[size] = 0
            size += 1
    rest = (stop - bit) & 7
    if rest > 0:
        pending = (pending << rest) | (_peek(clean, stop - rest) >> (32 - rest))
        count += rest
    return size, pending, count


@compiled
def _read_block(
    clean: Octets,
    bit: int,
    dc_slot: int,
    ac_slot: int,
    look: Entries,
    largest: Numbers,
    first: Numbers,
    symbols: Octets,
    block: Integers,
) -> int:
    """Coefficients of one block in zigzag order, DC as its difference; gives back the next bit."""
    block[:] = 0
    place, held, count = bit >> 3, 0, -(bit & 7)
    k = 0
    while k < 64:
        if count < 32:
            held = ((held & 0x7FFFFFFF) << 32) | _next_word(clean, place)
            place += 4
            count += 32
            if count < 32:  # begins inside a byte
                held = ((held & 0x7FFFFFFF) << 32) | _next_word(clean, place)
                place += 4
                count += 32
        word = (held >> (count - 32)) & 0xFFFFFFFF
        found = _symbol(word, ac_slot if k else dc_slot, look, largest, first, symbols)
        run, size = (found >> 4) & 15, found & 15
        count -= (found >> 8) + size
        if k and size == 0 and run != 15:
            break
        k += run
        block[k] = _value(word, found >> 8, size)
        k += 1
    return place * 8 - count


@compiled
def _write_block(
    out: Octets,
    size: int,
    pending: int,
    count: int,
    codes: Integers,
    widths: Octets,
    dc_slot: int,
    ac_slot: int,
    dc_difference: int,
    block: Integers,
) -> tuple[int, int, int]:
    """Code a block (F.1.2); gives back what `_flush` does, a negative size if a code is missing.

    Values are coded as a symbol, run of zeros * 16 + width, and the value in that many bits.
    """
    run = 0
    missing = False
    for k in range(64):
        value = block[k] if k else dc_difference
        if value == 0 and k:
            run += 1
            continue
        while run > 15:
            code = codes[ac_slot, 0xF0]
            missing |= code == 0
            pending = (pending << (code & 31)) | (code >> 5)
            count += code & 31
            if count > 32:
                size, pending, count = _flush(out, size, pending, count)
            run -= 16
        width = int(widths[abs(value)])
        code = codes[ac_slot if k else dc_slot, run * 16 + width]
        missing |= code == 0
        length = (code & 31) + width
        bits = value if value >= 0 else value + (1 << width) - 1
        pending = (pending << length) | ((code >> 5) << width) | bits
        count += length
        if count > 32:
            size, pending, count = _flush(out, size, pending, count)
        run = 0
    if run:
        code = codes[ac_slot, 0]
        missing |= code == 0
        pending = (pending << (code & 31)) | (code >> 5)
        count += code & 31
    size, pending, count = _flush(out, size, pending, count)
    return (-1 if missing else size), pending, count


@compiled
def _finish_interval(out: Octets, size: int, pending: int, count: int) -> int:
    """Fill the last byte with ones (F.1.2.3); gives back the bytes written so far."""
    if count:
        rest = 8 - count
        size, pending, count = _flush(out, size, (pending << rest) | ((1 << rest) - 1), EIGHT)
    return size


@compiled
def _rewrite(
    clean: Octets,
    starts: Integers,
    interval: int,
    components: Integers,
    dc: Integers,
    ac: Integers,
    look: Entries,
    largest: Numbers,
    first: Numbers,
    symbols: Octets,
    codes: Integers,
    widths: Octets,
    copies: bool,
    bits: Integers,
    last_dc: Shorts,
    touched: Integers,
    differences: Shorts,
    out: Octets,
) -> tuple[int, int]:
    units = last_dc.shape[0]
    size, pending, count = NONE, NONE, NONE
    block, no_differences = np.zeros(64, np.int64), np.zeros((1, 64), np.int16)
    read_dc, written_dc = np.zeros(3, np.int64), np.zeros(3, np.int64)
    following = 0  # index of the next touched unit
    unit = 0
    while unit < units:
        if interval and unit % interval == 0:
            if unit:
                size = _finish_interval(out, size, pending, count)
                out[size], out[size + 1] = 0xFF, 0xD0 + (unit // interval - 1) % 8
                size, pending, count = size + 2, NONE, NONE
            read_dc[:] = 0
            written_dc[:] = 0
        is_touched = following < touched.size and touched[following] == unit
        is_in_step = (
            read_dc[0] == written_dc[0]
            and read_dc[1] == written_dc[1]
            and read_dc[2] == written_dc[2]
        )
        if copies and is_in_step and not is_touched:
            last = touched[following] if following < touched.size else units
            if interval:
                last = min(last, (unit // interval + 1) * interval)
            stop = bits[last - 1, 1]
            size, pending, count = _copy(clean, bits[unit, 0], stop, out, size, pending, count)
            for component in range(3):
                read_dc[component] = written_dc[component] = last_dc[last - 1, component]
            unit = last
            continue
        added = differences[following] if is_touched else no_differences
        size, pending, count = _code_unit(
            clean, bits[unit, 0], components, dc, ac, look, largest, first, symbols, codes, widths,
            is_touched, added, block, read_dc, written_dc, out, size, pending, count,
        )  # fmt: skip
        if size < 0:
            return 0, NO_CODE
        if is_touched:
            following += 1
        unit += 1
    return _finish_interval(out, size, pending, count), 0


@compiled
def _code_unit(
    clean: Octets,
    bit: int,
    components: Integers,
    dc: Integers,
    ac: Integers,
    look: Entries,
    largest: Numbers,
    first: Numbers,
    symbols: Octets,
    codes: Integers,
    widths: Octets,
    is_touched: bool,
    added: Shorts,
    block: Integers,
    read_dc: Integers,
    written_dc: Integers,
    out: Octets,
    size: int,
    pending: int,
    count: int,
) -> tuple[int, int, int]:
    """Read the unit that begins at `bit` and code it anew; gives back what `_write_block` does.

    The DC coefficients read and written so far are kept in `read_dc` and `written_dc`.
    """
    for number in range(components.size):
        component = components[number]
        bit = _read_block(
            clean, bit, dc[component], ac[component], look, largest, first, symbols, block
        )
        read_dc[component] += block[0]
        value = read_dc[component]
        if is_touched:
            value = _limited(value + added[number, 0])
            for k in range(1, 64):
                block[k] = _limited(block[k] + added[number, k])
        size, pending, count = _write_block(
            out, size, pending, count, codes, widths, dc[component], ac[component],
            value - written_dc[component], block,
        )  # fmt: skip
        if size < 0:
            break
        written_dc[component] = value
    return size, pending, count


@compiled
def _limited(coefficient: int) -> int:
    """The nearest coefficient that 8-bit files may hold (F.1.2.1 and F.1.2.2)."""
    return min(max(coefficient, -1023), 1023)
