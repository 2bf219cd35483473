"""An attempt to reach someone may be taken back on its day."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlmodel.sql.sqltypes import UTCDateTime as Instant

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("contact_attempt", sa.Column("taken_back_at", Instant(), nullable=True))
