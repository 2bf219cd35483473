"""What all tables share: named constraints, so that a migration can find and change them."""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import CheckConstraint, Text
from sqlmodel import SQLModel

# Set before the first model: SQLite can't drop a constraint that has no name.
SQLModel.metadata.naming_convention = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}

metadata = SQLModel.metadata

# PostgreSQL orders texts by the locale of its database, in which a beginning is no range.
BY_CODE_POINT = Text().with_variant(Text(collation="C"), "postgresql")


def one_of(column: str, words: Iterable[str]) -> CheckConstraint:
    """The column holds one of these words; NULL passes, as in SQL."""
    listed = ", ".join(f"'{word}'" for word in words)
    return CheckConstraint(f"{column} IN ({listed})", name=column)


def check(name: str, condition: str) -> CheckConstraint:
    """A named condition that every row must meet."""
    return CheckConstraint(condition, name=name)
