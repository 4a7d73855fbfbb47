"""Changing a JPEG picture block by block: blocks without a changed pixel keep their coefficients.

The change of the pixels, not the picture, goes through the colour transform, the averaging of
colour samples and the cosine transform; divided by the quantisation steps and rounded it is added
to the coefficients that the file already has. All three are linear, so nothing is coded twice.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property

import imagecodecs
import numpy as np
import numpy.typing as npt

from evenhand.colour.encoding import CodeValues
from evenhand.errors import NotWrittenError
from evenhand.photo.jpeg.entropy import (
    BlockOrder,
    Integers,
    Shorts,
    UnitIndex,
    changed_data,
    index_units,
)
from evenhand.photo.jpeg.huffman import huffman_tables
from evenhand.photo.jpeg.markers import (
    BASELINE,
    DHT,
    DRI,
    EXTENDED,
    ZIGZAG,
    Layout,
    Segment,
    layout_of,
    quantisation,
)

Reals = npt.NDArray[np.float32]

_YCBCR = np.array(
    [
        [0.299, 0.587, 0.114],
        [-0.299 / 1.772, -0.587 / 1.772, 0.886 / 1.772],
        [0.701 / 1.402, -0.587 / 1.402, -0.114 / 1.402],
    ],
    np.float32,
)
"""Y, Cb, Cr from R, G, B (ITU-T T.871, section 7)."""

_u, _x = np.mgrid[:8, :8]
_COSINES = (np.where(_u == 0, np.sqrt(1 / 8), 0.5) * np.cos((2 * _x + 1) * _u * np.pi / 16)).astype(
    np.float32
)
"""The 8-point cosine transform, orthonormal, as in T.81, A.3.3."""


_THREADS = 2
"""Threads that transform blocks."""

_ROWS = 8
"""Rows of units that a thread works on at a time."""

_PLACES = np.argsort(ZIGZAG)
"""Place in the file's order of each coefficient, row by row."""


