"""Content-addressed files: on a folder out of the box, on any S3-compatible store by address.

Every shoot has its own place, so that deleting it deletes every byte of it; inside, a file is
named by the SHA-256 of its bytes, so that the same file is stored once and damage is seen.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, unquote, urlsplit

import obstore
from obstore.exceptions import BaseError
from obstore.store import LocalStore, S3Store

from evenhand.photo.durable import make_folder, probe
from evenhand.shoots import folder_store
from evenhand.shoots.errors import DamagedFileError, WrongAddressError
from evenhand.shoots.scratch import Scratch

SHOOTS = "shoots"
"""Prefix of everything stored."""

UPLOADS = "uploads"
"""Folder inside a shoot's place for parts of files on their way in."""

TEMP = "temporary"
"""Folder beside the shoots' for files that are there only while a process needs them."""

PROBE = "studio/probe"
"""Written to see whether a store takes files."""

LEAST_FREE = 200 * 2**20
"""Bytes below which the disk is nearly full: nothing large is let in, and it is told."""

LONGEST_SUFFIX = 8
"""Characters of a temporary file's ending."""

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

    scratch : Path, optional
        Folder for temporary files where the store is none; else they go into the store's own.

    Raises
    ------
    WrongAddressError
        The address is neither.
    """

    def __init__(self, address: str, scratch: Path | None = None) -> None:
        self.address = address
        self.folder = _folder(address)
        self.store = _store(address, self.folder)
        self.scratch = Scratch(_scratch(self.folder, scratch))

    def put(self, shoot: str, source: Path | bytes) -> Stored:
        """Store a file under its hash; storing it again changes nothing.

        Parameters
        ----------
        shoot : str
            Identifier.
        source : path or bytes

        Returns
        -------
        Stored
            Hash and size.

        Raises
        ------
        OSError, obstore.exceptions.BaseError
            The store cannot be written to.
        """
        if isinstance(source, bytes):
            stored = Stored(hashlib.sha256(source).hexdigest(), len(source))
        else:
            with source.open("rb") as file:
                digest = hashlib.file_digest(file, "sha256").hexdigest()
            stored = Stored(digest, source.stat().st_size)
        self._put(_place(shoot, stored.sha256), source)
        return stored

    def read(self, shoot: str, sha256: str) -> bytes:
        """All bytes of a file, checked against its name.

        Parameters
        ----------
        shoot : str
            Identifier.
        sha256 : str

        Returns
        -------
        bytes

        Raises
        ------
        DamagedFileError
            The file is missing, or is not what it was.
        """
        return b"".join(self.pieces(shoot, sha256))

    def pieces(self, shoot: str, sha256: str) -> Iterator[bytes]:
        """The bytes of a file, some at a time.

        The last piece is given once all are checked, so that no damaged file ever goes whole.

        Parameters
        ----------
        shoot : str
            Identifier.
        sha256 : str

        Yields
        ------
        bytes

        Raises
        ------
        DamagedFileError
            The file is missing, or is not what it was.
        """
        digest, last = hashlib.sha256(), b""
        try:
            for piece in obstore.get(self.store, _place(shoot, sha256)).stream(PIECE):
                digest.update(piece)
                if last:
                    yield last
                last = bytes(piece)
        except (FileNotFoundError, obstore.exceptions.NotFoundError):
            raise DamagedFileError(
                f"The stored file {sha256} is missing.", "Restore it from a backup."
            ) from None
        if digest.hexdigest() != sha256:
            raise DamagedFileError(
                f"The stored file {sha256} has changed since it was stored.",
                "Restore it from a backup.",
            )
        if last:
            yield last

    def check(self, shoot: str, sha256: str) -> None:
        """Make sure that a file is what it was.

        Parameters
        ----------
        shoot : str
            Identifier.
        sha256 : str

        Raises
        ------
        DamagedFileError
            It is not, or is missing.
        """
        for _ in self.pieces(shoot, sha256):
            pass

    def checked_pieces(self, shoot: str, sha256: str) -> Iterator[bytes]:
        """The bytes of a file that was read and checked as a whole before the first is given.

        Parameters
        ----------
        shoot : str
            Identifier.
        sha256 : str

        Returns
        -------
        iterator of bytes

        Raises
        ------
        DamagedFileError
            The file is missing, or is not what it was.
        """
        self.check(shoot, sha256)
        return self.pieces(shoot, sha256)

    @contextmanager
    def as_path(self, shoot: str, sha256: str, name: str) -> Iterator[Path]:
        """A file of its own with these bytes, for as long as the block runs.

        The name ends as `name` does; it is never used as a path.

        Parameters
        ----------
        shoot : str
            Identifier.
        sha256 : str
        name : str
            As the client sent it.

        Yields
        ------
        Path

        Raises
        ------
        DamagedFileError
            The file is missing, or is not what it was.
        """
        suffix = "".join(c for c in Path(name).suffix if c.isascii() and (c.isalnum() or c == "."))
        with self.temporary() as folder:
            path = folder / f"portrait{suffix[:LONGEST_SUFFIX]}"
            with path.open("wb") as file:
                for piece in self.pieces(shoot, sha256):
                    file.write(piece)
            yield path

    def temporary(self) -> AbstractContextManager[Path]:
        """A folder for temporary files, for as long as the block runs."""
        return self.scratch.temporary()

    def has(self, shoot: str, sha256: str) -> bool:
        """Whether the file lies there, its bytes unchecked.

        Parameters
        ----------
        shoot : str
            Identifier.
        sha256 : str

        Returns
        -------
        bool
        """
        try:
            obstore.head(self.store, _place(shoot, sha256))
        except (FileNotFoundError, obstore.exceptions.NotFoundError):
            return False
        return True

    def delete(self, shoot: str, sha256: str) -> None:
        """Delete a file; one that is not there is no error.

        Parameters
        ----------
        shoot : str
            Identifier.
        sha256 : str
        """
        self._delete(_place(shoot, sha256))

    def put_part(self, shoot: str, upload: str, name: str, source: Path) -> None:
        """Store a part of an upload; its name ends with the SHA-256 of its bytes.

        Parameters
        ----------
        shoot, upload : str
            Identifiers.
        name : str
        source : path
        """
        self._put(f"{SHOOTS}/{shoot}/{UPLOADS}/{upload}/{name}", source)

    def part_pieces(self, shoot: str, upload: str, name: str) -> Iterator[bytes]:
        """The bytes of a part of an upload, some at a time.

        Parameters
        ----------
        shoot, upload : str
            Identifiers.
        name : str

        Yields
        ------
        bytes

        Raises
        ------
        DamagedFileError
            They have changed since they came; told after the last piece.
        """
        digest = hashlib.sha256()
        place = f"{SHOOTS}/{shoot}/{UPLOADS}/{upload}/{name}"
        for piece in obstore.get(self.store, place).stream(PIECE):
            digest.update(piece)
            yield bytes(piece)
        if not name.endswith(digest.hexdigest()):
            raise DamagedFileError(
                "A part of the upload has changed since it came.", "Send the file again."
            )

    def delete_upload(self, shoot: str, upload: str) -> None:
        """Delete every part of an upload.

        Parameters
        ----------
        shoot, upload : str
            Identifiers.
        """
        for place, _, _ in list(self._under(f"{SHOOTS}/{shoot}/{UPLOADS}/{upload}/")):
            self._delete(place)

    def delete_shoot(self, shoot: str) -> tuple[int, int]:
        """Delete every byte of a shoot.

        Parameters
        ----------
        shoot : str
            Identifier.

        Returns
        -------
        files, bytes : int
            How many were deleted.
        """
        files = size = 0
        for place, bytes_, _ in list(self._under(f"{SHOOTS}/{shoot}/")):
            self._delete(place)
            files, size = files + 1, size + bytes_
        return files, size

    def listing(self, shoot: str | None = None) -> Iterator[tuple[str, str, int, float]]:
        """Every stored file, parts of uploads too.

        Parameters
        ----------
        shoot : str, optional
            Only those of this shoot.

        Yields
        ------
        shoot, name : str
            The name is the hash, or holds a slash for a part.
        size : int
            Bytes.
        modified : float
            Seconds since 1970.
        """
        prefix = f"{SHOOTS}/{shoot}/" if shoot else f"{SHOOTS}/"
        for place, size, modified in self._under(prefix):
            _, owner, name = place.split("/", 2)
            yield owner, name.replace("/", "", 1) if name[2:3] == "/" else name, size, modified

    def read_named(self, place: str) -> bytes | None:
        """Bytes of a file of the studio's own, None where it is not there.

        Parameters
        ----------
        place : str
            Path within the store.

        Returns
        -------
        bytes or None
        """
        try:
            return bytes(obstore.get(self.store, place).bytes())
        except (FileNotFoundError, obstore.exceptions.NotFoundError):
            return None

    def put_named(self, place: str, content: bytes) -> None:
        """Store a file of the studio's own, unless it is there.

        Parameters
        ----------
        place : str
            Path within the store.
        content : bytes
        """
        if self.folder is not None:
            folder_store.put_new(self.folder, self.scratch, place, content)
            return
        with suppress(obstore.exceptions.AlreadyExistsError):
            obstore.put(self.store, place, content, mode="create")

    def replace_named(self, place: str, content: bytes) -> None:
        """The same, over what is there.

        Parameters
        ----------
        place : str
            Path within the store.
        content : bytes
        """
        self._put(place, content)

    def answers(self) -> bool:
        """Whether the store answers now."""
        try:
            next(iter(self._under(f"{SHOOTS}/none/")), None)
        except (BaseError, OSError):
            return False
        return True

    def can_write(self) -> bool:
        """Whether a file can be written now: one is, and taken away again."""
        try:
            if self.folder is None:
                obstore.put(self.store, PROBE, b"probe")
                return True
            with self.temporary() as folder:
                probe(folder)
        except (BaseError, OSError):
            return False
        return True

    def free(self) -> int | None:
        """Bytes free on the disk of the files, None where they lie on a store."""
        return None if self.folder is None else shutil.disk_usage(self.folder).free

    def _under(self, prefix: str) -> Iterator[tuple[str, int, float]]:
        for batch in obstore.list(self.store, prefix):
            for found in batch:
                yield found["path"], found["size"], found["last_modified"].timestamp()

    def _put(self, place: str, source: Path | bytes) -> None:
        if self.folder is not None:
            folder_store.put(self.folder, self.scratch, place, source)
        else:
            obstore.put(self.store, place, source)

    def _delete(self, place: str) -> None:
        if self.folder is not None:
            folder_store.delete(self.folder, place)
            return
        try:
            obstore.delete(self.store, place)
        except (FileNotFoundError, obstore.exceptions.NotFoundError):
            return


def _place(shoot: str, sha256: str) -> str:
    return f"{SHOOTS}/{shoot}/{sha256[:2]}/{sha256[2:]}"


def _folder(address: str) -> Path | None:
    """The folder of an address, None where it is none's."""
    parts = urlsplit(address)
    if parts.scheme != "file" or parts.netloc or not parts.path:
        return None
    return Path(unquote(parts.path))


def _scratch(folder: Path | None, given: Path | None) -> Path:
    """Where temporary files go: onto the disk of the files, where they have one."""
    if folder is not None:
        return folder / TEMP
    return given or Path(tempfile.gettempdir()) / f"evenhand-{os.getuid()}"


def _store(address: str, folder: Path | None) -> Any:
    if folder is not None:
        make_folder(folder, 0o700)
        folder.chmod(0o700)
        return LocalStore(folder)
    parts = urlsplit(address)
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
