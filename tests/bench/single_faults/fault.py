"""What a single fault is, and the name that it keeps while lines move."""

from __future__ import annotations

import hashlib
import re
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass


@dataclass(frozen=True)
class Edit:
    """One change a maker has thought of: ``text[start:end]`` becomes ``new``."""

    kind: str
    start: int
    end: int
    new: str
    # What tells this place from others with the same words: the table or function it stands in.
    within: str = ""


@dataclass(frozen=True)
class Fault:
    """An edit of one file of the program, with a name."""

    id: str
    file: str  # "clinical/taper.py", "templates/sheet/front.typ"
    kind: str
    line: int
    start: int
    end: int
    old: str
    new: str

    def applied(self, text: str) -> str:
        assert text[self.start : self.end] == self.old, f"{self.id} does not fit {self.file}"
        return text[: self.start] + self.new + text[self.end :]

    def shown(self) -> str:
        return f"{self.file}:{self.line} {self.kind}: {_short(self.old)} -> {_short(self.new)}"

    @property
    def room(self) -> str:
        return self.file.split("/")[0] if "/" in self.file else "."


def named(file: str, text: str, edits: Iterable[Edit]) -> Iterator[Fault]:
    """The edits as faults. A name holds the file, the kind, and what stands there, never a line's number."""
    seen: Counter[str] = Counter()
    lines = _line_starts(text)
    for edit in sorted(edits, key=lambda edit: (edit.start, edit.end, edit.kind, edit.new)):
        old = text[edit.start : edit.end]
        if edit.new == old:
            continue
        line = _line_of(lines, edit.start)
        first = text.rfind("\n", 0, edit.start) + 1
        last = text.find("\n", edit.end)
        whole = text[first : last if last >= 0 else None]
        words = "\0".join(
            (edit.kind, edit.within, _normal(whole), str(len(_normal(text[first : edit.start]))), edit.new)
        )
        seen[words] += 1
        short = hashlib.sha256(f"{file}\0{words}\0{seen[words]}".encode()).hexdigest()[:10]
        yield Fault(f"{file}:{edit.kind}:{short}", file, edit.kind, line, edit.start, edit.end, old, edit.new)


def _normal(text: str) -> str:
    return re.sub(r"\s+", " ", text).strip()


def _short(text: str) -> str:
    text = _normal(text)
    return repr(text if len(text) <= 60 else f"{text[:40]} … {text[-15:]}")


def _line_starts(text: str) -> list[int]:
    return [0, *(match.end() for match in re.finditer("\n", text))]


def _line_of(starts: list[int], place: int) -> int:
    from bisect import bisect_right

    return bisect_right(starts, place)
