"""A photographer's certificate by an authority, both made up (C2PA 2.1, section 14.5.1)."""

from __future__ import annotations

import datetime

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from evenhand.photo.credentials import Certificate

PEM = serialization.Encoding.PEM

_USES = (
    "digital_signature",
    "content_commitment",
    "key_encipherment",
    "data_encipherment",
    "key_agreement",
    "key_cert_sign",
    "crl_sign",
    "encipher_only",
    "decipher_only",
)
"""What a key may be used for (RFC 5280, section 4.2.1.3)."""


def made_certificate() -> Certificate:
    """A new chain and key."""
    authority_key, key = (ec.generate_private_key(ec.SECP256R1()) for _ in range(2))
    authority = _certificate(
        "Invented authority", authority_key, "Invented authority", authority_key
    )
    own = _certificate("A. Rower", key, "Invented authority", authority_key)
    return Certificate(
        own.public_bytes(PEM) + authority.public_bytes(PEM),
        key.private_bytes(PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()),
    )


def _certificate(
    subject: str,
    key: ec.EllipticCurvePrivateKey,
    issuer: str,
    issuer_key: ec.EllipticCurvePrivateKey,
) -> x509.Certificate:
    is_authority = subject == issuer
    names = (
        x509.Name(
            [
                x509.NameAttribute(NameOID.COMMON_NAME, name),
                x509.NameAttribute(NameOID.ORGANIZATION_NAME, "Invented studio"),
            ]
        )
        for name in (subject, issuer)
    )
    usage = dict.fromkeys(_USES, False)
    if is_authority:
        usage |= {"key_cert_sign": True, "crl_sign": True}
    else:
        usage["digital_signature"] = True
    builder = (
        x509.CertificateBuilder()
        .subject_name(next(names))
        .issuer_name(next(names))
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(datetime.datetime(2026, 1, 1))
        .not_valid_after(datetime.datetime(2046, 1, 1))
        .add_extension(x509.BasicConstraints(is_authority, None), critical=True)
        .add_extension(x509.KeyUsage(**usage), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(issuer_key.public_key()),
            critical=False,
        )
    )
    if not is_authority:
        usages = x509.ExtendedKeyUsage([ExtendedKeyUsageOID.EMAIL_PROTECTION])
        builder = builder.add_extension(usages, critical=False)
    return builder.sign(issuer_key, hashes.SHA256())
