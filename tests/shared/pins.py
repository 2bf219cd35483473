"""Outlines that were looked at once, kept as text files, and how two outlines are compared.

Where the typesetter and the fonts are those that the pins were made with, every place and size is compared,
to a tenth of a millimetre or two. Another typesetter may break a line elsewhere: then the words in order
and what is read out in the place of drawings are compared.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from difflib import unified_diff
from importlib import metadata
from pathlib import Path

FOLDER = Path(__file__).resolve().parents[1] / "sheets" / "pinned"
MADE_WITH = FOLDER / "made_with.txt"
# What decides where a letter comes to stand, and how a PDF is read back.
_DECIDING = re.compile(r"typst|fontpkg.*|pypdfium2|pikepdf|qrcode")
_HAIR = 0.15  # millimetres or points; a tenth and what is lost by rounding
_PLACE = re.compile(r"-?\d+\.\d")
_SHOWN = 40


def versions() -> dict[str, str]:
    """The installed packages that decide how a sheet comes out."""
    named = {
        dist.metadata["Name"].lower().replace("_", "-"): dist.version for dist in metadata.distributions()
    }
    return {name: _plain(named[name]) for name in sorted(named) if _DECIDING.fullmatch(name)}


def _plain(version: str) -> str:
    """2.7 where a package calls itself 2.007."""
    return re.sub(r"\b0+(?=\d)", "", version)


def pinned_versions() -> dict[str, str]:
    return dict(line.split("==") for line in MADE_WITH.read_text("utf-8").split())


def pinned(name: str) -> list[str]:
    return (FOLDER / f"{name}.txt").read_text("utf-8").splitlines()


def pin(name: str, lines: Iterable[str]) -> None:
    FOLDER.mkdir(exist_ok=True)
    (FOLDER / f"{name}.txt").write_text("".join(f"{line}\n" for line in lines), "utf-8", newline="\n")


def differences(was: list[str], now: list[str], *, exactly: bool, to_the_letter: bool = False) -> list[str]:
    """What changed, in lines of a diff; nothing where the two are alike."""
    if to_the_letter:
        return _shown(was, now) if was != now else []
    if not exactly:
        was, now = list(_whatever_sets_it(was)), list(_whatever_sets_it(now))
    if was == now or (exactly and len(was) == len(now) and all(map(_alike, was, now))):
        return []
    return _shown(was, _told_as(was, now))


def _shown(was: list[str], now: list[str]) -> list[str]:
    found = list(unified_diff(was, now, "pinned", "now", n=1, lineterm=""))
    return found if len(found) <= _SHOWN else [*found[:_SHOWN], f"and {len(found) - _SHOWN} lines more"]


def _alike(was: str, now: str) -> bool:
    """The same but for a hair's breadth."""
    if was == now:
        return True
    (said, places), (also, others) = _apart(was), _apart(now)
    return said == also and all(abs(a - b) <= _HAIR for a, b in zip(places, others, strict=True))


def _apart(line: str) -> tuple[str, list[float]]:
    """A line without its places, and these; figures that are words count as words."""
    drawn, bar, words = line.partition(" | ")
    return _PLACE.sub("#", drawn) + bar + words, [float(place) for place in _PLACE.findall(drawn)]


def _told_as(was: list[str], now: list[str]) -> list[str]:
    """The new lines, those that moved by a hair told as they were, so that a diff shows what matters."""
    if len(was) != len(now):
        return now
    return [one if _alike(one, other) else other for one, other in zip(was, now, strict=True)]


def _whatever_sets_it(lines: list[str]) -> Iterator[str]:
    """What a sheet says and holds, wherever its lines and pages end."""
    at = next((number for number, line in enumerate(lines) if line.startswith("read out")), len(lines))
    words = [line.partition(" | ")[2] for line in lines[:at] if " | " in line and " aside |" not in line]
    yield "".join("".join(words).split())
    told = " ".join(line for line in lines[at:] if not line.startswith("patterns"))
    yield from re.findall(r"'(?:[^'\\]|\\.)*'|\"(?:[^\"\\]|\\.)*\"", told)
