"""The stores of all tests compile a statement once, as a server does that runs for weeks."""

from __future__ import annotations

from collections.abc import Callable

from sqlalchemy import Engine
from sqlalchemy.util import LRUCache

_FIRST: dict[str, Engine] = {}
_STATEMENTS = 4000


def first_of_its_kind(engine: Engine) -> None:
    """What this engine's dialect learns from its database, and compiles, is known to those after it."""
    engine._compiled_cache = LRUCache(_STATEMENTS)
    with engine.connect():
        _FIRST[engine.dialect.name] = engine


def known() -> frozenset[str]:
    """The kinds of database that a first engine was told of."""
    return frozenset(_FIRST)


def remembering(make_engine: Callable[..., Engine]) -> Callable[..., Engine]:
    """``make_engine``, whose engines go on with the statements of the first of their kind."""

    def make(url: str, *, pooled: bool = True) -> Engine:
        engine = make_engine(url, pooled=pooled)
        if first := _FIRST.get(engine.dialect.name):
            engine.dialect = engine.pool._dialect = first.dialect
            engine._compiled_cache = first._compiled_cache
        return engine

    return make
