"""XMP packets: what was done to a photograph, written into its metadata in open terms.

The history follows XMP part 2 (xmpMM:History of stEvt:ResourceEvent), the kind of picture IPTC's
controlled vocabulary for the digital source type.
"""

from __future__ import annotations

import io
import xml.etree.ElementTree as ElementTree
from dataclasses import dataclass
from datetime import datetime

RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
XMP = "http://ns.adobe.com/xap/1.0/"
MEDIA = "http://ns.adobe.com/xap/1.0/mm/"
EVENT = "http://ns.adobe.com/xap/1.0/sType/ResourceEvent#"
IPTC = "http://iptc.org/std/Iptc4xmpExt/2008-02-29/"
META = "adobe:ns:meta/"
NOTE = "http://ns.adobe.com/xmp/note/"
TIFF = "http://ns.adobe.com/tiff/1.0/"
CAMERA_RAW = "http://ns.adobe.com/camera-raw-settings/1.0/"
"""Namespaces (XMP parts 1 and 2; IPTC Photo Metadata Standard 2023.2)."""

_PREFIXES = {
    "rdf": RDF,
    "xmp": XMP,
    "xmpMM": MEDIA,
    "stEvt": EVENT,
    "Iptc4xmpExt": IPTC,
    "x": META,
    "xmpNote": NOTE,
    "tiff": TIFF,
    "crs": CAMERA_RAW,
}
"""Usual prefixes of these namespaces."""

SOURCE_TYPES = "http://cv.iptc.org/newscodes/digitalsourcetype/"
ENHANCED = SOURCE_TYPES + "algorithmicallyEnhanced"
"""Minor augmentation or correction by algorithm (IPTC NewsCodes, digital source type)."""

_MADE_BY_CAMERA = {"digitalCapture", "negativeFilm", "positiveFilm", "print", "minorHumanEdits"}
"""Source types that retouching turns into `ENHANCED`; others already say more, and stay."""

_BEGIN = b'<?xpacket begin="\xef\xbb\xbf" id="W5M0MpCehiHzreSzNTczkc9d"?>\n'
_PADDING = b"\n" + (b" " * 99 + b"\n") * 20
_FINISH = b'<?xpacket end="w"?>'
"""Wrapper of a packet, with room for later changes (XMP part 1, section 7.3)."""


@dataclass(frozen=True)
class Edit:
    """What was done to a photograph.

    Attributes
    ----------
    when : datetime
        With its time zone.
    software : str
        Name and version.
    parameters : str
        The steps and their strengths, in plain words.
    enhanced : bool
        Whether the photograph is now enhanced; False where an enhancement was taken back.
    """

    when: datetime
    software: str
    parameters: str
    enhanced: bool = True


def with_edit(packet: bytes | None, edit: Edit) -> bytes:
    """The packet with an entry in its history, its dates, and the digital source type.

    A missing or unreadable packet is replaced by a new one; everything else in it is kept.

    Parameters
    ----------
    packet : bytes or None
    edit : Edit
        What was done; with `enhanced` false a digital source type of ours is taken out.

    Returns
    -------
    bytes
    """
    tree = tree_of(packet)
    description = ElementTree.SubElement(
        _only_child(tree, f"{{{RDF}}}RDF"), f"{{{RDF}}}Description", {f"{{{RDF}}}about": ""}
    )
    when = edit.when.isoformat(timespec="seconds")
    _append_event(tree, description, edit, when)
    _set(tree, description, f"{{{XMP}}}ModifyDate", when)
    _set(tree, description, f"{{{XMP}}}MetadataDate", when)
    kind = value_of(tree, f"{{{IPTC}}}DigitalSourceType")
    if not edit.enhanced:
        if kind == ENHANCED:
            remove(tree, f"{{{IPTC}}}DigitalSourceType")
    elif kind is None or kind.rsplit("/", 1)[-1] in _MADE_BY_CAMERA:
        _set(tree, description, f"{{{IPTC}}}DigitalSourceType", ENHANCED)
    return packet_of(tree)


def of_developed_picture(packet: bytes) -> bytes:
    """The packet without what holds for the file as it was stored, not for the finished picture.

    That is its turn, and settings for developing it, which readers would apply again.

    Parameters
    ----------
    packet : bytes

    Returns
    -------
    bytes
        The same where it says nothing of either.
    """
    if not any(namespace.encode() in packet for namespace in (TIFF, CAMERA_RAW)):
        return packet
    tree = tree_of(packet)
    for holder in tree.iter(f"{{{RDF}}}Description"):
        for name in (*holder.attrib, *(element.tag for element in holder)):
            if name == f"{{{TIFF}}}Orientation" or name.startswith(f"{{{CAMERA_RAW}}}"):
                remove(tree, name)
    return packet_of(tree)


