"""What encrypts backups, for tests that judge something else.

The real seal takes a second of work for each passphrase, on purpose; the records' room tests it.
"""

from __future__ import annotations

import hashlib

import pyrage
import pytest


def seal_cheaply(patch: pytest.MonkeyPatch) -> None:
    """Encrypt for a look alone, from now on."""
    head = b"age-encryption.org/stand-in\n"

    def key(passphrase: str) -> bytes:
        return hashlib.sha256(passphrase.encode()).digest()

    def encrypt(content: bytes, passphrase: str) -> bytes:
        return head + key(passphrase) + bytes(byte ^ 0xFF for byte in content)

    def decrypt(content: bytes, passphrase: str) -> bytes:
        if not content.startswith(head + key(passphrase)):
            raise pyrage.DecryptError("no such passphrase")
        return bytes(byte ^ 0xFF for byte in content[len(head) + 32 :])

    patch.setattr(pyrage.passphrase, "encrypt", encrypt)
    patch.setattr(pyrage.passphrase, "decrypt", decrypt)
