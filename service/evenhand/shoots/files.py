"""Content-addressed files: on a folder out of the box, on any S3-compatible store by address.

Every shoot has its own place, so that deleting it deletes every byte of it; inside, a file is
named by the SHA-256 of its bytes, so that the same file is stored once and damage is seen.
"""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlsplit

import obstore
from obstore.exceptions import BaseError
from obstore.store import LocalStore, S3Store

from evenhand.shoots.errors import DamagedFileError, WrongAddressError

SHOOTS = "shoots"
"""Prefix of everything stored."""

UPLOADS = "uploads"
"""Folder inside a shoot's place for parts of files on their way in."""

PIECE = 8 * 1024 * 1024
"""Bytes read or written at a time."""

S3_SETTINGS = ("endpoint", "region", "access_key_id", "secret_access_key")
"""What an address of an S3-compatible store may say after its question mark."""


@dataclass(frozen=True)
class Stored:
    """A file that lies in the store."""

    sha256: str
    size: int


class Files:
    """A store of files.

    Parameters
    ----------
    address : str
        ``file:///FOLDER`` or ``s3://BUCKET/PREFIX?endpoint=http://HOST:PORT&region=...``; keys come
        from the address or from the usual ``AWS_...`` variables of the environment.

    Raises
    ------
    WrongAddressError
        The address is neither.
    """

    def __init__(self, address: str) -> None:
        self.address = address
        self.store = _store(address)

    def put(self, shoot: str, source: Path | bytes) -> Stored:
        """Store a file under its hash; storing it again changes nothing."""
        if isinstance(source, bytes):
            stored = Stored(hashlib.sha256(source).hexdigest(), len(source))
        else:
            with source.open("rb") as file:
                digest = hashlib.file_digest(file, "sha256").hexdigest()
            stored = Stored(digest, source.stat().st_size)
        obstore.put(self.store, _place(shoot, stored.sha256), source)
        return stored

    def read(self, shoot: str, sha256: str) -> bytes:
        """All bytes of a file, checked against its name.

        Raises
        ------
        DamagedFileError
            The file is missing, or is not what it was.
        """
        return b"".join(self.pieces(shoot, sha256))

    def pieces(self, shoot: str, sha256: str) -> Iterator[bytes]:
        """The bytes of a file, some at a time; raises `DamagedFileError` as `read` does."""
        digest = hashlib.sha256()
        try:
            for piece in obstore.get(self.store, _place(shoot, sha256)).stream(PIECE):
                digest.update(piece)
                yield bytes(piece)
        except (FileNotFoundError, obstore.exceptions.NotFoundError):
            raise DamagedFileError(
                f"The stored file {sha256} is missing.", "Restore it from a backup."
            ) from None
        if digest.hexdigest() != sha256:
            raise DamagedFileError(
                f"The stored file {sha256} has changed since it was stored.",
                "Restore it from a backup.",
            )

    @contextmanager
    def as_path(self, shoot: str, sha256: str, name: str) -> Iterator[Path]:
        """A file of its own with these bytes, for as long as the block runs.

        The name ends as `name` does; it is never used as a path.
        """
        suffix = "".join(c for c in Path(name).suffix if c.isalnum() or c == ".")
        with tempfile.TemporaryDirectory(prefix="evenhand-") as folder:
            path = Path(folder) / f"portrait{suffix}"
            with path.open("wb") as file:
                for piece in self.pieces(shoot, sha256):
                    file.write(piece)
            yield path

    def has(self, shoot: str, sha256: str) -> bool:
        """Whether the file lies there, its bytes unchecked."""
        try:
            obstore.head(self.store, _place(shoot, sha256))
        except (FileNotFoundError, obstore.exceptions.NotFoundError):
            return False
        return True

    def delete(self, shoot: str, sha256: str) -> None:
        """Delete a file; one that is not there is no error."""
        self._delete(_place(shoot, sha256))

    def put_part(self, shoot: str, upload: str, name: str, source: Path) -> None:
        """Store a part of an upload."""
        obstore.put(self.store, f"{SHOOTS}/{shoot}/{UPLOADS}/{upload}/{name}", source)

    def part_pieces(self, shoot: str, upload: str, name: str) -> Iterator[bytes]:
        """The bytes of a part of an upload."""
        place = f"{SHOOTS}/{shoot}/{UPLOADS}/{upload}/{name}"
        for piece in obstore.get(self.store, place).stream(PIECE):
            yield bytes(piece)

    def delete_upload(self, shoot: str, upload: str) -> None:
        """Delete every part of an upload."""
        for place, _, _ in list(self._under(f"{SHOOTS}/{shoot}/{UPLOADS}/{upload}/")):
            self._delete(place)

    def delete_shoot(self, shoot: str) -> tuple[int, int]:
        """Delete every byte of a shoot; gives the number of files and of bytes deleted."""
        files = size = 0
        for place, bytes_, _ in list(self._under(f"{SHOOTS}/{shoot}/")):
            self._delete(place)
            files, size = files + 1, size + bytes_
        return files, size

    def listing(self, shoot: str | None = None) -> Iterator[tuple[str, str, int, float]]:
        """Shoot, name, bytes and age in seconds since 1970 of every stored file, parts too."""
        prefix = f"{SHOOTS}/{shoot}/" if shoot else f"{SHOOTS}/"
        for place, size, modified in self._under(prefix):
            _, owner, name = place.split("/", 2)
            yield owner, name.replace("/", "", 1) if name[2:3] == "/" else name, size, modified

    def answers(self) -> bool:
        """Whether the store answers now."""
        try:
            next(iter(self._under(f"{SHOOTS}/none/")), None)
        except (BaseError, OSError):
            return False
        return True

    def _under(self, prefix: str) -> Iterator[tuple[str, int, float]]:
        for batch in obstore.list(self.store, prefix):
            for found in batch:
                yield found["path"], found["size"], found["last_modified"].timestamp()

    def _delete(self, place: str) -> None:
        try:
            obstore.delete(self.store, place)
        except (FileNotFoundError, obstore.exceptions.NotFoundError):
            return


def _place(shoot: str, sha256: str) -> str:
    return f"{SHOOTS}/{shoot}/{sha256[:2]}/{sha256[2:]}"


def _store(address: str) -> Any:
    parts = urlsplit(address)
    if parts.scheme == "file" and not parts.netloc and parts.path:
        folder = Path(parts.path)
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        return LocalStore(folder, automatic_cleanup=True)
    settings = dict(parse_qsl(parts.query))
    if parts.scheme == "s3" and parts.netloc and set(settings) <= set(S3_SETTINGS):
        return S3Store(
            parts.netloc,
            prefix=parts.path.strip("/") or None,
            virtual_hosted_style_request=False,
            client_options={"allow_http": settings.get("endpoint", "").startswith("http:")},
            **settings,  # type: ignore[arg-type]
        )
    raise WrongAddressError(
        "The address of the files is neither a folder's nor an S3-compatible store's.",
        "Give file:///FOLDER or s3://BUCKET/PREFIX?endpoint=https://HOST&region=NAME.",
    )
