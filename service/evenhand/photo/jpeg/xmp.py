"""XMP packets in JPEG files: one segment, and further ones for what does not fit into it.

Extended XMP follows XMP part 3, section 1.1.3.1: the packet names the digest of the rest, and the
rest lies in numbered pieces behind it.
"""

from __future__ import annotations

import hashlib
import xml.etree.ElementTree as ElementTree
from collections.abc import Sequence

from evenhand.photo.jpeg.markers import APP0, APP1, XMP_HEAD, Segment
from evenhand.photo.xmp import NOTE, RDF, packet_of, remove, tree_of, value_of

EXTENSION_HEAD = b"http://ns.adobe.com/xmp/extension/\x00"
"""Head of a piece of extended XMP (XMP part 3, table 7)."""

HAS_EXTENDED = f"{{{NOTE}}}HasExtendedXMP"
"""Property of the packet that names the digest of its extension."""

LARGEST_PAYLOAD = 65533
"""Bytes of a segment after its length field, which is 16 bits wide and counts itself."""

_DIGEST = 32
"""Hexadecimal digits of MD5."""

_PIECE_HEAD = len(EXTENSION_HEAD) + _DIGEST + 8
"""Bytes before a piece's content: head, digest, whole length, offset."""

_DESCRIPTION = f"{{{RDF}}}Description"
_ABOUT = {f"{{{RDF}}}about": ""}


def packet_in(segments: Sequence[Segment]) -> bytes | None:
    """The XMP packet of a file, its extension put back in; None where there is none.

    Parameters
    ----------
    segments : sequence of Segment

    Returns
    -------
    bytes or None
        Without its extension where that is incomplete.
    """
    packet = next((s.payload[len(XMP_HEAD) :] for s in segments if s.is_xmp), None)
    if packet is None or b"HasExtendedXMP" not in packet:
        return packet
    tree = tree_of(packet)
    digest = (value_of(tree, HAS_EXTENDED) or "").encode()
    extension = _joined(segments, digest)
    if hashlib.md5(extension, usedforsecurity=False).hexdigest().upper().encode() != digest:
        return packet
    rest = list(_rdf(tree_of(extension)))
    if not rest:
        return packet
    remove(tree, HAS_EXTENDED)
    _rdf(tree).extend(rest)
    return packet_of(tree)


def with_packet(segments: Sequence[Segment], packet: bytes) -> tuple[Segment, ...]:
    """The segments with another XMP packet in the place of the old one, or after Exif.

    Parameters
    ----------
    segments : sequence of Segment
    packet : bytes
        Of any length: what one segment cannot hold goes into extensions.

    Returns
    -------
    tuple of Segment
    """
    news = _segments_of(packet)
    olds = [i for i, s in enumerate(segments) if s.is_xmp]
    heads = [i for i, s in enumerate(segments) if s.marker in (APP0, APP1)]
    place = olds[0] if olds else max(heads, default=-1) + 1
    before, after = (
        [s for s in part if not s.is_xmp and not _is_replaced(s, packet)]
        for part in (segments[:place], segments[place:])
    )
    return (*before, *news, *after)


def _is_replaced(segment: Segment, packet: bytes) -> bool:
    """Whether a segment is a piece of an extension that the packet does not name."""
    digest = segment.payload[len(EXTENSION_HEAD) :][:_DIGEST]
    return _is_piece(segment) and digest not in packet


def _is_piece(segment: Segment) -> bool:
    return segment.marker == APP1 and segment.payload.startswith(EXTENSION_HEAD)


def _joined(segments: Sequence[Segment], digest: bytes) -> bytes:
    """Pieces of an extension in the order of their offsets."""
    start = EXTENSION_HEAD + digest
    pieces = [s.payload for s in segments if _is_piece(s) and s.payload.startswith(start)]
    pieces.sort(key=lambda piece: piece[_PIECE_HEAD - 4 : _PIECE_HEAD])
    return b"".join(piece[_PIECE_HEAD:] for piece in pieces)


def _segments_of(packet: bytes) -> list[Segment]:
    room = LARGEST_PAYLOAD - len(XMP_HEAD)
    if len(packet) <= room:
        return [Segment(APP1, XMP_HEAD + packet)]
    tree = tree_of(packet)
    short = packet_of(tree, padded=False)
    if len(short) <= room:
        return [Segment(APP1, XMP_HEAD + short)]
    extension = _without_wrapper(_cut_out(tree, room))
    digest = hashlib.md5(extension, usedforsecurity=False).hexdigest().upper()
    note = ElementTree.SubElement(_rdf(tree), _DESCRIPTION, _ABOUT)
    ElementTree.SubElement(note, HAS_EXTENDED).text = digest
    main = Segment(APP1, XMP_HEAD + packet_of(tree, padded=False))
    return [main, *_pieces(extension, digest.encode())]


def _cut_out(tree: ElementTree.Element, room: int) -> ElementTree.Element:
    """Take the largest properties out of a tree until it fits; gives a tree of them."""
    rest = tree_of(None)
    holder = ElementTree.SubElement(_rdf(rest), _DESCRIPTION, _ABOUT)
    properties = [
        (len(ElementTree.tostring(element)), parent, element)
        for parent in _rdf(tree).findall(_DESCRIPTION)
        for element in parent
    ]
    note = 300  # bytes that naming the extension takes, amply
    for _, parent, element in sorted(properties, key=lambda found: -found[0]):
        if len(packet_of(tree, padded=False)) + note <= room:
            break
        parent.remove(element)
        holder.append(element)
    return rest


def _pieces(extension: bytes, digest: bytes) -> list[Segment]:
    size = LARGEST_PAYLOAD - _PIECE_HEAD
    length = len(extension).to_bytes(4, "big")
    return [
        Segment(
            APP1,
            EXTENSION_HEAD
            + digest
            + length
            + offset.to_bytes(4, "big")
            + extension[offset : offset + size],
        )
        for offset in range(0, len(extension), size)
    ]


def _without_wrapper(tree: ElementTree.Element) -> bytes:
    written: bytes = ElementTree.tostring(tree, "utf-8")
    return written


def _rdf(tree: ElementTree.Element) -> ElementTree.Element:
    found = tree.find(f"{{{RDF}}}RDF")
    assert found is not None
    return found
