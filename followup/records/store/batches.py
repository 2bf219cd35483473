"""As many values together as one statement takes on both databases."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice
from typing import TypeVar

T = TypeVar("T")
# SQLite takes no more values in one statement than some 32,000; PostgreSQL twice as many.
_AT_ONCE = 10_000


def batches(values: Iterable[T]) -> Iterator[list[T]]:
    """The values, each once, in lists that one statement takes."""
    left = iter(dict.fromkeys(values))
    while some := list(islice(left, _AT_ONCE)):
        yield some
