"""What a fault of the database is, without what stands in the row that it is about."""

from __future__ import annotations

from sqlalchemy.exc import DBAPIError, InterfaceError, OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError


def does_not_answer(problem: BaseException) -> bool:
    """Whether the database is away, busy or full: nothing that the program could have done otherwise."""
    return isinstance(problem, (OperationalError, InterfaceError, PoolTimeoutError))


def database_fault(problem: BaseException) -> str | None:
    """The kind of a fault of the database, with the names of table and rule; None for any other fault.

    Never the message: a server repeats in it what was to be stored, and in its detail the whole row.
    """
    if isinstance(problem, PoolTimeoutError):
        return "all connections to the database are in use"
    if not isinstance(problem, DBAPIError):
        return None
    orig = problem.orig
    kind = f"{type(orig).__module__.partition('.')[0]}.{type(orig).__name__}"
    if code := getattr(orig, "sqlite_errorname", None):
        return f"{kind} {code}"
    if state := getattr(orig, "sqlstate", None):
        diagnosis = getattr(orig, "diag", None)
        named = [getattr(diagnosis, one, None) for one in ("table_name", "column_name", "constraint_name")]
        return " ".join([kind, state, *(name for name in named if name)])
    return kind
