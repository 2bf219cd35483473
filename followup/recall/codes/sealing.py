"""A short secret in the database that only the clinic's key file opens: a stolen backup does not.

HMAC-SHA-256 (RFC 2104) does both halves, each under a key of its own derived from the ring's: its output over
a fresh nonce hides the secret, a tag over all of it is checked first (encrypt, then authenticate).
"""

from __future__ import annotations

import hmac
import secrets
from base64 import urlsafe_b64decode, urlsafe_b64encode
from binascii import Error

from followup.recall.codes.keyring import Keyring

LONGEST = 32
_NONCE, _TAG = 16, 16


def seal(secret: bytes, ring: Keyring, *, of: str) -> str:
    """``secret`` (1 to 32 bytes) as text for the database. ``of``: what it opens; sealed for that alone."""
    if not 1 <= len(secret) <= LONGEST:
        raise ValueError("a secret has 1 to 32 bytes")
    key, nonce = ring.keys[ring.newest], secrets.token_bytes(_NONCE)
    hidden = _hidden(key, nonce, secret)
    whole = nonce + hidden + _tag(key, of, nonce + hidden)
    return f"{ring.newest}.{urlsafe_b64encode(whole).decode('ascii')}"


def unseal(sealed: str, ring: Keyring, *, of: str) -> bytes | None:
    """The secret; None where no key of the ring opens it, or it was sealed for something else."""
    name, _, text = sealed.partition(".")
    key = ring.keys.get(name)
    try:
        whole = urlsafe_b64decode(text.encode("ascii"))
    except (Error, ValueError):
        return None
    body, tag = whole[:-_TAG], whole[-_TAG:]
    if key is None or len(body) <= _NONCE or not hmac.compare_digest(tag, _tag(key, of, body)):
        return None
    return _hidden(key, body[:_NONCE], body[_NONCE:])


def keyed_mark(ring: Keyring, text: str, *, of: str) -> str:
    """What only this clinic's newest key makes of ``text``: nobody else can have written it."""
    return hmac.digest(_derived(ring.keys[ring.newest], "mark"), f"{of}\0{text}".encode(), "sha256").hex()


def _hidden(key: bytes, nonce: bytes, text: bytes) -> bytes:
    stream = hmac.digest(_derived(key, "hide"), nonce, "sha256")
    return bytes(one ^ other for one, other in zip(text, stream, strict=False))


def _tag(key: bytes, of: str, body: bytes) -> bytes:
    return hmac.digest(_derived(key, "tag"), of.encode() + b"\0" + body, "sha256")[:_TAG]


def _derived(key: bytes, use: str) -> bytes:
    # Never the ring's key itself: that one makes the codes on sheets.
    return hmac.digest(key, f"sealed secret: {use}".encode(), "sha256")
