"""Whoever waits in one process gets in in the order of coming: writers of a database, makers of hashes.

A database lets one writer in, but it does not keep a queue: SQLite lets whoever asks at the right moment go
first, and somebody may wait until the patience of the lock is at its end. Here everybody's turn comes.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from math import inf
from weakref import WeakKeyDictionary

from sqlalchemy import Pool

_of_database: WeakKeyDictionary[Pool, FairQueue] = WeakKeyDictionary()
_guard = threading.Lock()


class FairQueue:
    """So many at a time; whoever has waited longest is next."""

    def __init__(self, most: int = 1) -> None:
        self._lock = threading.Lock()
        self._free = most
        self._waiting: deque[threading.Event] = deque()

    @contextmanager
    def turn(self, seconds: float | None = None, *, most_before: float = inf) -> Iterator[bool]:
        """Wait for one's turn, at most ``seconds``; False where it did not come, or too many wait already."""
        mine = self._take(seconds, most_before)
        try:
            yield mine
        finally:
            if mine:
                self._give()

    def _take(self, seconds: float | None, most_before: float) -> bool:
        with self._lock:
            if self._free:
                self._free -= 1
                return True
            if len(self._waiting) >= most_before:
                return False
            called = threading.Event()
            self._waiting.append(called)
        if called.wait(seconds):
            return True
        with self._lock:
            if called.is_set():
                return True  # called in the very moment in which the patience ended
            self._waiting.remove(called)
            return False

    def _give(self) -> None:
        with self._lock:
            # Handed on: put down, it would be taken by whoever happens to ask next.
            if self._waiting:
                self._waiting.popleft().set()
            else:
                self._free += 1


def writers_of(pool: Pool) -> FairQueue:
    """The queue of the writers to one database."""
    with _guard:
        return _of_database.setdefault(pool, FairQueue())
