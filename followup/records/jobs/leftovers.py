"""What a run that was killed leaves behind: parts of files that nobody will ever finish."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

# A run that is alive writes to its draft far more often.
UNTOUCHED = timedelta(hours=1)
# Long enough to find out that the backup that was put back was the wrong one.
KEPT_ASIDE = timedelta(days=30)
_DRAFT = re.compile(r"(?P<draft>.+\.[0-9a-f]{8}\.(?:part|new)|.+\.turning)(?:-[a-z]+)*")
_ASIDE = re.compile(r".+\.before-(\d{8}T\d{6})Z-[0-9a-f]{4}")


def leftovers(folder: Path, now: float) -> tuple[Path, ...]:
    """The drafts in ``folder`` that nothing wrote to for an hour before ``now``.

    ``now`` in seconds of the files' own clock. A draft and what SQLite keeps beside it go together.
    """
    drafts: dict[str, list[tuple[float, Path]]] = {}
    for path in folder.iterdir() if folder.is_dir() else ():
        named = _DRAFT.fullmatch(path.name)
        if named and path.is_file() and not path.is_symlink():
            drafts.setdefault(named["draft"], []).append((path.stat().st_mtime, path))
    dead = (each for each in drafts.values() if max(each)[0] < now - UNTOUCHED.total_seconds())
    return tuple(sorted(path for each in dead for _, path in each))


def clear_leftovers(folder: Path, now: float) -> int:
    """Delete them; how many."""
    found = leftovers(folder, now)
    for path in found:
        path.unlink(missing_ok=True)
    return len(found)


def kept_aside_long(folder: Path, now: datetime) -> tuple[Path, ...]:
    """What restores replaced and kept under another name over thirty days ago; no program deletes it."""
    found = []
    for path in folder.glob("*.before-*") if folder.is_dir() else ():
        named = _ASIDE.fullmatch(path.name)
        if named and now - datetime.strptime(named[1], "%Y%m%dT%H%M%S").replace(tzinfo=UTC) > KEPT_ASIDE:
            found.append(path)
    return tuple(sorted(found))
