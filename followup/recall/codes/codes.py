"""The recall code of a sheet: typed with a check character, scanned with a keyed tag.

Typed: ten characters (50 random bits) and one check character, printed ``7K3M-9QX2-PDV``.
Scanned: everything in fixed places and only digits and capital letters, so that no separator can
get lost between a hand scanner and a keyboard::

    RTN 1 01 7K3M9QX2PD 5T8WQZ3N RBE
    |   | |  |          |        the clinic's code
    |   | |  |          HMAC-SHA-256 of all the rest, cut to 40 bits
    |   | |  id of the sheet
    |   | id of the key
    |   version of this layout
    our prefix

Neither form says anything about the patient.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from followup.language.catalogues import N_
from followup.recall.codes.alphabet import ALPHABET, encode
from followup.recall.codes.check_characters import check_character, is_complete
from followup.recall.codes.keyring import (
    Keyring,
    create_keyring,
    load_keyring,
    rotate_keyring,
    save_keyring,
)

__all__ = [
    "ID_LENGTH",
    "Keyring",
    "Scan",
    "ScanOutcome",
    "create_keyring",
    "load_keyring",
    "new_sheet_id",
    "qr_payload",
    "read_scan",
    "rotate_keyring",
    "save_keyring",
    "typed_code",
]

ID_LENGTH = 10
_ID_BITS = 50
_PREFIX = "RTN"
_VERSION = "1"
_TAG_BITS, _TAG_LENGTH = 40, 8
_HEAD = len(_PREFIX) + len(_VERSION) + 2
_CLINIC_AT = _HEAD + ID_LENGTH + _TAG_LENGTH
_MAX_CLINIC = 8
# Blanks and dashes that people and keyboards put between groups.
_BETWEEN = dict.fromkeys(map(ord, " \t\r\n-‐‑‒–—\u00a0\u202f"))

ScanOutcome = Literal["ours", "other clinic", "wrong check character", "wrong tag", "not a code"]


@dataclass(frozen=True)
class Scan:
    """What was read. ``sheet_id`` is set only for ``ours``, ``clinic`` only for a scanned code.

    ``reason`` is one sentence for the staff, in English (a message of the desk catalogue).
    """

    outcome: ScanOutcome
    reason: str
    sheet_id: str | None = None
    clinic: str | None = None


_OURS = N_("This is a return code of this clinic.")
_OTHER = N_("This return code belongs to another clinic; send the patient there or search by name.")
_WRONG_CHECK = N_("One character is wrong or two are exchanged; compare with the sheet and type it again.")
_WRONG_TAG = N_("This code was not made by this clinic's program; take the sheet away and search by name.")
_OLD_KEY = N_("This code was sealed with a key that this computer does not have; search by name.")
_NEW_LAYOUT = N_("This code was made by a newer version of the program; search by name.")
_NO_CODE = N_("This is not a return code; it has eleven characters, or scan the square on the sheet.")
_NO_LETTER = N_("The letters I, L, O and U never stand in a return code; read 1, 0 or V instead.")


def new_sheet_id(bits: Callable[[int], int] = secrets.randbits) -> str:
    """A random id whose typed form can be read and checked.

    Left out are ids whose check character would be I, L, O or U, and the few in which an exchange
    of two neighbours would pass the check.
    """
    while True:
        sheet_id = encode(bits(_ID_BITS), ID_LENGTH)
        if check_character(sheet_id) in ALPHABET and not _hides_an_exchange(sheet_id):
            return sheet_id


def typed_code(sheet_id: str) -> str:
    """The code as it is printed for typing: in groups of four, four and three.

    >>> typed_code("7K3M9QX2PD")
    '7K3M-9QX2-PDV'
    """
    whole = sheet_id + check_character(sheet_id)
    return f"{whole[:4]}-{whole[4:8]}-{whole[8:]}"


def qr_payload(sheet_id: str, keyring: Keyring, clinic: str) -> str:
    """The text of the QR: digits and capital letters only, which makes the smallest code."""
    head = f"{_PREFIX}{_VERSION}{keyring.newest}"
    tag = _tag(keyring.keys[keyring.newest], head, sheet_id, clinic)
    return f"{head}{sheet_id}{tag}{clinic}"


def read_scan(text: str, keyring: Keyring, clinic: str) -> Scan:
    """What a typed or scanned text is, for the clinic with the code ``clinic``.

    Takes small letters, blanks and hyphens. Whether the sheet was ever issued is the store's to say.
    """
    code = text.translate(_BETWEEN).upper()
    if code.startswith(_PREFIX) and len(code) > ID_LENGTH + 1:
        return _read_qr(code, keyring, clinic)
    return _read_typed(code)


def _read_typed(code: str) -> Scan:
    if len(code) != ID_LENGTH + 1 or not (code.isascii() and code.isalnum()):
        return Scan("not a code", _NO_CODE)
    if not set(code) <= set(ALPHABET):
        return Scan("wrong check character", _NO_LETTER)
    if not is_complete(code):
        return Scan("wrong check character", _WRONG_CHECK)
    return Scan("ours", _OURS, sheet_id=code[:ID_LENGTH])


def _read_qr(code: str, keyring: Keyring, clinic: str) -> Scan:
    theirs = code[_CLINIC_AT:]
    if not (1 <= len(theirs) <= _MAX_CLINIC and code.isascii() and code.isalnum()):
        return Scan("not a code", _NO_CODE)
    if code[len(_PREFIX)] != _VERSION:
        return Scan("wrong tag", _NEW_LAYOUT)
    if theirs != clinic:
        return Scan("other clinic", _OTHER, clinic=theirs)
    head, sheet_id, tag = code[:_HEAD], code[_HEAD : _HEAD + ID_LENGTH], code[_CLINIC_AT - _TAG_LENGTH :]
    key = keyring.keys.get(head[-2:])
    if key is None:
        return Scan("wrong tag", _OLD_KEY, clinic=theirs)
    if not hmac.compare_digest(tag[:_TAG_LENGTH], _tag(key, head, sheet_id, theirs)):
        return Scan("wrong tag", _WRONG_TAG, clinic=theirs)
    return Scan("ours", _OURS, sheet_id=sheet_id, clinic=theirs)


def _tag(key: bytes, head: str, sheet_id: str, clinic: str) -> str:
    digest = hmac.new(key, f"{head}{sheet_id}{clinic}".encode("ascii"), hashlib.sha256).digest()
    return encode(int.from_bytes(digest[: _TAG_BITS // 8]), _TAG_LENGTH)


def _hides_an_exchange(sheet_id: str) -> bool:
    whole = sheet_id + check_character(sheet_id)
    exchanged = (whole[:i] + whole[i + 1] + whole[i] + whole[i + 2 :] for i in range(len(whole) - 1))
    return any(other != whole and is_complete(other) for other in exchanged)
