"""Visits that stand whatever the calendar says, and where and when they are."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString as Words

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("trip", sa.Column("given", sa.Boolean(), nullable=False, server_default=sa.false()))
    for name in ("place", "opens", "closes"):
        op.add_column("trip", sa.Column(name, Words(), nullable=True))
