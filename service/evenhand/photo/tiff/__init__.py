"""TIFF and BigTIFF files: tags, strips and tiles, codings; `tiff` reads and writes them."""
