"""Whether every sheet of the clinic has days to tick."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column(
        "clinic", sa.Column("days_to_tick", sa.Boolean(), nullable=False, server_default=sa.false())
    )