def packet_of(tree: ElementTree.Element, *, padded: bool = True) -> bytes:
    """A packet of a tree, with room for later changes unless that is not wanted.

    Parameters
    ----------
    tree : Element
        An x:xmpmeta.
    padded : bool
        Leave that room.

    Returns
    -------
    bytes
        UTF-8, with its wrapper.
    """
    written: bytes = ElementTree.tostring(tree, "utf-8")
    return _BEGIN + written + (_PADDING if padded else b"\n") + _FINISH


def tree_of(packet: bytes | None) -> ElementTree.Element:
    """The packet's x:xmpmeta element, a new one where there is none that can be read.

    Parameters
    ----------
    packet : bytes or None
        One that declares entities counts as unreadable.

    Returns
    -------
    Element
    """
    for prefix, namespace in _PREFIXES.items():
        ElementTree.register_namespace(prefix, namespace)
    if packet and b"<!DOCTYPE" not in packet and b"<!ENTITY" not in packet:
        try:
            return _parsed(packet.rstrip(b"\x00"))
        except (ElementTree.ParseError, ValueError, LookupError):
            pass
    tree = ElementTree.Element(f"{{{META}}}xmpmeta")
    ElementTree.SubElement(tree, f"{{{RDF}}}RDF")
    return tree


def _parsed(packet: bytes) -> ElementTree.Element:
    events = ElementTree.iterparse(io.BytesIO(packet), events=("start-ns",))
    for _, (prefix, namespace) in events:
        if prefix and namespace not in _PREFIXES.values() and not prefix.startswith("ns"):
            ElementTree.register_namespace(prefix, namespace)
    root = ElementTree.fromstring(packet)
    if root.tag == f"{{{RDF}}}RDF":
        tree = ElementTree.Element(f"{{{META}}}xmpmeta")
        tree.append(root)
        return tree
    if root.find(f"{{{RDF}}}RDF") is None:
        raise ValueError("no RDF in the packet")
    return root


def _only_child(tree: ElementTree.Element, tag: str) -> ElementTree.Element:
    child = tree.find(tag)
    assert child is not None
    return child


def _append_event(
    tree: ElementTree.Element, description: ElementTree.Element, edit: Edit, when: str
) -> None:
    history = tree.find(f".//{{{MEDIA}}}History/{{{RDF}}}Seq")
    if history is None:
        history = ElementTree.SubElement(
            ElementTree.SubElement(description, f"{{{MEDIA}}}History"), f"{{{RDF}}}Seq"
        )
    event = ElementTree.SubElement(history, f"{{{RDF}}}li", {f"{{{RDF}}}parseType": "Resource"})
    for name, text in (
        ("action", "edited"),
        ("when", when),
        ("softwareAgent", edit.software),
        ("parameters", edit.parameters),
    ):
        ElementTree.SubElement(event, f"{{{EVENT}}}{name}").text = text


def value_of(tree: ElementTree.Element, name: str) -> str | None:
    """A simple property, written as an element or as an attribute (XMP part 1, section 7.9).

    Parameters
    ----------
    tree : Element
        An x:xmpmeta.
    name : str
        `{namespace}name`.

    Returns
    -------
    str or None
        None where there is none.
    """
    for holder in tree.iter(f"{{{RDF}}}Description"):
        if name in holder.attrib:
            return holder.attrib[name]
        element = holder.find(name)
        if element is not None:
            return element.text or element.attrib.get(f"{{{RDF}}}resource")
    return None


def _set(tree: ElementTree.Element, description: ElementTree.Element, name: str, text: str) -> None:
    remove(tree, name)
    ElementTree.SubElement(description, name).text = text


def remove(tree: ElementTree.Element, name: str) -> None:
    """Take a property out, wherever it stands.

    Parameters
    ----------
    tree : Element
        An x:xmpmeta, changed in place.
    name : str
        `{namespace}name`.
    """
    for holder in tree.iter(f"{{{RDF}}}Description"):
        holder.attrib.pop(name, None)
        for element in holder.findall(name):
            holder.remove(element)
