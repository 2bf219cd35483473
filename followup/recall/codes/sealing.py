"""A short secret in the database that only the clinic's key file opens: a stolen backup does not.

AES-GCM (NIST SP 800-38D) under a key that HKDF (RFC 5869) makes of the ring's, both from a library.
"""

from __future__ import annotations

import hmac
import secrets
from base64 import urlsafe_b64decode, urlsafe_b64encode
from binascii import Error

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

from followup.recall.codes.keyring import Keyring

_NONCE, _KEY = 12, 32


def seal(secret: bytes, ring: Keyring, *, of: str) -> str:
    """``secret`` as text for the database. ``of``: what it opens; sealed for that alone."""
    nonce = secrets.token_bytes(_NONCE)
    whole = nonce + AESGCM(_derived(ring.keys[ring.newest], "hide")).encrypt(nonce, secret, of.encode())
    return f"{ring.newest}.{urlsafe_b64encode(whole).decode('ascii')}"


def unseal(sealed: str, ring: Keyring, *, of: str) -> bytes | None:
    """The secret; None where no key of the ring opens it, or it was sealed for something else."""
    name, _, text = sealed.partition(".")
    key = ring.keys.get(name)
    if key is None:
        return None
    try:
        whole = urlsafe_b64decode(text.encode("ascii"))
        return AESGCM(_derived(key, "hide")).decrypt(whole[:_NONCE], whole[_NONCE:], of.encode())
    except (Error, ValueError, InvalidTag):
        return None


def keyed_mark(ring: Keyring, text: str, *, of: str) -> str:
    """What only this clinic's newest key makes of ``text``: nobody else can have written it."""
    return hmac.digest(_derived(ring.keys[ring.newest], "mark"), f"{of}\0{text}".encode(), "sha256").hex()


def _derived(key: bytes, use: str) -> bytes:
    # Never the ring's key itself: that one makes the codes on sheets.
    return HKDF(SHA256(), length=_KEY, salt=None, info=f"sealed secret: {use}".encode()).derive(key)
