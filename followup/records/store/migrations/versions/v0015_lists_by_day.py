"""Indexes for what lists ask by day: who was seen, tried, given bottles, whose record changed."""

from __future__ import annotations

from alembic import op

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None

_INDEXED = (
    ("trip", "seen_on"),
    ("contact_attempt", "day"),
    ("handing", "day"),
    ("record_version", "entered_at"),
)


def upgrade() -> None:
    for table, column in _INDEXED:
        op.create_index(f"ix_{table}_{column}", table, [column])
