"""The studio's key, which signs how far each record goes, so that a tail cut off shows.

It lies with the files, apart from the records' database: whoever can only write the records cannot
sign a shorter one. Ed25519 (RFC 8032).
"""

from __future__ import annotations

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from evenhand.shoots.errors import DamagedFileError
from evenhand.shoots.files import Files

PLACE = "studio/record.key"
"""Where the key lies in the store: its 32 bytes."""


SECRET_BYTES = 32
"""Of an Ed25519 private key."""


class StudioKey:
    """A key that signs records.

    Parameters
    ----------
    secret : bytes
        The 32 bytes of an Ed25519 private key.
    """

    def __init__(self, secret: bytes) -> None:
        self.secret = secret
        self._key = Ed25519PrivateKey.from_private_bytes(secret)

    @classmethod
    def of(cls, files: Files) -> StudioKey:
        """The key of a store; makes one where there is none.

        Parameters
        ----------
        files : Files

        Returns
        -------
        StudioKey

        Raises
        ------
        DamagedFileError
            What lies there is no key.
        """
        secret = files.read_named(PLACE)
        if secret is None:
            files.put_named(PLACE, Ed25519PrivateKey.generate().private_bytes_raw())
            secret = files.read_named(PLACE)
        if secret is None or len(secret) != SECRET_BYTES:
            raise DamagedFileError(
                "The key that signs the records is damaged.",
                f"Restore {PLACE} among the files from a backup.",
            )
        return cls(secret)

    @property
    def public(self) -> str:
        """The public key, hexadecimal: with it anybody can check an exported record."""
        return self._key.public_key().public_bytes_raw().hex()

    def sign(self, shoot_id: str, number: int, sha256: str) -> str:
        """Signature, hexadecimal, of a record whose last entry has this number and seal.

        Parameters
        ----------
        shoot_id : str
        number : int
        sha256 : str

        Returns
        -------
        str
            Ed25519, 128 digits.
        """
        return self._key.sign(_statement(shoot_id, number, sha256)).hex()

    def holds(self, signature: str, shoot_id: str, number: int, sha256: str) -> bool:
        """Whether a signature is this key's over this end of a record.

        Parameters
        ----------
        signature : str
            Hexadecimal.
        shoot_id : str
        number : int
        sha256 : str

        Returns
        -------
        bool
        """
        try:
            self._key.public_key().verify(
                bytes.fromhex(signature), _statement(shoot_id, number, sha256)
            )
        except (InvalidSignature, ValueError):
            return False
        return True


def _statement(shoot_id: str, number: int, sha256: str) -> bytes:
    return f"evenhand record {shoot_id} {number} {sha256}".encode()
