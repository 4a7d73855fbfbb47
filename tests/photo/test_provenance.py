"""What was done is written into XMP, read back by an independent library (Exiv2)."""

from __future__ import annotations

import hashlib
import struct
from datetime import UTC, datetime
from pathlib import Path

import exiv2
import numpy as np
import pytest
from PIL import Image, PngImagePlugin

from evenhand import photo
from evenhand.photo.xmp import ENHANCED, Edit, with_edit
from tests.photo.pictures import XMP, read_with_vips, scene, write_with_pillow, write_with_vips

EDIT = Edit(datetime(2026, 7, 19, 20, 30, tzinfo=UTC), "Evenhand 0.1.0", "redness 1, smoothing 0.6")

FORMS = {
    "JPEG": (".jpg", 8, write_with_pillow, {}),
    "JPEG progressive": (".jpg", 8, write_with_pillow, {"progressive": True}),
    "PNG 8": (".png", 8, write_with_pillow, {}),
    "PNG 16": (".png", 16, write_with_vips, {}),
    "TIFF without XMP": (".tif", 8, write_with_pillow, {}),
    "TIFF 16": (".tif", 16, write_with_vips, {"compression": "lzw"}),
    "BigTIFF 16": (".tif", 16, write_with_vips, {"bigtiff": True}),
}


def xmp_of(path: Path) -> dict[str, str]:
    """XMP properties as Exiv2 finds them."""
    image = exiv2.ImageFactory.open(str(path))
    image.readMetadata()
    return {datum.key(): datum.toString() for datum in image.xmpData()}


@pytest.mark.parametrize("form", FORMS)
def test_history_and_source_type(form: str, tmp_path: Path) -> None:
    suffix, depth, write, options = FORMS[form]
    path = tmp_path / f"portrait{suffix}"
    write(path, scene(depth), None, 6, **options)
    photograph = photo.read(path)
    result = photograph.pixels.copy()
    result[20:40, 30:50] += 3
    written = photo.write(result, photograph, tmp_path / f"result{suffix}", edit=EDIT)
    if suffix != ".jpg":
        assert np.array_equal(read_with_vips(written), result)
    if form == "BigTIFF 16":  # which Exiv2 does not read
        assert b"algorithmicallyEnhanced" in photo.read(written).source.metadata["xmp"]  # type: ignore[union-attr]
        return
    found = xmp_of(written)
    event = "Xmp.xmpMM.History[1]/stEvt:"
    assert found["Xmp.iptcExt.DigitalSourceType"] == ENHANCED
    assert found["Xmp.xmp.ModifyDate"] == "2026-07-19T20:30:00+00:00"
    assert found[event + "action"] == "edited"
    assert found[event + "softwareAgent"] == "Evenhand 0.1.0"
    assert found[event + "parameters"] == "redness 1, smoothing 0.6"
    for key, value in xmp_of(path).items():
        if key != "Xmp.xmp.ModifyDate":
            assert found[key] == value


@pytest.mark.parametrize("form", FORMS)
def test_other_metadata_stay(form: str, tmp_path: Path) -> None:
    suffix, depth, write, options = FORMS[form]
    path = tmp_path / f"portrait{suffix}"
    write(path, scene(depth), None, 6, **options)
    photograph = photo.read(path)
    written = photo.write(photograph.pixels, photograph, tmp_path / f"result{suffix}", edit=EDIT)
    with Image.open(path) as first, Image.open(written) as second:
        moved = {273, 279, 324, 325, 700}
        tags, tags_after = (
            {t: v for t, v in o.getexif().items() if t not in moved} for o in (first, second)
        )
        assert tags_after == tags
        assert second.info.get("dpi") == first.info.get("dpi")


def test_a_second_edit_adds_to_the_history() -> None:
    once = with_edit(XMP, EDIT)
    twice = with_edit(once, EDIT)
    assert once.count(b"stEvt:action>edited") == 1
    assert twice.count(b"stEvt:action>edited") == 2
    assert twice.count(b"DigitalSourceType>") == 2  # one element: its two tags
    assert b"A. Rower" in twice
    assert twice.startswith(b"<?xpacket begin=")
    assert twice.endswith(b'<?xpacket end="w"?>')


