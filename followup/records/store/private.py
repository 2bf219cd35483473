"""What the clinic keeps is its owner's alone: finding what others of the computer may use, and shutting it.

POSIX alone knows these modes; elsewhere nothing is looked at and nothing is changed.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable, Iterator
from contextlib import suppress
from pathlib import Path

OTHERS = 0o077
# Whatever else lies in the clinic's folder was put there by somebody for a purpose of his own.
_FOLDERS = ("backups", "lists", "locales")
_FILES = ("journal-seal.json*", "followup.log*", "*.part*", "*.new", "*.before-*")


def open_to_others(folder: Path, *more: Path) -> tuple[Path, ...]:
    """The clinic's ``folder`` and what the program keeps in it, as far as others of this computer may use it.

    ``more``: files of the clinic by their path; what SQLite keeps beside a database goes with it.
    """
    if os.name != "posix":
        return ()
    return tuple(path for path in dict.fromkeys(_kept(folder, more)) if _is_open(path))


def shut(paths: Iterable[Path]) -> None:
    """Take everything from others; what is not ours to change stays, and is found again."""
    for path in paths:
        with suppress(OSError):
            path.chmod(stat.S_IMODE(path.stat().st_mode) & ~OTHERS)


def _kept(folder: Path, more: Iterable[Path]) -> Iterator[Path]:
    if not _is_shared(folder):
        yield folder
    for pattern in _FILES:
        yield from folder.glob(pattern)
    for name in _FOLDERS:
        if not (folder / name).is_symlink():
            yield folder / name
            yield from (folder / name).rglob("*")
    for path in more:
        yield path
        yield from (path.with_name(f"{path.name}{side}") for side in ("-wal", "-shm", "-journal"))


def _is_shared(folder: Path) -> bool:
    """A folder that is not the clinic's alone, such as one for everybody's temporary files."""
    try:
        sticky = bool(folder.stat().st_mode & stat.S_ISVTX)
    except OSError:
        return True
    return sticky or folder == folder.parent or folder == Path.home()


def _is_open(path: Path) -> bool:
    try:
        mode = path.lstat().st_mode
    except OSError:
        return False
    return not stat.S_ISLNK(mode) and bool(mode & OTHERS)
