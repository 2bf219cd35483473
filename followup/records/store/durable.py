"""Files that are whole and on the disk before anything goes on: what is acknowledged survives a power cut."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO


def write_whole(path: Path, content: bytes, *, new: bool = False, mode: int = 0o600) -> None:
    """Write a file whole or not at all, for its owner alone, and have it on the disk before going on.

    ``new``: never in the place of one that is there (FileExistsError), also where two begin at once.
    ``mode``: who may read it, where that is not the owner alone.
    """
    with writing_whole(path, new=new, mode=mode) as file:
        file.write(content)


@contextmanager
def writing_whole(path: Path, *, new: bool = False, mode: int = 0o600) -> Iterator[BinaryIO]:
    """As :func:`write_whole`, for what does not fit into memory: the file to write to, of another name."""
    draft = path.with_name(f"{path.name}.{secrets.token_hex(4)}.new")
    try:
        descriptor = os.open(draft, os.O_RDWR | os.O_CREAT | os.O_EXCL, mode)
        with os.fdopen(descriptor, "w+b") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        if new:
            os.link(draft, path)
        else:
            draft.replace(path)
        flush_folder(path.parent)
    finally:
        draft.unlink(missing_ok=True)


def flush_file(path: Path) -> None:
    """Have what was written to a file on the disk before going on."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def flush_folder(folder: Path) -> None:
    """Have the names of a folder's files on the disk: a new name is lost in a power cut without it."""
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