def test_a_source_type_that_says_more_stays() -> None:
    composite = with_edit(None, EDIT).replace(
        b"algorithmicallyEnhanced", b"trainedAlgorithmicMedia"
    )
    assert b"trainedAlgorithmicMedia" in with_edit(composite, EDIT)
    capture = with_edit(None, EDIT).replace(b"algorithmicallyEnhanced", b"digitalCapture")
    assert b"algorithmicallyEnhanced" in with_edit(capture, EDIT)
    assert b"digitalCapture" not in with_edit(capture, EDIT)


@pytest.mark.parametrize(
    "packet",
    [
        None,
        b"",
        b"no XML",
        b"<a/>",
        XMP[:100],
        b'<!DOCTYPE a [<!ENTITY b "c">]><x:xmpmeta xmlns:x="adobe:ns:meta/">&b;</x:xmpmeta>',
    ],
)
def test_a_packet_that_cannot_be_read_is_replaced(packet: bytes | None) -> None:
    assert b"algorithmicallyEnhanced" in with_edit(packet, EDIT)


def test_pictures_to_look_at_carry_no_metadata(tmp_path: Path) -> None:
    for name in ("look.jpg", "look.png", "look.tif"):
        path = photo.write_picture(scene(8), tmp_path / name)
        assert xmp_of(path) == {}
        with Image.open(path) as opened:
            assert not {0x010F, 0x8298, 0x8825, 0x8769, 0x013B} & set(opened.getexif())


def with_source(length: int) -> bytes:
    """A packet in which `dc:source` has so many letters."""
    text = ("regatta " * (length // 8 + 1))[:length].encode()
    return XMP.replace(
        b"</rdf:RDF>",
        b'<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/"><dc:source>'
        + text
        + b"</dc:source></rdf:Description></rdf:RDF>",
    )


def extension_of(path: Path) -> bytes:
    """Extended XMP put together after XMP part 3, section 1.1.3.1; empty where there is none."""
    content, place = path.read_bytes(), 2
    head, pieces = b"http://ns.adobe.com/xmp/extension/\0", []
    while content[place + 1] != 0xDA:
        size = int.from_bytes(content[place + 2 : place + 4], "big")
        payload = content[place + 4 : place + 2 + size]
        if payload.startswith(head):
            digest, length, offset, text = struct.unpack(
                f">32sII{len(payload) - len(head) - 40}s", payload[len(head) :]
            )
            pieces.append((digest.decode(), length, offset, text))
        place += 2 + size
    extension = b"".join(text for *_, text in sorted(pieces, key=lambda piece: piece[2]))
    for digest, length, offset, text in pieces:
        assert length == len(extension)
        assert extension[offset:].startswith(text)
        assert digest == hashlib.md5(extension).hexdigest().upper()
        assert digest == xmp_of(path)["Xmp.xmpNote.HasExtendedXMP"]
    return extension


@pytest.mark.parametrize("length", [60_000, 62_800, 64_300, 65_000])
def test_a_packet_too_large_for_a_jpeg_segment(length: int, tmp_path: Path) -> None:
    """With the history it outgrows 64 KiB: first its padding goes, then part of it is extended."""
    path = tmp_path / "portrait.jpg"
    Image.fromarray(scene(8)).save(path, xmp=with_source(length - len(XMP)), quality=90)
    source = xmp_of(path)["Xmp.dc.source"]
    for count in (1, 2, 3):
        photograph = photo.read(path)
        result = photograph.pixels.copy()
        result[20:40, 30:50] += 3
        path = photo.write(result, photograph, tmp_path / f"result{count}.jpg", edit=EDIT)
        found, extension = xmp_of(path), extension_of(path)
        assert found["Xmp.iptcExt.DigitalSourceType"] == ENHANCED
        assert found[f"Xmp.xmpMM.History[{count}]/stEvt:action"] == "edited"
        assert f"Xmp.xmpMM.History[{count + 1}]/stEvt:action" not in found
        if extension:
            assert "Xmp.dc.source" not in found
            carrier = PngImagePlugin.PngInfo()
            carrier.add_itxt("XML:com.adobe.xmp", extension.decode())
            Image.fromarray(scene(8)).save(tmp_path / "carrier.png", pnginfo=carrier)
            found = xmp_of(tmp_path / "carrier.png")
        assert found["Xmp.dc.source"] == source
    assert bool(extension) == (length > 63_000)
