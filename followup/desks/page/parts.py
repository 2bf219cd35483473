"""Long lists in parts: the first of them, how many there are, and a link to all."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Annotated, Generic, TypeVar

from fastapi import Query

FIRST = 30
"""So many lines are shown of a list unless somebody asks for all: three screens. A page with more takes long
to come, and whoever stands further down is searched for."""
FOLDED = 10
"""So many of a list that is folded, which is sent and read by nobody on most days."""
Whole = Annotated[str, Query(alias="all", max_length=20)]
"""The name of the list of which everything is asked for."""
T = TypeVar("T")
U = TypeVar("U")


@dataclass(frozen=True)
class Part(Generic[T]):
    """The shown ``lines`` of the list that the page calls ``name``; ``count``: how many there are in all."""

    name: str
    lines: tuple[T, ...]
    count: int

    @property
    def more(self) -> bool:
        """Whether some are not shown."""
        return self.count > len(self.lines)

    def filled(self, fill: Callable[[T], U]) -> Part[U]:
        """The same with something made of each line that is shown."""
        return Part(self.name, tuple(fill(line) for line in self.lines), self.count)

    def __bool__(self) -> bool:
        return bool(self.lines)


def part(name: str, lines: Iterable[T], whole: str = "", *, folded: bool = False) -> Part[T]:
    """The first of a list, or everything where ``whole`` names it."""
    found = tuple(lines)
    most = min(FIRST, FOLDED) if folded else FIRST
    return Part(name, found if whole == name else found[:most], len(found))
