"""Personal metadata in an original, and whether any of it is left in a picture (Exiv2)."""

from __future__ import annotations

import io
from pathlib import Path

import exiv2
import numpy as np
import numpy.typing as npt
from PIL import Image

TRACES = (b"A. Rower", b"Invented camera", b"Boathouse", b"2026:07:18")
"""Texts that stand in the original's metadata and nowhere else; made up."""

XMP = (
    b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF '
    b'xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description rdf:about="" '
    b'xmlns:Iptc4xmpCore="http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/">'
    b"<Iptc4xmpCore:Location>Boathouse</Iptc4xmpCore:Location></rdf:Description></rdf:RDF>"
    b"</x:xmpmeta>"
)
"""Where it was taken, in IPTC's words."""


def private_original(pixels: npt.NDArray[np.uint8], suffix: str) -> bytes:
    """A JPEG or PNG file with a place, a name, a camera, a time and a thumbnail's worth of Exif."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x013B] = "Invented", "Invented camera", "A. Rower"
    exif.get_ifd(0x8769)[0x9003] = "2026:07:18 10:11:12"
    position = exif.get_ifd(0x8825)
    position[1], position[2] = "N", (54.0, 30.0, 0.0)
    position[3], position[4] = "E", (9.0, 15.0, 0.0)
    file = io.BytesIO()
    if suffix == ".jpg":
        Image.fromarray(pixels).save(file, "JPEG", quality=95, exif=exif, xmp=XMP)
    else:
        from PIL.PngImagePlugin import PngInfo

        text = PngInfo()
        text.add_itxt("XML:com.adobe.xmp", XMP.decode())
        Image.fromarray(pixels).save(file, "PNG", exif=exif, pnginfo=text)
    return file.getvalue()


def metadata_in(picture: bytes) -> dict[str, str]:
    """Every Exif, IPTC and XMP entry that Exiv2 finds."""
    image = exiv2.ImageFactory.open(picture)
    image.readMetadata()
    kinds = image.exifData(), image.iptcData(), image.xmpData()
    return {datum.key(): datum.toString() for kind in kinds for datum in kind}


def assert_nothing_private(picture: bytes | Path) -> None:
    """No entry of metadata, and no text of the original's anywhere in the file."""
    content = picture.read_bytes() if isinstance(picture, Path) else picture
    assert metadata_in(content) == {}
    assert not [trace for trace in TRACES if trace in content]
