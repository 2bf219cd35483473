"""The keys that seal the codes: in a file of their own, outside the database and its backups."""

from __future__ import annotations

import json
import os
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

from followup.errors import FollowupError
from followup.recall.codes.alphabet import ALPHABET, encode
from followup.records.store.durable import write_whole

KEY_BYTES = 32
_ID_CHARACTERS = 2


@dataclass(frozen=True)
class Keyring:
    """All keys by their id; ``newest`` seals new codes, the older ones still open old sheets."""

    newest: str
    keys: Mapping[str, bytes] = field(repr=False)

    @classmethod
    def fresh(cls) -> Keyring:
        """A ring with one new key."""
        return cls(encode(1, _ID_CHARACTERS), MappingProxyType({encode(1, _ID_CHARACTERS): _key()}))

    def rotated(self) -> Keyring:
        """This ring with one more key, which seals from now on. Error: ``keyring.full``."""
        following = max(_number(name) for name in self.keys) + 1
        if following >= len(ALPHABET) ** _ID_CHARACTERS:
            raise FollowupError("keyring.full", "no key id is left", where="keyring", fix="begin a new ring")
        name = encode(following, _ID_CHARACTERS)
        return Keyring(name, MappingProxyType({**self.keys, name: _key()}))


def load_keyring(path: Path) -> Keyring:
    """The ring in the file. Errors: ``keyring.`` missing, open (others can read it), file (damaged)."""
    try:
        status, text = path.stat(), path.read_text("ascii")
    except FileNotFoundError:
        raise _bad("missing", path, "there is no key file", "restore it from its own backup") from None
    except (OSError, UnicodeDecodeError) as exc:
        raise _bad("file", path, f"can't be read: {type(exc).__name__}", "restore it") from None
    if os.name == "posix" and status.st_mode & 0o077:
        raise _bad("open", path, "other users of this computer can read the keys", "run: chmod 600 on it")
    try:
        data = json.loads(text)
        keys = {str(name): bytes.fromhex(value) for name, value in data["keys"].items()}
        newest = str(data["newest"])
        sound = newest in keys and all(_is_sound(name, key) for name, key in keys.items())
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        sound = False
    if not sound:
        raise _bad("file", path, "is not a key file", "restore it from its own backup")
    return Keyring(newest, MappingProxyType(keys))


def create_keyring(path: Path) -> Keyring:
    """A new ring in a new file that only its owner can read. Error: ``keyring.exists``."""
    ring = Keyring.fresh()
    try:
        save_keyring(path, ring, new=True)
    except FileExistsError:
        raise _bad(
            "exists", path, "a key file is there already", "keep it: printed sheets need its keys"
        ) from None
    return ring


def save_keyring(path: Path, ring: Keyring, *, new: bool = False) -> None:
    """Write the ring, whole or not at all, readable by its owner alone; ``new``: over no other one."""
    content = {"newest": ring.newest, "keys": {name: key.hex() for name, key in ring.keys.items()}}
    write_whole(path, json.dumps(content, indent=1).encode("ascii"), new=new)


def rotate_keyring(path: Path) -> Keyring:
    """Add a key to the file; new sheets use it, old sheets stay readable.

    Two at once never lose one. Error ``keyring.busy`` while another turns it.
    """
    lock = path.with_name(f"{path.name}.turning")
    try:
        os.close(os.open(lock, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    except FileExistsError:
        raise _bad(
            "busy", path, "another program adds a key at this moment", f"wait; if none does, delete {lock}"
        ) from None
    try:
        ring = load_keyring(path).rotated()
        save_keyring(path, ring)
    finally:
        lock.unlink(missing_ok=True)
    return ring


def _key() -> bytes:
    return secrets.token_bytes(KEY_BYTES)


def _number(name: str) -> int:
    total = 0
    for character in name:
        total = total * len(ALPHABET) + ALPHABET.index(character)
    return total


def _is_sound(name: str, key: bytes) -> bool:
    return len(name) == _ID_CHARACTERS and set(name) <= set(ALPHABET) and len(key) == KEY_BYTES


def _bad(code: str, path: Path, what: str, fix: str) -> FollowupError:
    return FollowupError(f"keyring.{code}", what, where=str(path), fix=fix)
