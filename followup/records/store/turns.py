"""Writers of one process, one after the other in the order in which they came.

A database lets one writer in, but it does not keep a queue: SQLite lets whoever asks at the right moment go
first, and somebody may wait until the patience of the lock is at its end. Here everybody's turn comes.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from weakref import WeakKeyDictionary

from sqlalchemy import Pool

_of_database: WeakKeyDictionary[Pool, Turns] = WeakKeyDictionary()
_guard = threading.Lock()


class Turns:
    """One at a time; whoever has waited longest is next."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._taken = False
        self._waiting: deque[threading.Event] = deque()

    @contextmanager
    def turn(self, seconds: float) -> Iterator[bool]:
        """Wait for one's turn, at most so long; False where it did not come."""
        mine = self._take(seconds)
        try:
            yield mine
        finally:
            if mine:
                self._give()

    def _take(self, seconds: float) -> bool:
        with self._lock:
            if not self._taken:
                self._taken = True
                return True
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
            if self._waiting:
                self._waiting.popleft().set()
            else:
                self._taken = False


def turns_of(pool: Pool) -> Turns:
    """The queue of the writers to one database."""
    with _guard:
        return _of_database.setdefault(pool, Turns())
