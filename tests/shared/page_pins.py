"""Pinned outlines of pages: kept as files, compared, and renewed on purpose.

A pin says that nothing changed, and never that what stands there is right: that is for the other tests.
A page that is like one before it in the same file is kept as what differs.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Sequence
from pathlib import Path

Pages = dict[str, dict[str, list[str]]]
"""The lines of each page, by file and by its name in the file."""

_SHOWN = 40


class Renewal:
    """Set while pins are written instead of compared."""

    asked = False


def compare(folder: Path, pages: Pages, command: str) -> str:
    """What differs from the pins in ``folder``, to be read by whoever changed it; "" where nothing does."""
    if Renewal.asked:
        write(folder, pages)
    pinned = read(folder)
    told = [
        *(f"{file}: {name}: no such page any more" for file, name in _names(pinned) - _names(pages)),
        *(f"{file}: {name}: a page without a pin" for file, name in _names(pages) - _names(pinned)),
    ]
    for file, name in sorted(_names(pages) & _names(pinned)):
        told += _differs(f"{file}: {name}", pinned[file][name], pages[file][name])
    if not told:
        return ""
    rest = f"\n... and {len(told) - _SHOWN} lines more" if len(told) > _SHOWN else ""
    shown = "\n".join(told[:_SHOWN])
    return f"{shown}{rest}\nIf it was meant, renew the pins and read what changed: {command}"


def _names(pages: Pages) -> set[tuple[str, str]]:
    return {(file, name) for file, found in pages.items() for name in found}


def _differs(where: str, before: Sequence[str], now: Sequence[str]) -> Iterator[str]:
    if before == now:
        return
    yield f"page {where}"
    for line in difflib.unified_diff(before, now, n=1, lineterm=""):
        if not line.startswith(("---", "+++")):
            yield f"  {line}"


def write(folder: Path, pages: Pages) -> None:
    """Put the pages down as pins, and take away what is none any more."""
    folder.mkdir(exist_ok=True)
    for old in folder.glob("*.txt"):
        if old.stem not in pages:
            old.unlink()
    for file, found in pages.items():
        (folder / f"{file}.txt").write_text("\n".join(_written(found)) + "\n", "utf-8")


def _written(found: dict[str, list[str]]) -> Iterator[str]:
    done: dict[str, list[str]] = {}
    for name, lines in found.items():
        likes = [(len(hunks), other, hunks) for other in done for hunks in [_hunks(done[other], lines)]]
        best = min(likes, default=None, key=lambda like: like[0])
        if best and best[0] < len(lines) * 0.8:
            yield f"=== {name} === like {best[1]}"
            yield from best[2]
        else:
            yield f"=== {name}"
            yield from (f" {line}" for line in lines)
        done[name] = lines


def _hunks(before: Sequence[str], now: Sequence[str]) -> list[str]:
    told = []
    for kind, a, b, c, d in difflib.SequenceMatcher(None, before, now, autojunk=False).get_opcodes():
        if kind != "equal":
            told.append(f"@ {a} {b}")
            told += [f"+{line}" for line in now[c:d]]
    return told


def read(folder: Path) -> Pages:
    return {path.stem: _read(path.read_text("utf-8")) for path in sorted(folder.glob("*.txt"))}


def _read(text: str) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    # Not splitlines(): a page may hold other signs that end a line.
    for part in re.split(r"^=== ", text, flags=re.MULTILINE)[1:]:
        head, *lines = part.removesuffix("\n").split("\n")
        name, _, like = head.partition(" === like ")
        found[name] = _again(found[like], lines) if like else [line[1:] for line in lines]
    return found


def _again(before: Sequence[str], hunks: Sequence[str]) -> list[str]:
    lines: list[str] = []
    at = 0
    for line in hunks:
        if line.startswith("@"):
            start, end = map(int, line.split()[1:])
            lines += before[at:start]
            at = end
        else:
            lines.append(line[1:])
    return [*lines, *before[at:]]
