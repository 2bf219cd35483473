"""Small values made of rows that never change, kept in memory so that no list makes them again.

A version of a plan or record is written once. What a list says of it is made from it once, too, and kept
while it is asked for: at most so many values a database, so that memory stays flat however large the store.
Nothing is kept of a unit of work, whose rows may still come to nothing.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Collection, Hashable, Iterable, Mapping
from typing import Generic, TypeVar
from weakref import WeakKeyDictionary

from sqlalchemy import Engine, Pool
from sqlmodel import Session

K = TypeVar("K", bound=Hashable)
V = TypeVar("V")
READING = "reading"


class Kept(Generic[K, V]):
    """At most ``most`` values of each database, those that were asked for last; safe between threads."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._values: WeakKeyDictionary[Pool, OrderedDict[K, V]] = WeakKeyDictionary()
        self._lock = threading.Lock()

    def of(
        self, session: Session, keys: Iterable[K], make: Callable[[Collection[K]], Mapping[K, V]]
    ) -> dict[K, V]:
        """The values of ``keys``; ``make`` makes those that are not kept, and may leave some out."""
        wanted = list(dict.fromkeys(keys))
        pool = self._pool(session)
        found = {} if pool is None else self._known(pool, wanted)
        missing = [key for key in wanted if key not in found]
        if missing:
            made = make(missing)
            found.update(made)
            if pool is not None:
                self._keep(pool, made)
        return found

    @staticmethod
    def _pool(session: Session) -> Pool | None:
        """What stands for the database; None for a unit of work."""
        bound = session.get_bind()
        return bound.pool if session.info.get(READING) and isinstance(bound, Engine) else None

    def _known(self, pool: Pool, wanted: Iterable[K]) -> dict[K, V]:
        with self._lock:
            values = self._values.get(pool, OrderedDict())
            found = {key: values[key] for key in wanted if key in values}
            for key in found:
                values.move_to_end(key)
        return found

    def _keep(self, pool: Pool, made: Mapping[K, V]) -> None:
        with self._lock:
            values = self._values.setdefault(pool, OrderedDict())
            values.update(made)
            while len(values) > self._most:
                values.popitem(last=False)
