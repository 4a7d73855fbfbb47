"""Where content credentials lie in files: results that no longer fit them are written without.

A manifest holds a hash of the file (C2PA 2.1, section 18.5), which no changed file has; readers
would call such a result tampered with. A signed result names the original with its credentials.
"""

from __future__ import annotations

from collections.abc import Sequence

from evenhand.photo.jpeg.markers import APP11, Segment

TIFF_TAG = 52545
PNG_CHUNK = b"caBX"
"""Tag and chunk that hold a manifest store (C2PA 2.1, annexes A.3.7 and A.3.2)."""

_JUMBF_HEAD = b"JP"
"""What a JPEG segment of a JUMBF box begins with (ISO 19566-5, annex D)."""

_NUMBER = slice(2, 4)
"""Where such a segment says to which box it belongs."""

_TYPE, _MANIFEST_STORE = slice(24, 40), bytes.fromhex("6332706100110010800000aa00389b71")
"""Where the first segment of a box says what it holds, and what it says there of a manifest store
(C2PA 2.1, section 11.1.4)."""

NOTE = (
    "The photograph carries content credentials, which fit no changed file: an unsigned result has "
    "none, a signed one names the original with them."
)


def without_manifest(segments: Sequence[Segment]) -> tuple[Segment, ...]:
    """Segments of a JPEG file but those that hold a manifest store.

    Parameters
    ----------
    segments : sequence of Segment
        As they stand before the scan.

    Returns
    -------
    tuple of Segment
        In the same order.
    """
    jumbf = [s for s in segments if s.marker == APP11 and s.payload.startswith(_JUMBF_HEAD)]
    stores = {s.payload[_NUMBER] for s in jumbf if s.payload[_TYPE] == _MANIFEST_STORE}
    taken = {id(s) for s in jumbf if s.payload[_NUMBER] in stores}
    return tuple(s for s in segments if id(s) not in taken)
