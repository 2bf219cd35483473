"""Where the clinic and its sites are; the hour for which a visit is booked."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import AutoString as Words

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    for table in ("clinic", "site"):
        op.add_column(table, sa.Column("address", Words(), nullable=False, server_default=""))
    op.add_column("trip", sa.Column("hour", Words(), nullable=True))