@dataclass(frozen=True)
class Sampling:
    """How pixels fall into blocks and blocks into minimum coded units (T.81, A.2).

    Attributes
    ----------
    height, width : int
        Of the picture in pixels.
    factors : ndarray of int64, shape (3, 2)
        Vertical and horizontal sampling factor of each component.
    """

    height: int
    width: int
    factors: Integers

    @property
    def unit(self) -> tuple[int, int]:
        """Height and width in pixels of a minimum coded unit."""
        rows, columns = self.factors.max(axis=0)
        return int(8 * rows), int(8 * columns)

    @property
    def units(self) -> tuple[int, int]:
        """Number of units down and across."""
        rows, columns = self.unit
        return -(-self.height // rows), -(-self.width // columns)

    @cached_property
    def components(self) -> Integers:
        """Component of each block of a unit, in the file's order."""
        return np.repeat(np.arange(3), self.factors.prod(axis=1))


def sampling_of(layout: Layout) -> Sampling | None:
    """How the picture is sampled; None where averaging would not come out even.

    Parameters
    ----------
    layout : Layout

    Returns
    -------
    Sampling or None
    """
    factors = np.array([(v, h) for h, v in layout.frame.sampling], np.int64)
    if factors.shape != (3, 2) or (factors < 1).any() or (factors.max(axis=0) % factors).any():
        return None
    return Sampling(layout.frame.height, layout.frame.width, factors)


@dataclass(frozen=True)
class SequentialScan:
    """The one scan of an ordinary JPEG file, with the place of every unit."""

    layout: Layout
    sampling: Sampling
    order: BlockOrder
    index: UnitIndex
    trouble: int

    @property
    def data(self) -> npt.NDArray[np.uint8]:
        """The entropy-coded data."""
        data = memoryview(self.layout.content)[self.layout.scan_data : self.layout.end - 2]
        return np.frombuffer(data, np.uint8)


def sequential_scan(layout: Layout) -> SequentialScan | None:
    """Find every unit of an ordinary (sequential, interleaved, Huffman-coded) file.

    Parameters
    ----------
    layout : Layout

    Returns
    -------
    SequentialScan or None
        None for files of another kind: progressive, arithmetic, of several scans.

    Raises
    ------
    ValueError, IndexError
        The headers are damaged.
    """
    sampling, header = sampling_of(layout), layout.scan_header
    if (
        sampling is None
        or layout.frame.marker not in (BASELINE, EXTENDED)
        or not layout.has_one_scan
        or header[0] != 3
        or bytes(header[1:7:2]) != bytes(layout.frame.identifiers)
    ):
        return None
    slots = np.frombuffer(header[2:8:2], np.uint8).astype(np.int64)
    restarts = [int.from_bytes(payload[:2], "big") for payload in layout.payloads(DRI)]
    each = sampling.components
    order = BlockOrder(
        units=int(np.prod(sampling.units)),
        restart_interval=restarts[-1] if restarts else 0,
        blocks=np.stack([each, (slots[each] >> 4) & 3, 4 + (slots[each] & 3)], axis=-1),
    )
    data = memoryview(layout.content)[layout.scan_data : layout.end - 2]
    tables = huffman_tables(layout.payloads(DHT))
    index, trouble = index_units(np.frombuffer(data, np.uint8), tables, order)
    return SequentialScan(layout, sampling, order, index, trouble)


def changed_scan(
    scan: SequentialScan, result: CodeValues, original: CodeValues
) -> tuple[memoryview, list[Segment]] | None:
    """The scan's data with the blocks of changed pixels changed.

    Parameters
    ----------
    scan : SequentialScan
        The source.
    result, original : ndarray of uint8, shape (height, width, 3)
        New pixels, and those that the source decodes to.

    Returns
    -------
    (memoryview, list of Segment) or None
        None where no pixel changed; else entropy-coded data, and the DHT segments to write
        instead of the source's, if any.

    Raises
    ------
    NotWrittenError
        Values of the source are out of the range that can be coded.
    """
    layout = scan.layout
    touched = touched_units(scan.sampling, result, original)
    if not touched.size:
        return None
    differences = coefficient_differences(scan.sampling, layout, result, original, touched)
    tables = huffman_tables(layout.payloads(DHT))
    data, trouble = changed_data(
        scan.data, scan.index, scan.order, tables, None, touched, differences
    )
    segments: list[Segment] = []
    if trouble:  # the source's tables were made for its values only
        segments = _complete_tables(scan.order)
        complete = huffman_tables([s.payload for s in segments])
        data, trouble = changed_data(
            scan.data, scan.index, scan.order, tables, complete, touched, differences
        )
    if trouble:
        raise NotWrittenError(
            "The JPEG file holds values that no JPEG file may.", "Save it as TIFF and run again."
        )
    return data, segments


def _complete_tables(order: BlockOrder) -> list[Segment]:
    """Huffman tables that have a code for every value, in the slots that the scan uses."""
    encoder = layout_of(bytes(imagecodecs.jpeg8_encode(np.zeros((8, 8, 3), np.uint8))), "")
    typical = {payload[0]: payload[1:] for payload in encoder.payloads(DHT)}
    segments = {}
    for component, dc, ac in (order.blocks[::-1] - (0, 0, 4)).tolist():
        chroma = int(component > 0)
        segments[dc] = bytes([dc]) + typical[chroma]
        segments[16 + ac] = bytes([16 + ac]) + typical[16 + chroma]
    return [Segment(DHT, payload) for payload in segments.values()]


def touched_units(sampling: Sampling, result: CodeValues, original: CodeValues) -> Integers:
    """Numbers of the units with a changed pixel, ascending; some unchanged neighbours may be in.

    Parameters
    ----------
    sampling : Sampling
    result, original : ndarray of uint8, shape (height, width, 3)

    Returns
    -------
    ndarray of int64, shape (n,)
        Row by row.
    """
    changed = np.zeros(sampling.units, np.bool_)
    height, width = sampling.unit
    pixels = np.ascontiguousarray(result).reshape(-1), np.ascontiguousarray(original).reshape(-1)
    end = result.size // 8 * 8
    one, other = (codes[:end].view(np.uint64) for codes in pixels)  # eight bytes at once
    first = 8 * np.flatnonzero(one != other)
    rest = end + np.flatnonzero(pixels[0][end:] != pixels[1][end:])
    for byte in (first, first + 7, rest):
        row = byte // (3 * sampling.width)  # np.divmod takes three times as long
        within = byte - row * (3 * sampling.width)
        changed[row // height, within // (3 * width)] = True
    return np.flatnonzero(changed)


def coefficient_differences(
    sampling: Sampling,
    layout: Layout,
    result: CodeValues,
    original: CodeValues,
    touched: Integers,
) -> Shorts:
    """What is added to the quantised coefficients of each touched unit.

    Parameters
    ----------
    sampling : Sampling
    layout : Layout
        Its quantisation and colour coding hold.
    result, original : ndarray of uint8, shape (height, width, 3)
    touched : ndarray of int64
        Units, ascending, from `touched_units`.

    Returns
    -------
    ndarray of int16, shape (touched units, blocks per unit, 64)
        In units of the quantisation steps, in zigzag order.
    """
    differences = np.zeros((touched.size, sampling.components.size, 64), np.int16)
    colours = np.eye(3, dtype=np.float32) if layout.is_rgb else _YCBCR
    inverse_steps = 1 / quantisation(layout)
    down, across = np.divmod(touched, sampling.units[1])
    edges = np.searchsorted(down, np.arange(sampling.units[0] + 1))
    rows = [row for row in range(sampling.units[0]) if edges[row] < edges[row + 1]]

    def transform(rows: list[int]) -> None:
        change = np.concatenate(
            [
                _changes(sampling, result, original, row, across[edges[row] : edges[row + 1]])
                for row in rows
            ],
            axis=1,
        )
        coded = (change.reshape(-1, 3) @ colours.T).reshape(change.shape)
        here = slice(edges[rows[0]], edges[rows[-1] + 1])
        differences[here][..., _PLACES] = _coefficients(sampling, coded, inverse_steps)

    with ThreadPoolExecutor(_THREADS) as threads:
        bands = [rows[first : first + _ROWS] for first in range(0, len(rows), _ROWS)]
        list(threads.map(transform, bands))
    return differences


def _changes(
    sampling: Sampling, result: CodeValues, original: CodeValues, row: int, units: Integers
) -> Reals:
    """Changes of the pixels of some units in a row of units, (height, units, width, 3).

    Units that reach beyond the picture are filled with its last pixels.
    """
    height, width = sampling.unit
    first, last = int(units[0]), int(units[-1]) + 1
    rows = slice(row * height, min((row + 1) * height, sampling.height))
    columns = slice(first * width, min(last * width, sampling.width))
    change = result[rows, columns].astype(np.float32)
    change -= original[rows, columns]
    below = height - change.shape[0]
    right = (last - first) * width - change.shape[1]
    if below or right:
        change = np.pad(change, ((0, below), (0, right), (0, 0)), mode="edge")
    return change.reshape(height, last - first, width, 3)[:, units - first]


def _coefficients(sampling: Sampling, change: Reals, inverse_steps: Reals) -> Reals:
    """Whole-numbered changes of the quantised coefficients, shape (units, blocks per unit, 64)."""
    height, width = sampling.unit
    units, blocks = change.shape[1], []
    for component, (down, across) in enumerate(sampling.factors):
        samples = np.ascontiguousarray(change[..., component]).reshape(height, -1)
        half = _averaged_cosines(height, down) @ samples
        whole = half.reshape(-1, width) @ _averaged_cosines(width, across).T
        whole = whole.reshape(down, 8, units, across, 8).transpose(2, 0, 3, 1, 4)
        blocks.append(whole.reshape(units, down * across, 64) * inverse_steps[component])
    return np.asarray(np.rint(np.concatenate(blocks, axis=1)))


def _averaged_cosines(pixels: int, blocks: int) -> Reals:
    """Cosine transform of each block along an axis after averaging, (8 blocks, pixels)."""
    share = pixels // 8 // blocks
    averaged = np.repeat(_COSINES / np.float32(share), share, axis=1)
    return np.kron(np.eye(blocks, dtype=np.float32), averaged)
